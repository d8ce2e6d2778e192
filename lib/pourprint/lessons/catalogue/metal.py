"""Exercises of notebook 04, one a stage and one more: the printed metal."""

import numpy as np

from pourprint.ledger.alloys import alloys
from pourprint.ledger.errors import InputError
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import (
    GROWTHS,
    Number,
    Option,
    by_stage,
    choose,
    growth_of,
    numeric,
    order,
    predict,
    some_of,
)
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.plans.steps import Stage
from pourprint.process.packing import layers, per_bed
from pourprint.process.powder.bed import exposure_h, recoating_h
from pourprint.routes import PRINTED, ROUTES, plan_all

NOTEBOOK = "04"
ROUTE = "printed_metal"


@exercise
def metal_alloy(draw, room):
    refused = sorted(name for name, alloy in alloys().items() if ROUTE in alloy.refused)
    name = draw.choice("alloy", refused)
    able = draw.shuffled("able", [n for n in alloys() if ROUTE not in alloys()[n].refused])[:3]
    reasons = {alloys()[n].refused[ROUTE] for n in refused} - {alloys()[name].refused[ROUTE]}
    return choose(
        draw,
        "Which of these alloys does the printed metal route refuse, and why?",
        [Option(alloys()[name].title), *(Option(alloys()[n].title, "This one can be printed.") for n in able)],
        [
            Option(alloys()[name].refused[ROUTE]),
            *(Option(reason, "That is another alloy's trouble.") for reason in sorted(reasons)),
            Option("its melting point is too high for a laser", "A laser melts titanium and steel."),
        ],
        f"{alloys()[name].title}: {alloys()[name].refused[ROUTE]}",
    )


@exercise
def metal_plates(draw, room):
    gap, plate = draw.choice("gap", (5, 8, 10)), (draw.whole("x", 200, 320, 20), draw.whole("y", 160, 280, 20))
    box = tuple(sorted((draw.whole("a", 35, 90), draw.whole("b", 35, 90))))
    each = int(per_bed((*box, 1), plate, gap))
    pieces = each * draw.whole("full", 1, 6) + draw.whole("rest", 1, each - 1)
    right = int(np.ceil(pieces / each))
    by_area = np.ceil(pieces * (box[0] + gap) * (box[1] + gap) / (plate[0] * plate[1]))
    slips = {
        "rounded down": (pieces // each, "Where do the parts stand that are left over?"),
        "not rounded": (pieces / each, "A plate with one part on it is a whole plate."),
        "areas divided": (by_area, "A row holds whole parts: count along each side."),
        "no gap": (np.ceil(pieces / per_bed((*box, 1), plate, 0)), "Parts must not touch: mind the gap between them."),
        "one plate's parts": (each, "Those are the parts on one plate; how many plates are needed?"),
    }
    return numeric(
        f"A part stands on {box[0]} × {box[1]} mm. Parts stand in rows, all the same way, {gap} mm apart, on a plate "
        f"of {plate[0]} × {plate[1]} mm, in the better of the two directions. How many plates do {pieces} pieces need?",
        Number(right, "plates", slips, whole=True),
        f"{each} pieces stand on one plate; ⌈{pieces}/{each}⌉ = {right}.",
    )


RATES = ((5.1, 30), (10.5, 60), (2.0, 20), (3.7, 40))  # mm³/s and µm: published machine data sheets, EOS


@exercise
def metal_build_time(draw, room):
    rate, layer = draw.choice("rate", RATES)
    volume, height = draw.whole("volume", 60, 300, 20), draw.whole("height", 40, 120, 5)
    recoat = draw.whole("recoat", 8, 12)
    laser, spread = float(exposure_h(volume, rate)), float(recoating_h(height, layer / 1000, recoat))
    slips = {
        "laser only": (laser, "The printer spreads powder before every layer."),
        "spreading only": (spread, "The laser has to melt the volume, too."),
        "layers of the volume": (laser + recoating_h(volume, layer / 1000, recoat), "Layers follow from the height."),
        "factor of 60": (laser * 60 + spread, "How many seconds has an hour?"),
    }
    return numeric(
        f"Parts of {volume} cm³ in all stand {height} mm tall. The laser exposes {rate:g} mm³/s in layers of {layer} "
        f"µm; spreading a layer takes {recoat} s. How long does the build take, set-up and cooling left out?",
        Number(laser + spread, "h", slips),
        f"{volume * 1000:,}/{rate:g} s = {laser:.2f} h of laser; {float(layers(height, layer / 1000)):.0f} layers of "
        f"{recoat} s = {spread:.2f} h; together {laser + spread:.2f} h.",
    )


BUILDS = {  # what happens to a build, by what its volume and its height grow, and why its time does what it does
    "Parts are turned upright: they stand twice as tall": (1, 2, "the laser melts as much as before, in more layers"),
    "As many parts again are set beside them": (2, 1, "the laser melts more, in as many layers"),
    "As many parts again are built on top of them": (2, 2, "the laser melts more and more layers are spread"),
    "Each part is turned a quarter about the vertical": (1, 1, "neither metal nor layers are more than before"),
}


@exercise
def metal_height(draw, room):
    case, alloy = draw.choice("case", [*BUILDS]), room.alloy
    wider, taller, because = BUILDS[case]
    volume, low = draw.whole("volume", 40, 120, 10), draw.whole("low", 30, 50, 5)

    def hours(times):
        melted = exposure_h(volume * times ** (wider - 1), alloy["laser_rate"])
        tall = low * times ** (taller - 1)
        return float(melted + recoating_h(tall, alloy["laser_layer"] / 1000, room.rates["printed_metal.recoat"]))

    see = "Move the slider: does it fit what becomes of the hours? Metal and layers both count."
    return predict(
        draw,
        f"Parts of {volume} cm³ in all stand {low} mm tall on the plate. {case}. What becomes of the build's time, "
        "compared with a factor of 2?",
        GROWTHS,
        growth_of(hours(2) / hours(1), 2),
        Slider("times", "×", (1, 2, 3, 4), lambda times: f"{hours(times):.2f} h"),
        [Option(why, see * (why != because)) for *_, why in BUILDS.values()],
        f"{hours(1):.2f} h before, {hours(2):.2f} h after: {because}.",
    )


@exercise
def metal_order(draw, room):
    plan = room.plan(ROUTE)
    steps = [step.name for step in plan.steps if step.stage >= Stage.MOULD]
    chosen = some_of(
        draw, steps, ("stress-relieve on the plate", "cut the parts from the plate", "take off the supports")
    )
    return order(
        draw,
        "Put these steps of the printed metal route in the order in which they are done.",
        chosen,
        by_stage(plan),
        "; ".join(chosen) + ". A part that is cut off before the stress is relieved springs out of shape.",
    )


@exercise
def metal_share(draw, room):
    quantity = draw.whole("quantity", 1, 8)
    plan = room.plan(ROUTE, quantity)
    costs = plan.cost_by_stage()
    named = "; ".join(f"{stage.title} {cost:,.0f}" for stage, cost in costs.items())
    printed = costs[Stage.MOULD]
    right = printed / plan.total_cost
    slips = {
        "the rest": (1 - right, "That is what everything else costs."),
        "against the rest": (printed / (plan.total_cost - printed), "A share of the whole, not of the rest."),
        "as a cost": (printed, "Those are the costs; the share is asked for."),
        "one stage of all": (1 / len(costs), "Stages do not cost the same: add up the costs."),
    }
    return numeric(
        f"A job by printed metal (kits: {quantity}) costs, in {room.money}, stage by stage: {named}. The print stands "
        "in the mould stage. Which share of the cost is it?",
        Number(right, "of 1", slips),
        f"{printed:,.0f}/{plan.total_cost:,.0f} = {100 * right:.1f} %.",
    )


MENDS = {
    "nothing is to be mended": "Ask pp.plan_all for it: somebody refuses.",
    "it is made in two halves that a tube joins": "Ask pp.plan_all: does anybody refuse it?",
    "it is made in another alloy": "Does an alloy change the size of a bed?",
    "it is made with thinner walls": "Thinner walls change its weight; what about its length?",
}


@exercise
def too_long(draw, room):
    length = draw.choice("length", (180, 200, 220, 240, 260, 270, 280, 290, 320, 380, 440))

    def refusing(long):
        part = Part.from_numbers("arm", long * 1.2, long * 6, (long, 50, 40))
        plans = plan_all(Job(part, room.alloy), room.rates)
        return tuple(ROUTES[route].TITLE for route in PRINTED if not plans[route].feasible)

    refused, titles = refusing(length), [ROUTES[route].TITLE for route in PRINTED]
    mend = [*MENDS][bool(refused)]
    if refusing(length / 2):
        raise InputError(f"{room.alloy.title}: even half the arm is refused, so that its length is not what decides.")
    sets = dict.fromkeys((refused, (), (titles[2],), (titles[0], titles[2]), tuple(titles)))
    look = "Compare its length with bed, plate and mould of each route: which is the shortest?"
    return choose(
        draw,
        f"An arm of {length} × 50 × 40 mm is to be made in one piece in {room.alloy.title}. Which printed routes of "
        "your class's lab refuse it, and what mends that?",
        [Option(", ".join(each) or "none of them", look * (each != refused)) for each in sets],
        [Option(text, say * (text != mend)) for text, say in MENDS.items()],
        f"It is refused by: {', '.join(refused) or 'nobody'}; {mend}.",
        asks=("refused by", "so"),
    )
