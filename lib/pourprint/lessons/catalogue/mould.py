"""Exercises of notebook 03, one a stage: the printed mould; how it fills and freezes; and a node to be mended."""

from functools import cache

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.lessons.catalogue.measure import block
from pourprint.lessons.kinds import choose, design, growth_of, mistake, numeric, predict, typed
from pourprint.parts.nodes import badly_drawn
from pourprint.plans.jobs import Job
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.packing import layers
from pourprint.process.sand.feeding import cylinder_cm3, feeder_diameter_mm, feeder_volume_cm3
from pourprint.process.sand.gating import fall_speed_m_s, flow_cm3_s
from pourprint.process.sand.parting import block_mm
from pourprint.routes.common import crucible_kg
from pourprint.routes.mould_sizes import moulds_with_one_feeder
from pourprint.routes.pouring import COARSE_CELLS, pour, trial


def mould_gap(task, room, size, grade, t):
    allowed, tube = room.rates["bonding.least_gap"], room.rates["bonding.tube_tolerance"]
    hole = float(casting_tolerance_mm(size, grade))
    target = round((hole + tube) / 4 + allowed * {"stay": 2.6, "thin": 0.5, "never": -1.6}[t], 2)
    least = float(bond_gap_mm(target, hole, tube)[0])
    return choose(task.knows(hole=hole, target=target, least=least), "cast" if t == "stay" else "machine", t)


def mould_feeder(task, room, side, h, ratio):
    cube = block(side, side, side).modulus_mm
    right = float(feeder_diameter_mm(cube, ratio, h))
    slips = {
        "no margin": right / ratio,
        "modulus of the feeder": ratio * cube,
        "radius": right / 2,
        "other height": feeder_diameter_mm(cube, ratio, 2.5 - h),
        "side face only": 4 * ratio * cube,
    }
    return numeric(task.knows(cube=cube, wanted=ratio * cube), right, slips)


def mould_two_rules(task, room, shape, size):
    task = task.knows(thick=size * 0.08)
    part = block(size, size, size if shape == "cube" else size * 0.08)
    ratio, height, gives = (room.rates[f"feeding.{key}"] for key in ("modulus_ratio", "height_ratio", "efficiency"))
    width = float(feeder_diameter_mm(part.modulus_mm, ratio, height))
    needed = float(feeder_volume_cm3(part.volume_cm3, room.alloy["shrinkage"] / 100, gives))
    held, is_fed = float(cylinder_cm3(width, height * width)), task.told("shapes")[shape]
    decides = "modulus" if held >= needed else "volume"
    return choose(task.knows(is_fed=is_fed, width=width, held=held, needed=needed), decides, decides)


def mould_layers(task, room, height, moulds, layer, seconds):
    count = float(layers(height, layer))
    right = count * seconds / 3600
    slips = {
        "once for each mould": moulds * right,
        "moulds shared out": right / moulds,
        "minutes": right * 60,
        "layers only": count,
    }
    return numeric(task.knows(count=count), right, slips)


def mould_melts(task, room, yield_, melts, full, mistake_):
    crucible = round(crucible_kg(Job(room.kit, room.alloy), room.rates), 1)
    hours = room.rates["foundry.melt_hands_on"] + room.alloy["melt_care"]
    castings = round((melts + full) * crucible * yield_, 1)
    poured, needed = castings / yield_, melts + 1
    taken = castings * yield_ if mistake_ == 2 else poured
    count = int(np.round(taken / crucible) if mistake_ == 3 else np.ceil(taken / crucible))
    worked = 1 if mistake_ == 4 else count
    slips = {
        "rounded down": melts * hours,
        "not rounded": poured / crucible * hours,
        "yield upside down": np.ceil(castings * yield_ / crucible) * hours,
        "melts, not hours": needed,
        "one melt": hours,
    }
    repeated = {2: "yield upside down", 3: "rounded down", 4: "one melt"}[mistake_]
    slips = {repeated: slips[repeated], **slips}  # of slips with one number, that of the line as it stands
    sign, counted = "·" if mistake_ == 2 else "/", f"{count} melt{'s' * (count != 1)}"
    task = task.knows(castings=castings, crucible=crucible, hours=hours, poured=poured, needed=needed)
    task = task.knows(sign=sign, taken=taken, ratio=taken / crucible, counted=counted)
    return mistake(task.knows(worked=worked, told=worked * hours), mistake_, needed * hours, slips)


def mould_sand(task, room, feeder, part):
    density = room.rates["printed_mould.sand_density"]
    x, y, z = (round(float(side)) for side in block_mm(part.box_mm, room.rates["printed_mould.wall"], feeder))
    volume, metal = round(part.volume_cm3, 1), room.alloy["density"]
    box, casting = x * y * z / 1000, volume * metal / 1000
    right = (box - volume) * density / 1000 / casting
    slips = {
        "metal's room counted": box * density / 1000 / casting,
        "volumes, not weights": (box - volume) / volume,
        "upside down": 1 / right,
    }
    return numeric(task.knows(sides=(x, y, z), volume=volume, metal=metal, density=density, box=box), right, slips)


def mould_stock(task, room, case, factor):
    plan = room.making.plan("printed_mould")
    key = "labour.technician" if case == "wage" else "printed_mould.machining_stock"

    def hours(times):
        rates = room.rates if case == "kits" else room.rates.replace({key: room.rates[key] * times})
        count = times if case == "kits" else 1
        table = plan.at(rates=rates, quantity=count, batch_size=count).table()
        return float(table.loc[table["machine"] == "machining_centre", "hands_on_h"].sum())

    if not hours(1):
        raise InputError("nothing of the kit is machined: give it bores, faces or tight sockets.")
    grown = hours(factor)
    return predict(task.knows(grown=grown), growth_of(grown / hours(1), factor), case, hours)


def mould_rise(task, room, length, width, h, over, choke):
    volume, head = length * width * h / 1000, h + over
    first, last = float(fall_speed_m_s(head)), float(fall_speed_m_s(over))

    def seconds(speed):
        return volume / float(flow_cm3_s(choke, speed))

    slips = {
        "as if from the top": seconds(first),
        "mean head": seconds(fall_speed_m_s((head + over) / 2)),
        "last speed": seconds(last),
        "twice the top's": 2 * seconds(first),
    }
    mean = (first + last) / 2  # exact: the speed falls evenly with time
    return numeric(task.knows(first=first, last=last, mean=mean, volume=volume), seconds(mean), slips)


def mould_pocket(task, room, feeder, peak, neck, wide):
    row = [neck - 6, *(peak - 4 * abs(i - wide // 2) - i for i in range(wide)), neck, neck + 8, feeder]
    cut = sum(time > neck for time in row[: wide + 1])
    shrink = room.alloy["shrinkage"]
    slips = {
        "all but the feeder": (wide + 3) * 10 * shrink / 100,
        "whole end": (wide + 1) * 10 * shrink / 100,
        "metal, not pores": 10 * cut,
        "one piece": 10 * shrink / 100,
    }
    times = ", ".join(map(str, row))
    return numeric(task.knows(times=times, shrink=shrink, cut=cut, liquid=10 * cut), 10 * cut * shrink / 100, slips)


PLACES = {"hub": "over the hottest section", "boss": "over the largest pore", "both": "both"}
CHILLS = {"none": 0.0, "20": 20.0, "35": 35.0}
SECTIONS = ("feeding.", "gating.", "printed_mould.")  # of the card, on which a pour depends


@cache
def _trials(numbers, alloy):
    """The badly drawn node at a card's `numbers` ((key, value), …): the plan's pour, and what a trial comes to."""
    rates = RateCard.default().replace(dict(numbers))
    (one,) = moulds_with_one_feeder(Job(badly_drawn(), alloy), rates)
    first = pour(one, cells=COARSE_CELLS)

    @cache
    def tried(place, chill, width):
        rigging = trial(first, PLACES[place], width, first.rigging.feeders[0].neck, CHILLS[chill])
        return pour(one, rigging, COARSE_CELLS)

    return first, tried


def mould_boss(task, room, allowed):
    numbers = ((key, entry.value) for key, entry in room.rates.entries.items() if key.startswith(SECTIONS))
    first, tried = _trials(tuple(numbers), room.alloy.name)
    most, whole = room.rates["printed_mould.most_pore"], float(first.mould.metal_kg)
    allowed, wide = round(whole * allowed, 3), round(float(first.mould.feeder.diameter_mm))
    places, chills = task.told("places"), task.told("chills")

    def outcome(answer):
        width = round(typed(answer["width"], "feeder's width in mm", 10, 80), 1)
        run = tried(answer["place"], answer["chill"], width)
        takes, gives = run.feeding.enough(run.efficiency)
        pore, metal = run.feeding.pore_cm3, float(run.mould.metal_kg)
        needed = answer["chill"] == "none" or tried(answer["place"], "none", width).feeding.pore_cm3 > most
        return {
            "pores": (pore <= most, f"{1000 * pore:.0f} mm³"),
            "feeder": (gives >= takes, f"{gives:.1f} of {takes:.1f} cm³"),
            "chill": (needed, chills[answer["chill"]]),
            "metal": (metal <= allowed, f"{metal:.3f} kg"),
        }

    designs = ({"place": "both", "chill": "none", "width": str(width)} for width in range(wide - 12, wide + 1))
    worked = next((each for each in designs if all(met for met, _ in outcome(each).values())), None)
    if worked is None:
        raise InputError("mould-boss: with this class's card and alloy two slim feeders do not mend the node.")
    task = task.knows(most=1000 * most, allowed=allowed, wide=wide, whole=whole, width=worked["width"])
    return design(task, {"place": places, "width": {}, "chill": chills}, outcome, worked)
