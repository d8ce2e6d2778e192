"""Exercises of notebook 02, one a stage: the printed pattern."""

import numpy as np

from pourprint.lessons.exercises import exercise
from pourprint.lessons.kinds import (
    Number,
    Option,
    by_stage,
    choose,
    in_words,
    mistake,
    numeric,
    order,
    percent,
    some_of,
)
from pourprint.plans.steps import Stage
from pourprint.process.contraction import pattern_mm
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.finish.machining import bore_stock_cm3
from pourprint.process.misrun import Band, band
from pourprint.process.sand.feeding import cylinder_cm3
from pourprint.process.shell.coats import drying_h

NOTEBOOK = "02"
ROUTE = "printed_pattern"


@exercise
def pattern_gap(draw, room):
    size, grade = draw.choice("size", (20, 25, 30, 40)), draw.choice("grade", (4, 5))
    hole, tube = float(casting_tolerance_mm(size, grade)), draw.choice("tube", (0.06, 0.08, 0.1))
    target = draw.choice("target", (0.2, 0.25, 0.3))
    least, greatest = map(float, bond_gap_mm(target, hole, tube))
    slips = {
        "diameter for radius": (target - (hole + tube) / 2, "The gap is on one side, the tolerance on the diameter."),
        "whole tolerance": (target - hole - tube, "How much of a total tolerance goes to one side of the gap?"),
        "tube left out": (target - hole / 4, "The tube is not exact either."),
        "greatest gap": (greatest, "That is the greatest gap; the least one decides whether glue wets all round."),
    }
    return numeric(
        f"A socket for a tube of {size} mm shall leave a gap of {target:g} mm all round. As cast in grade DCTG {grade} "
        f"its diameter has a total tolerance of {hole:g} mm, the tube's has {tube:g} mm. What is the least gap, to a "
        "hundredth of a millimetre?",
        Number(least, "mm", slips, step=0.01),
        f"{target:g} − ({hole:g} + {tube:g})/4 = {least:.3f} mm: half of each total tolerance, half again for one "
        "side.",
    )


@exercise
def pattern_clusters(draw, room):
    part, each = draw.choice("part", room.kit.parts).part, draw.whole("each", 5, 20)
    batch, full = each * draw.whole("loads", 1, 4) + draw.whole("over", 1, each // 2), draw.whole("full", 2, 6)
    rest = draw.whole("rest", 1, batch - 1)
    pieces = full * batch + rest
    right = int(full * np.ceil(batch / each) + np.ceil(rest / each))
    slips = {
        "batches left out": (np.ceil(pieces / each), "A cluster is not kept open for the next batch."),
        "rounded down": (full * (batch // each) + rest // each, "Where do the pieces hang that are left over?"),
        "not rounded": (pieces / each, "A cluster that is not full is a whole cluster to dip and fire."),
        "one batch": (np.ceil(batch / each), "That is one batch; how many are there?"),
        "last batch forgotten": (full * np.ceil(batch / each), "The last batch hangs somewhere, too."),
    }
    return numeric(
        f"{each} pieces of {part.name} hang on one cluster. {pieces} pieces are made, in batches of {batch} and a last "
        "one with the rest. How many clusters are built in all?",
        Number(right, "clusters", slips, whole=True),
        f"Full batches: {full}, with ⌈{batch}/{each}⌉ = {int(np.ceil(batch / each))} clusters each; pieces in the last "
        f"batch: {rest}, with ⌈{rest}/{each}⌉ = {int(np.ceil(rest / each))}. In all {right}.",
    )


@exercise
def pattern_freezing(draw, room):
    part, factor = draw.choice("part", room.kit.parts).part, draw.choice("factor", (2, 3, 4))
    seconds = draw.whole("seconds", 40, 120, 5)
    ratio = float(part.scaled_to(part.volume_cm3 * factor).modulus_mm / part.modulus_mm)
    slips = {
        "in proportion to modulus": (seconds * ratio, "Time follows a power of the modulus: which?"),
        "in proportion to volume": (seconds * factor, "Surface grows too: what counts is volume over surface."),
        "square of the volume": (seconds * factor**2, "It is the modulus that is squared, not the volume."),
    }
    return numeric(
        f"{part.name}, with a modulus of {part.modulus_mm:.2f} mm, freezes in {seconds} s. By the square rule, how "
        f"long does a similar part of {factor} times the volume take in the same kind of mould?",
        Number(seconds * ratio**2, "s", slips),
        f"The modulus grows by {factor}^(1/3) = {ratio:.4f}; {seconds}·{ratio:.4f}² = {seconds * ratio**2:.1f} s.",
    )


BANDS = {  # of the time to fill over the time to freeze, and what is said of each
    Band.SAFE: "the front is still mostly liquid when the wall is full",
    Band.DOUBTFUL: "the front may stop while the wall behind it is soft",
    Band.MISRUN: "the wall is stiff before it is full",
}


@exercise
def pattern_front(draw, room):
    limit, wanted = room.rates.entries["printed_mould.fill_share"], draw.choice("band", [*BANDS])
    ends = {Band.SAFE: (0.4, 0.8), Band.DOUBTFUL: (1.2, 0.9 * limit.high / limit.value), Band.MISRUN: (1.1, 1.6)}
    low, high = (end * (limit.high if wanted is Band.MISRUN else limit.value) for end in ends[wanted])
    stiff = draw.choice("stiff", (2.0, 2.5, 4.0, 5.0))
    full = round(stiff * draw.choice("share", np.linspace(low, high, 5).tolist()), 1)
    right, again = band(full / stiff, limit), "Divide one time by the other, and look where it falls."
    words = {Band.SAFE: "safe", Band.DOUBTFUL: "doubtful", Band.MISRUN: "a misrun"}
    return choose(
        draw,
        f"A thin wall is full {full:g} s after the pour began. Full from the start, it would stop to flow after "
        f"{stiff:g} s. Up to {limit.value:g} of that time is taken for safe, beyond {limit.high:g} for a misrun. What "
        "do you say of it?",
        [Option(words[one], again * (one is not right)) for one in BANDS],
        [Option(why, again * (one is not right)) for one, why in BANDS.items()],
        f"{full:g}/{stiff:g} = {full / stiff:.2f}: {words[right]}; {BANDS[right]}.",
        asks=("it is", "because"),
    )


@exercise
def pattern_size(draw, room):
    part, percent = draw.choice("part", room.kit.parts).part, draw.choice("contraction", (1.3, 1.45, 1.6, 1.8, 2.0))
    s = float(pattern_mm(1.0, percent))
    volume = round(part.volume_cm3, 1)
    right = volume * s**3
    slips = {
        "nothing added": (volume, "Metal shrinks on cooling: the pattern must be larger than the part."),
        "one length": (volume * s, "Contraction is given along a length; a volume has three."),
        "two lengths": (volume * s**2, "That is how a surface grows."),
        "made smaller": (volume / s**3, "Which of the two is larger, pattern or part?"),
    }
    return numeric(
        f"{part.name} has {volume} cm³. Its metal contracts by {percent:g} % along every length. What volume must the "
        "pattern have, from its outer shape? Give four digits.",
        Number(right, "cm³", slips, tolerance=0.002),
        f"{volume}·(1 + {percent / 100:g})³ = {right:.2f} cm³.",
    )


@exercise
def pattern_yield(draw, room):
    part, pieces = draw.choice("part", room.kit.parts).part, draw.whole("pieces", 4, 16)
    gates, cup = draw.choice("gates", (0.04, 0.05, 0.08)), draw.whole("cup", 80, 200, 20)
    diameter, length = draw.whole("diameter", 24, 40, 2), draw.whole("length", 200, 400, 50)
    runner = float(cylinder_cm3(diameter, length))
    volume = round(part.volume_cm3, 1)
    metal = pieces * volume
    right = metal / (metal * (1 + gates) + runner + cup)
    slips = {
        "cup left out": (metal / (metal * (1 + gates) + runner), "Metal stays in the pouring cup too."),
        "gates left out": (metal / (metal + runner + cup), "Each part has gates that are cut off."),
        "only gates": (1 / (1 + gates), "What else is filled with metal besides parts and gates?"),
        "upside down": (1 / right, "The share of the poured metal that becomes parts: which is over which?"),
    }
    return numeric(
        f"A cluster carries {pieces} pieces of {part.name}, {volume} cm³ each. Gates add {percent(gates)} to every "
        f"part; the runner is a rod of {diameter} mm, {length} mm long, and the cup holds {cup} cm³. Which share of "
        "the poured metal becomes parts? Whole percent will do.",
        Number(right, "of 1", slips, step=0.01),
        f"{metal:.1f}/({metal:.1f}·{1 + gates:g} + {runner:.0f} + {cup:.0f}) = {100 * right:.1f} %.",
    )


@exercise
def pattern_drying(draw, room):
    coats, interval = draw.whole("coats", 6, 12), draw.choice("interval", (1, 2, 3, 4))
    final = draw.choice("final", (12, 16, 24))
    right = float(drying_h(coats - 1, interval, final))
    slips = {
        "one wait too many": (float(drying_h(coats, interval, final)), "How many waits lie between the coats?"),
        "last drying left out": (float(drying_h(coats - 1, interval, 0)), "What comes after the last coat?"),
        "last drying only": (final, "The coats before the last had to dry too."),
    }
    return numeric(
        f"A shell gets {coats} coats. It dries {interval} h between one coat and the next; after the last coat it "
        f"dries {final} h. How long after the first dip is it dry? Dipping itself takes no time here.",
        Number(right, "h", slips),
        f"{coats - 1} waits of {interval} h between {coats} coats, and {final} h: {right:.0f} h.",
    )


@exercise
def pattern_kiln(draw, room):
    s = room.rates.section("shell")
    holds = int(s("kiln_clusters"))
    loads, rest = draw.whole("loads", 1, 3), draw.whole("rest", 1, max(1, holds - 1))
    clusters = loads * holds + rest
    hours, ramp = s("burn_out"), draw.whole("ramp", 4, 9)
    down = draw.choice("mistake", (True, False))
    taken = loads if down else loads + 1
    each = hours + ramp if down else hours
    right = float(np.ceil(clusters / holds) * (hours + ramp))
    lines = (
        f"{clusters} clusters wait for burn-out; the kiln holds {holds}.",
        f"{clusters}/{holds} = {clusters / holds:.2f}, so runs of the kiln: {taken}.",
        f"Burn-out takes {hours:g} h, heating up and cooling down {ramp:g} h: {each:g} h for each run.",
        f"The kiln is held for {taken}·{each:g} = {taken * each:g} h.",
    )
    slips = {
        "rounded down": (loads * (hours + ramp), "Where are the last clusters fired?"),
        "ramp left out": ((loads + 1) * hours, "The kiln is held while it heats and cools, too."),
        "not rounded": (clusters / holds * (hours + ramp), "A kiln that is partly full takes as long as a full one."),
    }
    return mistake(
        "A student works out how long the kiln is held. One line is wrong. Which one, and how long is it really?",
        lines,
        2 if down else 3,
        {1: "These are the facts given.", 4: "It follows from the lines before it."},
        Number(right, "h", slips),
        f"⌈{clusters}/{holds}⌉ = {loads + 1} runs of {hours:g} + {ramp:g} h: {right:g} h.",
    )


@exercise
def pattern_order(draw, room):
    plan = room.plan(ROUTE)
    steps = [step.name for step in plan.steps if Stage.PATTERN <= step.stage <= Stage.BREAK_OUT]
    chosen = some_of(draw, steps, ("seal and dry the shell", "burn out the patterns", "fire and preheat the shells"))
    return order(
        draw,
        "Here are six steps of the printed pattern route. Put them in the order in which they are done.",
        chosen,
        by_stage(plan),
        "; ".join(chosen) + ".",
    )


@exercise
def pattern_caution(draw, room):
    return in_words(draw)


@exercise
def pattern_bore(draw, room):
    diameter, depth = draw.whole("diameter", 18, 40, 2), draw.whole("depth", 8, 30)
    stock = draw.choice("stock", (0.5, 0.7, 1.0, 1.5))
    right = float(bore_stock_cm3(diameter, depth, stock))
    slips = {
        "stock on one side": (bore_stock_cm3(diameter, depth, stock / 2), "There is stock on both sides of a bore."),
        "whole hole": (np.pi / 4 * diameter**2 * depth / 1000, "The hole is cast: only a ring is left to take off."),
        "radius for diameter": (4 * right, "Is the area of a circle π/4·d², or π·d²?"),
        "stock doubled": (float(bore_stock_cm3(diameter, depth, 2 * stock)), "The stock is given for one side."),
    }
    return numeric(
        f"A bore of {diameter} mm, {depth} mm deep, is cast smaller by a stock of {stock:g} mm on each side. How much "
        "metal is taken off?",
        Number(right, "cm³", slips),
        f"π/4·({diameter}² − {diameter - 2 * stock:g}²)·{depth} = {1000 * right:.0f} mm³ = {right:.3f} cm³.",
    )
