"""Exercises of notebook 04, one a stage and one more: the printed metal."""

import numpy as np

from pourprint.ledger.alloys import alloys
from pourprint.ledger.errors import InputError
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import Number, Option, by_stage, choose, numeric, order, predict
from pourprint.plans.steps import Stage
from pourprint.process.packing import layers, per_bed
from pourprint.process.powder.bed import exposure_h, recoating_h

NOTEBOOK = "04"
ROUTE = "printed_metal"


@exercise("Know which alloy cannot be printed", "thinks that a printer prints any metal")
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
        ('pp.plan("printed_metal", pp.Job(part, alloy=…)) refuses, with the reason.',),
    )


@exercise("Fill the plate", "divides areas where whole parts must fit")
def metal_plates(draw, room):
    gap = room.rates["printed_metal.plate_gap"]
    plate = tuple(room.rates[f"printed_metal.plate_{axis}"] for axis in "xy")
    parts = [item.part for item in room.kit.parts if per_bed(item.part.box_mm, plate, gap) >= 1]
    if not parts:
        raise InputError("no part of the kit fits the rate card's plate.")
    part = draw.choice("part", parts)
    box = tuple(round(float(side)) for side in part.box_mm)
    each = int(per_bed(box, plate, gap))
    pieces = each * draw.whole("full", 1, 3) + draw.whole("rest", 1, max(1, each - 1))
    right = int(np.ceil(pieces / each))
    by_area = plate[0] * plate[1] / (box[0] * box[1])
    tight = int(per_bed(box, plate, 0))
    slips = {
        "rounded down": (pieces // each, "Where do the parts stand that are left over?"),
        "not rounded": (pieces / each, "A plate with one part on it is a whole plate."),
        "areas divided": (np.ceil(pieces / by_area), "A row holds whole parts: count along each side."),
        "no gap": (np.ceil(pieces / tight), "Parts must not touch: mind the gap between them."),
        "one plate's parts": (each, "Those are the parts on one plate; how many plates are needed?"),
    }
    return numeric(
        f"{part.name} stands on {box[0]} × {box[1]} mm. Parts stand in rows, all the same way, {gap:g} mm apart, on a "
        f"plate of {plate[0]:g} × {plate[1]:g} mm, in the better of the two directions. How many plates do {pieces} "
        "pieces need?",
        Number(right, "plates", slips, whole=True),
        f"{each} pieces stand on one plate; ⌈{pieces}/{each}⌉ = {right}.",
        ("How many fit along each side? No gap is needed behind the last one.", "Turn them once and compare."),
        "Exact count of the grid.",
    )


RATES = ((5.1, 30), (10.5, 60), (2.0, 20), (3.7, 40))  # mm³/s and µm: published machine data sheets, EOS


@exercise("Time a build", "counts the laser and forgets to spread the powder")
def metal_build_time(draw, room):
    rate, layer = draw.choice("rate", RATES)
    volume, height = draw.whole("volume", 60, 300, 20), draw.whole("height", 40, 120, 5)
    recoat = draw.whole("recoat", 8, 12)
    laser, spread = float(exposure_h(volume, rate)), float(recoating_h(height, layer / 1000, recoat))
    slips = {
        "laser only": (laser, "The printer spreads powder before every layer."),
        "spreading only": (spread, "The laser has to melt the volume, too."),
        "layers of the volume": (
            laser + float(recoating_h(volume, layer / 1000, recoat)),
            "Layers follow from the height.",
        ),
        "factor of 60": (laser * 60 + spread, "How many seconds has an hour?"),
    }
    return numeric(
        f"Parts of {volume} cm³ in all stand {height} mm tall. The laser exposes {rate:g} mm³/s in layers of {layer} "
        f"µm; spreading a layer takes {recoat} s. How long does the build take, set-up and cooling left out?",
        Number(laser + spread, "h", slips),
        f"{volume * 1000:,}/{rate:g} s = {laser:.2f} h of laser; {float(layers(height, layer / 1000)):.0f} layers of "
        f"{recoat} s = {spread:.2f} h; together {laser + spread:.2f} h.",
        ("Laser time from the volume.", "Spreading time from the number of layers."),
        "Exposure rates: machine data sheets, EOS (published; upper bounds, travel left out). 100 cm³, 100 mm, 30 µm, "
        "5.1 mm³/s, 10 s a layer: 5.45 h of laser and 9.26 h of spreading, 14.71 h in all (exact).",
    )


@exercise("Predict the build", "expects build time to follow volume alone")
def metal_height(draw, room):
    alloy = room.alloy
    volume, low = draw.whole("volume", 40, 120, 10), draw.whole("low", 30, 50, 5)
    layer, rate, recoat = alloy["laser_layer"] / 1000, alloy["laser_rate"], room.rates["printed_metal.recoat"]

    def hours(height):
        return float(exposure_h(volume, rate) + recoating_h(height, layer, recoat))

    ratio = hours(2 * low) / hours(low)
    options = ("it stays the same", "it grows, but does not double", "it doubles or more")
    truth = options[0] if ratio < 1.001 else options[1] if ratio < 1.999 else options[2]
    return predict(
        draw,
        f"Parts of {volume} cm³ are laid {low} mm tall. Turned upright they stand {2 * low} mm tall. What happens to "
        "the time of the build?",
        options,
        truth,
        Slider("height", "mm", tuple(range(20, 201, 5)), lambda h: f"{hours(h):.2f} h for the same {volume} cm³"),
        [
            Option("the laser melts the same volume, but more layers are spread"),
            Option("the laser has to melt more metal", "Does turning a part change its volume?"),
            Option("higher layers cool more slowly", "That may be true, but what does each layer cost in time?"),
        ],
        f"{hours(low):.2f} h lying, {hours(2 * low):.2f} h upright.",
        ("What is the same for both, and what is not?",),
        "Build time is laser time and layers × spreading: height, not volume, rules small builds (arithmetic exact).",
    )


@exercise("Order the steps after the laser", "cuts parts off before the stress is relieved")
def metal_order(draw, room):
    plan = room.plan(ROUTE)
    steps = [step.name for step in plan.steps if step.stage >= Stage.MOULD]
    kept = set(draw.shuffled("kept", steps)[:6])
    chosen = [step for step in steps if step in kept]
    return order(
        draw,
        "Put these steps of the printed metal route in the order in which they are done.",
        chosen,
        by_stage(plan),
        "; ".join(chosen) + ". A part that is cut off before the stress is relieved springs out of shape.",
        ("What holds the parts in shape while they are heated?", "Measure last."),
    )


@exercise("Find the share of the print", "takes the printer for the whole cost")
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
        ("Add up all stages first.",),
        "A published split (Additive Manufacturing magazine): before the print 14.4 %, print 59.2 %, after it 26.4 %. "
        "It depends on part, batch and lab.",
    )
