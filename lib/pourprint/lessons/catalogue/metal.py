"""Exercises of notebook 04, one a stage and one more: the printed metal."""

import numpy as np

from pourprint.ledger.alloys import alloys
from pourprint.ledger.errors import InputError
from pourprint.lessons.kinds import choose, growth_of, numeric, order_of_route, predict
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.plans.steps import Stage
from pourprint.process.packing import layers, per_bed
from pourprint.process.powder.bed import exposure_h, recoating_h
from pourprint.routes import PRINTED, ROUTES, plan_all

ROUTE = "printed_metal"


def metal_alloy(task, room):
    reasons = {name: alloy.refused.get(ROUTE) for name, alloy in alloys().items()}
    name = task.choice("alloy", sorted(name for name, reason in reasons.items() if reason))
    able = task.shuffled("able", [each for each, reason in reasons.items() if not reason])[:3]
    title, others = alloys()[name].title, sorted({*reasons.values()} - {None, reasons[name]})
    options = [title, *(alloys()[each].title for each in able)]
    return choose(task, title, reasons[name], options, [reasons[name], *others, task.told("never")])


def metal_plates(task, room, gap, x, y, a, b, full):
    box, plate = sorted((a, b)), (x, y)
    each = int(per_bed((*box, 1), plate, gap))
    pieces = each * full + task.number("rest", 1, each - 1)
    slips = {
        "areas divided": np.ceil(pieces * (a + gap) * (b + gap) / (x * y)),  # what it reveals goes first
        "rounded down": pieces // each,
        "not rounded": pieces / each,
        "no gap": np.ceil(pieces / per_bed((*box, 1), plate, 0)),
        "one plate's parts": each,
    }
    return numeric(task.knows(box=box, each=each, pieces=pieces), -(-pieces // each), slips)


def metal_build_time(task, room, rate, volume, height, recoat):
    rate, layer = rate
    laser, spread = float(exposure_h(volume, rate)), float(recoating_h(height, layer / 1000, recoat))
    slips = {
        "laser only": laser,
        "spreading only": spread,
        "layers of the volume": laser + recoating_h(volume, layer / 1000, recoat),
        "factor of 60": laser * 60 + spread,
    }
    count = float(layers(height, layer / 1000))
    task = task.knows(mm3_s=rate, layer=layer, cubic=volume * 1000, laser=laser, count=count, spread=spread)
    return numeric(task, laser + spread, slips)


GROWS = {"upright": (1, 2), "beside": (2, 1), "on top": (2, 2), "turned": (1, 1)}  # how much volume and height grow


def metal_height(task, room, case, volume, low):
    wider, taller = GROWS[case]

    def hours(times):
        melted = exposure_h(volume * times ** (wider - 1), room.alloy["laser_rate"])
        tall = low * times ** (taller - 1)
        return float(melted + recoating_h(tall, room.alloy["laser_layer"] / 1000, room.rates["printed_metal.recoat"]))

    after = hours(2)
    return predict(task.knows(after=after), growth_of(after / hours(1), 2), case, hours)


def metal_order(task, room):
    return order_of_route(task, room, ROUTE, Stage.MOULD, Stage.FINISH)


def metal_share(task, room, quantity):
    plan = room.making.plan(ROUTE, quantity)
    costs, total = plan.cost_by_stage(), plan.total_cost
    printed = costs[Stage.MOULD]
    slips = {
        "the rest": 1 - printed / total,
        "against the rest": printed / (total - printed),
        "as a cost": printed,
        "one stage of all": 1 / len(costs),
    }
    named = "; ".join(f"{stage.title} {cost:,.0f}" for stage, cost in costs.items())
    return numeric(task.knows(named=named, printed=printed, total=total), printed / total, slips)


def too_long(task, room, length):
    def refusing(long):
        part = Part.from_numbers("arm", long * 1.2, long * 6, (long, 50, 40))
        plans = plan_all(Job(part, room.alloy), room.rates)
        return [ROUTES[route].TITLE for route in PRINTED if not plans[route].feasible]

    refused, titles = refusing(length), [ROUTES[route].TITLE for route in PRINTED]
    if refusing(length / 2):
        raise InputError(f"{room.alloy.title}: even half the arm is refused, so that its length is not what decides.")
    sets = [", ".join(each) or "none of them" for each in (refused, [], titles[2:], titles[::2], titles)]
    mend, who = "halves" if refused else "nothing", ", ".join(refused) or "nobody"
    return choose(task.knows(who=who), sets[0], mend, sets)
