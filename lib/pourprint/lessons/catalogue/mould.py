"""Exercises of notebook 03, one a stage: the printed mould."""

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import GROWTHS, Number, Option, choose, growth_of, mistake, numeric, percent, predict
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.packing import layers
from pourprint.process.sand.feeding import cylinder_cm3, feeder_diameter_mm, feeder_volume_cm3
from pourprint.process.sand.parting import block_mm
from pourprint.routes.common import crucible_kg

NOTEBOOK = "03"
ROUTE = "printed_mould"


GAPS = {  # what can come of the least gap
    "stay": "even the least gap leaves the glue its thickness",
    "thin": "the tube goes in, but the glue line can be thinner than allowed",
    "never": "the least gap is negative: some tubes would not go in",
}


@exercise
def mould_gap(draw, room):
    size, grade = draw.choice("size", (20, 25, 30, 40)), draw.choice("grade", (8, 9, 10))
    truth = draw.choice("t", [*GAPS])
    least_allowed, tube = room.rates["bonding.least_gap"], room.rates["bonding.tube_tolerance"]
    hole = float(casting_tolerance_mm(size, grade))
    wanted = least_allowed * {"stay": 2.6, "thin": 0.5, "never": -1.6}[truth]
    target = round((hole + tube) / 4 + wanted, 2)
    least = float(bond_gap_mm(target, hole, tube)[0])
    again = "Work out the least gap: target less a quarter of both tolerances."
    return choose(
        draw,
        f"A socket for a tube of {size} mm is cast in printed sand, grade DCTG {grade}: total tolerance {hole:g} mm on "
        f"its diameter. The tube has {tube:g} mm, the gap shall be {target:g} mm a side and at least {least_allowed:g} "
        "mm. Leave it as cast, or machine it?",
        [Option("leave it as cast", again * (truth != "stay")), Option("machine it", again * (truth == "stay"))],
        [Option(text, again * (key != truth)) for key, text in GAPS.items()],
        f"{target:g} − ({hole:g} + {tube:g})/4 = {least:.3f} mm: {GAPS[truth]}.",
    )


@exercise
def mould_feeder(draw, room):
    side, height = draw.whole("side", 30, 90, 5), draw.choice("h", (1.0, 1.5))
    ratio = draw.choice("ratio", (1.2, 1.25, 1.3))
    cube = Part.from_numbers("cube", side**3 / 1000, 6 * side**2 / 100, (side, side, side))
    right = float(feeder_diameter_mm(cube.modulus_mm, ratio, height))
    slips = {
        "no margin": (right / ratio, "The feeder must freeze after the casting, not with it."),
        "modulus of the feeder": (ratio * cube.modulus_mm, "That is the feeder's modulus: which diameter has it?"),
        "radius": (right / 2, "The diameter is asked for."),
        "other height": (feeder_diameter_mm(cube.modulus_mm, ratio, 2.5 - height), "How high is the feeder?"),
        "side face only": (4 * ratio * cube.modulus_mm, "The ends of the feeder cool too."),
    }
    return numeric(
        f"A cube of {side} mm is to be fed by a cylinder whose height is {height:g} times its diameter and whose "
        f"modulus is {ratio:g} times the cube's. All faces of the feeder cool. What is its diameter?",
        Number(right, "mm", slips),
        f"Cube: V/A = {side}/6 = {cube.modulus_mm:.2f} mm; feeder {ratio * cube.modulus_mm:.2f} mm. A cylinder with "
        f"H = {height:g}D has D·{height:g}/(4·{height:g} + 2), so D = {right:.1f} mm.",
    )


SHAPES = {"A cube of {0} mm": (1, 1, 1), "A plate of {0} × {0} × {1:.1f} mm": (1, 1, 0.08)}


@exercise
def mould_two_rules(draw, room):
    shape, size = draw.choice("shape", list(SHAPES)), draw.whole("size", 60, 140, 10)
    a, b, c = (size * share for share in SHAPES[shape])
    part = Part.from_numbers("casting", a * b * c / 1000, 2 * (a * b + b * c + c * a) / 100, (a, b, c))
    ratio, height, gives = (room.rates[f"feeding.{key}"] for key in ("modulus_ratio", "height_ratio", "efficiency"))
    by_modulus = float(feeder_diameter_mm(part.modulus_mm, ratio, height))
    alpha = room.alloy["shrinkage"] / 100
    needed = float(feeder_volume_cm3(part.volume_cm3, alpha, gives))
    held = float(cylinder_cm3(by_modulus, height * by_modulus))
    other = "Work out both: the volume of the feeder that the modulus asks for, and α·V/(ε − α)."
    volume, modulus = (other, "") if held >= needed else ("", other)  # what is said of a rule that does not decide
    return choose(
        draw,
        f"{shape.format(size, c)} is fed by one cylinder, H = {height:g}D. Its modulus shall be {ratio:g} times the "
        f"casting's, and it must hold α·V/(ε − α) of metal, with α = {percent(alpha)} and ε = "
        f"{percent(gives)}. Both rules must hold: which one decides the size?",
        [Option("the modulus rule", modulus), Option("the volume rule", volume)],
        [
            Option("the casting is compact: it freezes late for the metal that it holds", modulus),
            Option("the casting is thin and wide: it freezes early but needs much metal", volume),
            Option("a feeder is always sized by weight", "Then two castings of one weight would need one feeder."),
        ],
        f"By modulus D = {by_modulus:.1f} mm, which holds {held:.1f} cm³; by volume {needed:.1f} cm³ are needed.",
    )


@exercise
def mould_layers(draw, room):
    height, moulds = draw.whole("height", 120, 320, 10), draw.whole("moulds", 2, 5)
    layer = draw.choice("layer", (0.2, 0.28, 0.3, 0.4))
    seconds = draw.whole("seconds", 15, 40, 5)
    count = float(layers(height, layer))
    right = count * seconds / 3600
    slips = {
        "once for each mould": (moulds * right, "They stand side by side: one layer covers them all."),
        "moulds shared out": (right / moulds, "They stand side by side: the whole height is printed once."),
        "minutes": (right * 60, "How many seconds has an hour?"),
        "layers only": (count, "Those are the layers; how long do they take?"),
    }
    return numeric(
        f"{moulds} moulds, each {height} mm tall, stand side by side in the job box. A layer is {layer:g} mm and takes "
        f"{seconds} s, however much of it is mould. How long does the printing take?",
        Number(right, "h", slips),
        f"⌈{height}/{layer:g}⌉ = {count:.0f} layers of {seconds} s: {right:.2f} h.",
    )


@exercise
def mould_melts(draw, room):
    crucible = round(crucible_kg(Job(room.kit, room.alloy), room.rates), 1)
    hours = room.rates["foundry.melt_hands_on"] + room.alloy["melt_care"]
    share = draw.choice("yield", (0.4, 0.5, 0.55, 0.6))
    whole, part_full = draw.whole("melts", 1, 3), draw.choice("full", (0.15, 0.3, 0.4))
    castings = round((whole + part_full) * crucible * share, 1)
    poured, melts = castings / share, whole + 1
    wrong = draw.choice("mistake", (2, 3, 4))
    taken = castings * share if wrong == 2 else poured
    count = int(np.round(taken / crucible) if wrong == 3 else np.ceil(taken / crucible))
    worked = 1 if wrong == 4 else count
    lines = (
        f"The castings of one batch weigh {castings:g} kg; {percent(share)} of the poured metal becomes casting.",
        f"So {castings:g}{'·' if wrong == 2 else '/'}{share:g} = {taken:.1f} kg are poured.",
        f"The crucible holds {crucible:g} kg of {room.alloy.name}: {taken:.1f}/{crucible:g} = {taken / crucible:.2f}, "
        f"so {count} melt{'s' * (count != 1)}.",
        f"To charge, treat, skim and clean up takes {hours:g} h a melt: {worked}·{hours:g} = {worked * hours:g} h.",
    )
    upside = np.ceil(castings * share / crucible) * hours
    slips = {
        "rounded down": (whole * hours, "Where does the last metal come from?"),
        "not rounded": (poured / crucible * hours, "A melt that is not full still takes a melt's work."),
        "yield upside down": (upside, "Is more poured than the castings weigh, or less?"),
        "melts, not hours": (melts, "Those are the melts; the hours are asked for."),
        "one melt": (hours, "That is one melt: how many are there?"),
    }
    return mistake(
        "A student plans the melts of a batch. One line is wrong. Which one, and how many hours is it really?",
        lines,
        wrong,
        {1: "These are the facts given.", 2: "More is poured than the castings weigh."},
        Number(melts * hours, "h", slips),
        f"{castings:g}/{share:g} = {poured:.1f} kg; ⌈{poured:.1f}/{crucible:g}⌉ = {melts} melts of {hours:g} h.",
    )


@exercise
def mould_sand(draw, room):
    r = room.rates
    item, feeder = draw.choice("part", room.kit.parts), draw.whole("feeder", 30, 70, 5)
    wall, density = r["printed_mould.wall"], r["printed_mould.sand_density"]
    sizes = block_mm(item.part.box_mm, wall, feeder)
    x, y, z = (round(float(side)) for side in sizes)
    volume = round(item.part.volume_cm3, 1)
    block, casting = x * y * z / 1000, volume * room.alloy["density"] / 1000
    right = (block - volume) * density / 1000 / casting
    slips = {
        "metal's room counted": (block * density / 1000 / casting, "Where the casting is, there is no sand."),
        "volumes, not weights": ((block - volume) / volume, "Sand and metal differ in density."),
        "upside down": (1 / right, "Sand for each kilogram of casting: which is over which?"),
    }
    return numeric(
        f"The mould block of {item.part.name} measures {x} × {y} × {z} mm; the casting in it has {volume} cm³ of "
        f"{room.alloy.title}, {room.alloy['density']:g} g/cm³. Printed sand has {density:g} g/cm³. How many kilograms "
        "of sand stand behind one kilogram of casting? Leave feeder and sprue out.",
        Number(right, "kg of sand a kg of casting", slips, tolerance=0.005),
        f"({block:.1f} − {volume})·{density:g}/({volume}·{room.alloy['density']:g}) = {right:.2f}.",
    )


MORE = {  # what may be more, and what that does to the hours of machining
    "stock": ("millimetres of stock", "clamping, approach and gauging take their time whatever the stock"),
    "kits": ("kits in the batch", "each piece is machined, but the machine is set up once"),
    "wage": ("money for an hour of a technician", "it changes what an hour costs, not how many there are"),
}


@exercise
def mould_stock(draw, room):
    case, factor, plan = draw.choice("case", [*MORE]), draw.choice("factor", (2, 3)), room.plan(ROUTE)
    what, because = MORE[case]
    key = "labour.technician" if case == "wage" else "printed_mould.machining_stock"

    def hours(times):
        rates = room.rates if case == "kits" else room.rates.replace({key: room.rates[key] * times})
        count = times if case == "kits" else 1
        table = plan.at(rates=rates, quantity=count, batch_size=count).table()
        return float(table.loc[table["machine"] == "machining_centre", "hands_on_h"].sum())

    if not hours(1):
        raise InputError("nothing of the kit is machined: give it bores, faces or tight sockets.")
    return predict(
        draw,
        f"The printed mould route machines one kit. Now there are {factor} times as many {what}. What becomes of the "
        f"hours at the machining centre, compared with that factor of {factor}?",
        GROWTHS,
        growth_of(hours(factor) / hours(1), factor),
        Slider("times", "×", (1, 2, 3, 4), lambda t: f"{hours(int(t)):.2f} h"),
        [Option(why, "Move the slider: which part of the hours moves?" * (why != because)) for _, why in MORE.values()],
        f"{hours(1):.2f} h become {hours(factor):.2f} h: {because}.",
    )
