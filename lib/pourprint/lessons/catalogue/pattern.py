"""Exercises of notebook 02, one a stage: the printed pattern."""

import numpy as np

from pourprint.lessons.kinds import choose, mistake, numeric, order_of_route
from pourprint.plans.steps import Stage
from pourprint.process.contraction import pattern_mm
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.finish.machining import bore_stock_cm3
from pourprint.process.misrun import Band, band
from pourprint.process.sand.feeding import cylinder_cm3
from pourprint.process.shell.coats import drying_h


def pattern_gap(task, room, size, grade, tube, target):
    hole = float(casting_tolerance_mm(size, grade))
    least, greatest = bond_gap_mm(target, hole, tube)
    slips = {
        "diameter for radius": target - (hole + tube) / 2,
        "whole tolerance": target - hole - tube,
        "tube left out": target - hole / 4,
        "greatest gap": greatest,
    }
    return numeric(task.knows(hole=hole), least, slips)


def pattern_clusters(task, room, each, loads, full, part):
    batch = each * loads + task.number("over", 1, each // 2)
    rest = task.number("rest", 1, batch - 1)
    pieces, in_batch, in_rest = full * batch + rest, -(-batch // each), -(-rest // each)
    slips = {
        "batches left out": np.ceil(pieces / each),
        "rounded down": full * (batch // each) + rest // each,
        "not rounded": pieces / each,
        "one batch": in_batch,
        "last batch forgotten": full * in_batch,
    }
    task = task.knows(pieces=pieces, batch=batch, rest=rest, in_batch=in_batch, in_rest=in_rest)
    return numeric(task, full * in_batch + in_rest, slips)


def pattern_freezing(task, room, factor, seconds, part):
    ratio = float(part.scaled_to(part.volume_cm3 * factor).modulus_mm / part.modulus_mm)
    slips = {
        "in proportion to modulus": seconds * ratio,
        "in proportion to volume": seconds * factor,
        "square of the volume": seconds * factor**2,
    }
    return numeric(task.knows(ratio=ratio), seconds * ratio**2, slips)


def pattern_front(task, room, stiff):
    limit, wanted = room.rates.entries["printed_mould.fill_share"], task.choice("band", [*Band])
    ends = {Band.SAFE: (0.4, 0.8), Band.DOUBTFUL: (1.2, 0.9 * limit.high / limit.value), Band.MISRUN: (1.1, 1.6)}
    low, high = (end * (limit.high if wanted is Band.MISRUN else limit.value) for end in ends[wanted])
    full = round(stiff * task.choice("share", np.linspace(low, high, 5).tolist()), 1)
    right = band(full / stiff, limit)
    return choose(task.knows(limit=limit, full=full, ratio=full / stiff), right, right)


def pattern_size(task, room, contraction, part):
    s, volume = float(pattern_mm(1.0, contraction)), round(part.volume_cm3, 1)
    slips = {
        "nothing added": volume,
        "one length": volume * s,
        "two lengths": volume * s**2,
        "made smaller": volume / s**3,
    }
    return numeric(task.knows(volume=volume, share=contraction / 100), volume * s**3, slips)


def pattern_yield(task, room, pieces, gates, cup, diameter, length, part):
    runner, volume = float(cylinder_cm3(diameter, length)), round(part.volume_cm3, 1)
    metal = pieces * volume
    gated = metal * (1 + gates)
    right = metal / (gated + runner + cup)
    slips = {
        "cup left out": metal / (gated + runner),
        "gates left out": metal / (metal + runner + cup),
        "only gates": 1 / (1 + gates),
        "upside down": 1 / right,
    }
    return numeric(task.knows(volume=volume, metal=metal, more=1 + gates, runner=runner), right, slips)


def pattern_drying(task, room, coats, interval, final):
    slips = {
        "one wait too many": drying_h(coats, interval, final),
        "last drying left out": drying_h(coats - 1, interval, 0),
        "last drying only": final,
    }
    return numeric(task.knows(waits=coats - 1), float(drying_h(coats - 1, interval, final)), slips)


def pattern_kiln(task, room, loads, ramp, mistake_):
    holds, hours = int(room.rates["shell.kiln_clusters"]), room.rates["shell.burn_out"]
    clusters = loads * holds + task.number("rest", 1, max(1, holds - 1))
    run, runs = hours + ramp, loads + 1
    each, taken = (run, loads) if mistake_ == 2 else (hours, runs)
    slips = {"rounded down": loads * run, "ramp left out": runs * hours, "not rounded": clusters / holds * run}
    task = task.knows(clusters=clusters, holds=holds, ratio=clusters / holds, hours=hours, runs=runs)
    return mistake(task.knows(taken=taken, each=each, held=taken * each), mistake_, runs * run, slips)


def pattern_order(task, room):
    return order_of_route(task, room, "printed_pattern", Stage.PATTERN, Stage.BREAK_OUT)


def pattern_bore(task, room, diameter, depth, stock):
    right = float(bore_stock_cm3(diameter, depth, stock))
    slips = {
        "stock on one side": bore_stock_cm3(diameter, depth, stock / 2),
        "whole hole": np.pi / 4 * diameter**2 * depth / 1000,
        "radius for diameter": 4 * right,
        "stock doubled": bore_stock_cm3(diameter, depth, 2 * stock),
    }
    return numeric(task.knows(cast=diameter - 2 * stock, cubic=1000 * right), right, slips)
