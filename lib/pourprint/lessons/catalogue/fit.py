"""Exercises of notebook 07: loads, fits and bonds."""

from math import pi, sqrt

from pourprint.lessons.kinds import growth_of, mistake, numeric, predict
from pourprint.process.finish.bonding import Lap
from pourprint.process.finish.iso_fits import fit_um, limits_um


def drop_factor(task, room, height, settles):
    root = sqrt(1 + 2 * height / settles)
    slips = {"no weight": root, "half the fall": 1 + sqrt(1 + height / settles), "slow set-down": 2}
    return numeric(task, 1 + root, slips)


def tightest_fit(task, room, size, letter):
    low, high = limits_um(size, letter)
    hole = limits_um(size, "H7")
    slips = {"loosest": low - hole[1], "middle": (low + high - hole[1]) / 2, "both largest": high - hole[1]}
    return numeric(task.knows(hole=hole, low=low, high=high), fit_um(size, "H7", letter)[1], slips)


def warm_seat(task, room, size, warmer, tight, wrong):
    boss, ring = task.words["boss"], task.words["ring"]
    outgrows = boss - ring
    lost = outgrows * warmer * size / 1000
    shown, length = boss if wrong == 1 else outgrows, size / 2 if wrong == 2 else size
    told = shown * warmer * length / 1000
    slips = {
        "ring does not grow": tight - boss * warmer * size / 1000,
        "radius": tight - lost / 2,
        "tighter": tight + lost,
    }
    left = tight + told if wrong == 3 else tight - told
    task = task.knows(boss=boss, ring=ring, shown=shown, length=length, told=told, left=left)
    return mistake(task, wrong, tight - lost, slips)


def longer_bond(task, room, length, factor, wall):
    def peak(n):
        return float(Lap(30, wall, 70, 1.1, 4, 72, 21.5, n).worst_shear_mpa(3000.0))

    longer = length * factor
    truths = task.told("options")[2:3]
    return predict(task.knows(longer=longer, short_peak=peak(length), long_peak=peak(longer)), truths, "ends", peak)


def bond_mean(task, room, size, length, force):
    newton = force * 1000
    right = newton / (pi * size * length)
    slips = {"radius": 2 * right, "section": newton / (pi / 4 * size**2), "no circle": newton / (size * length)}
    return numeric(task.knows(newton=newton), right, slips)


def softer_line(task, room, factor):
    def peak(times):
        return float(Lap(30, 2, 70, 1.1, 4, 72, 21.5, 40, 0.1 * times).worst_shear_mpa(0.0, -60.0))

    falls = peak(1) / peak(factor)
    return predict(task.knows(falls=falls, root=sqrt(factor)), growth_of(falls, factor), "root", peak)
