"""Exercises of notebook 07: loads, fits and bonds."""

from math import pi, sqrt

from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import GROWTHS, Number, Option, growth_of, in_words, mistake, numeric, predict
from pourprint.process.finish.bonding import Lap
from pourprint.process.finish.iso_fits import fit_um, limits_um

NOTEBOOK = "07"


@exercise
def drop_factor(draw, room):
    height, settles = draw.whole("height", 10, 60, 5), draw.number("settles", 1.0, 6.0, 0.5)
    right = 1 + sqrt(1 + 2 * height / settles)
    slips = {
        "no weight": (sqrt(1 + 2 * height / settles), "After the fall the weight still stands there."),
        "half the fall": (1 + sqrt(1 + height / settles), "The fall's energy m g h meets a spring's ½ k x²."),
        "slow set-down": (2.0, "That is dropped from no height at all."),
    }
    return numeric(
        f"A rover falls {height} mm on its tyres; standing, it settles by {settles:g} mm. How many times the weight do "
        "its tubes carry, all spring and no damping?",
        Number(right, "times", slips),
        f"1 + √(1 + 2·{height}/{settles:g}) = {right:.3f}.",
    )


@exercise
def tightest_fit(draw, room):
    size, letter = draw.choice("size", (22, 25, 28, 35, 40, 47)), draw.choice("letter", ("m6", "n6", "p6", "r6", "s6"))
    low, high = limits_um(size, letter)
    hole = limits_um(size, "H7")
    right = fit_um(size, "H7", letter)[1]
    slips = {
        "loosest": (low - hole[1], "That is the smallest shaft in the largest hole; the tightest pair is asked for."),
        "middle": ((low + high - hole[1]) / 2, "That is the middle of both bands."),
        "both largest": (high - hole[1], "Is the tightest pair made with the largest hole?"),
    }
    return numeric(
        f"A hole of {size} mm H7 may be +{hole[0]:g} to +{hole[1]:g} µm, a shaft {letter} +{low:g} to +{high:g} µm. "
        "What is the greatest interference?",
        Number(right, "µm", slips, whole=True),
        f"Largest shaft less smallest hole: {high:g} − {hole[0]:g} = {right:g} µm.",
    )


@exercise
def warm_seat(draw, room):
    size, warmer = draw.choice("size", (22, 26, 28, 35)), draw.whole("warmer", 30, 80, 5)
    tight, wrong = draw.whole("tight", 18, 30), draw.choice("wrong", (1, 2, 3))
    grows, ring = 21.5, 11.6
    lost = (grows - ring) * warmer * size / 1000
    shown = grows if wrong == 1 else grows - ring
    length = size / 2 if wrong == 2 else size
    told = shown * warmer * length / 1000
    lines = (
        f"The aluminium boss outgrows the steel ring by {shown:.1f} µm a metre and kelvin.",
        f"Over {length:g} mm and {warmer} K that is {told:.2f} µm of diameter.",
        f"Of {tight} µm of interference {tight - told if wrong != 3 else tight + told:.2f} µm are left.",
    )
    slips = {
        "ring does not grow": (tight - grows * warmer * size / 1000, "The ring grows, too."),
        "radius": (tight - lost / 2, "Interference is one of diameters."),
        "tighter": (tight + lost, "Which of the two grows more, hole or ring?"),
    }
    return mistake(
        f"A steel ring (11.6 µm/mK) of {size} mm sits in an aluminium boss (21.5 µm/mK) with {tight} µm of "
        f"interference and becomes {warmer} K warmer. One line is wrong. Which one, and what is left really?",
        lines,
        wrong,
        {1: "Both grow; the difference counts.", 2: "Diameter times growth.", 3: "What is lost is taken away."},
        Number(tight - lost, "µm", slips),
        f"{tight} − ({grows} − {ring})·{warmer}·{size}/1000 = {tight - lost:.2f} µm.",
    )


@exercise
def longer_bond(draw, room):
    length, factor = draw.whole("length", 25, 40, 5), draw.choice("factor", (2, 3))
    wall = draw.choice("wall", (1.5, 2.0, 2.5))

    def peak(n):
        return float(Lap(30, wall, 70, 1.1, 4, 72, 21.5, n).worst_shear_mpa(3000.0))

    reasons = [
        Option("the ends carry nearly all; the middle was idle already"),
        Option("twice the area halves the stress", "Move the slider: is the peak in proportion to the length?"),
        Option("a longer joint bends more", "Bending is not in this model at all."),
    ]
    return predict(
        draw,
        f"A carbon tube of 30 mm with a wall of {wall:g} mm is bonded {length} mm deep into an aluminium socket and "
        f"pulled by 3 kN. The bond is made {factor} times as long. What happens to the greatest shear stress?",
        ("it falls by that factor", "it falls, but less", "it stays nearly the same", "it grows"),
        ("it stays nearly the same",),
        Slider("length", "mm", tuple(range(5, 95, 5)), lambda n: f"greatest shear {peak(n):.2f} MPa"),
        reasons,
        f"{peak(length):.2f} MPa at {length} mm, {peak(length * factor):.2f} MPa at {length * factor} mm.",
    )


@exercise
def bond_mean(draw, room):
    size, length = draw.choice("size", (16, 20, 25, 30, 40)), draw.whole("length", 20, 50, 5)
    force = draw.number("force", 1.0, 6.0, 0.5)
    right = force * 1000 / (pi * size * length)
    slips = {
        "radius": (2 * right, "The tube's whole circumference is bonded: π times its diameter."),
        "section": (force * 1000 / (pi / 4 * size**2), "Shear acts along the bonded surface, not across the tube."),
        "no circle": (force * 1000 / (size * length), "The bond runs all round."),
    }
    return numeric(
        f"A tube of {size} mm is bonded {length} mm deep and pulled by {force:g} kN. What is the mean shear in the "
        "bond, reckoned on the tube's surface?",
        Number(right, "MPa", slips),
        f"{force * 1000:g}/(π·{size}·{length}) = {right:.3f} MPa. The ends carry several times as much.",
    )


@exercise
def carbon_and_metal(draw, room):
    return in_words(draw, metal=draw.choice("metal", ("aluminium", "magnesium")))


@exercise
def softer_line(draw, room):
    factor = draw.choice("factor", (2, 3, 4))

    def peak(times):
        return float(Lap(30, 2, 70, 1.1, 4, 72, 21.5, 40, 0.1 * times).worst_shear_mpa(0.0, -60.0))

    see = "Move the slider: twice the gap, how much less shear?"
    return predict(
        draw,
        f"A joint cools by 60 K after its cure; its gap of 0.1 mm is made {factor} times as thick. By which factor "
        "does the thermal shear at its ends fall, compared with that factor?",
        GROWTHS,
        growth_of(peak(1) / peak(factor), factor),
        Slider("gap", "× 0.1 mm", (1, 2, 3, 4, 5), lambda n: f"end shear {peak(n):.1f} MPa"),
        [
            Option("shear goes with one over the square root of the gap"),
            Option("shear goes with one over the gap", see),
            Option("the gap changes nothing, since only the metals grow", see),
        ],
        f"It falls {peak(1) / peak(factor):.2f} times: √{factor} = {sqrt(factor):.2f}.",
    )
