"""Exercises of notebook 01: volume, surface, modulus, scale and units."""

from pourprint.ledger.alloys import alloys
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import GROWTHS, Number, Option, growth_of, mistake, numeric, predict
from pourprint.parts.mending import UNITS_MM
from pourprint.parts.part import Part

NOTEBOOK = "01"


def _block(draw, low=20, high=90):
    """A solid block with drawn sides: ((a, b, c) [mm], Part)."""
    sides = tuple(draw.whole(side, low, high, 5) for side in "abc")
    a, b, c = sides
    return sides, Part.from_numbers("block", a * b * c / 1000, 2 * (a * b + b * c + a * c) / 100, sides)


@exercise
def modulus(draw, room):
    (a, b, c), block = _block(draw)
    right = block.modulus_mm
    slips = {
        "half the surface": (2 * right, "Each face has a twin on the other side: is the whole surface counted?"),
        "upside down": (1 / right, "Modulus is volume over surface, not surface over volume."),
        "typical wall": (3 * right, "Compare with the sphere above: what is divided by what?"),
    }
    return numeric(
        f"A solid block measures {a} × {b} × {c} mm. What is its modulus V/A?",
        Number(right, "mm", slips),
        f"V = {a}·{b}·{c} = {a * b * c:,} mm³, A = 2·({a}·{b} + {b}·{c} + {a}·{c}) = {100 * block.area_cm2:,.0f} mm², "
        f"V/A = {right:.3f} mm.",
    )


@exercise
def scaled_surface(draw, room):
    item = draw.choice("part", room.kit.parts)
    factor = draw.choice("factor", (2, 3, 4, 5))
    part = item.part
    right = float(part.scaled_to(part.volume_cm3 * factor).area_cm2)
    slips = {
        "as the volume": (part.area_cm2 * factor, "Surface is length times length: it grows slower than volume."),
        "as the length": (part.area_cm2 * factor ** (1 / 3), "That is how lengths grow; a surface has two of them."),
        "square of the volume": (part.area_cm2 * factor**2, "The factor is one of volume, not of length."),
    }
    return numeric(
        f"{part.name} has {part.volume_cm3:.1f} cm³ and {part.area_cm2:.1f} cm² of surface. A similar part has "
        f"{factor} times the volume. What is its surface?",
        Number(right, "cm²", slips),
        f"Lengths grow by {factor}^(1/3) = {factor ** (1 / 3):.4f}, surfaces by its square "
        f"{factor ** (2 / 3):.4f}: {right:.1f} cm².",
    )


@exercise
def inch_or_mm(draw, room):
    inch, wrong = UNITS_MM["inch"], draw.choice("wrong", (1, 3, 4))
    side = draw.number("side", 1.5, 4.0, 0.25)
    read = draw.number("volume", 0.5, 3.0, 0.1)  # mm³ as read, really cubic inches
    right = read * inch**3 / 1000
    taken = inch / 10 if wrong == 3 else inch
    times, power = draw.choice("slip", (("", 1), ("²", 2))) if wrong == 4 else ("³", 3)
    lines = (
        f"The drawing shows a side of {side:g} inch, which is {side * inch / (10 if wrong == 1 else 1):.2f} mm.",
        f"The STL was written in inches but read as mm, so that this side became {side:g} mm.",
        f"Every length was read {taken:g} times too small.",
        f"The volume was read as {read:g} mm³; really it is {taken:g}{times} times as much: "
        f"{read * taken**power / 1000:.4f} cm³.",
    )
    slips = {
        "one length": (read * inch / 1000, "A volume has three lengths: how often does the factor come in?"),
        "two lengths": (read * inch**2 / 1000, "That is how a surface is converted; a volume has one length more."),
        "inch of 2.54 mm": (right / 1000, "How many millimetres has an inch?"),
    }
    return mistake(
        "A student corrects a mesh that was read in the wrong unit. One line is wrong. Which one, and what is the "
        "real volume?",
        lines,
        wrong,
        {1: "One inch is 25.4 mm exactly.", 2: "An STL has no unit: the reader chooses.", 3: "25.4 mm are one inch."},
        Number(right, "cm³", slips),
        f"{read:g}·25.4³ = {read * inch**3:,.0f} mm³ = {right:.2f} cm³.",
    )


@exercise
def kit_mass(draw, room):
    quantity = draw.whole("quantity", 2, 9)
    alloy = draw.choice("alloy", list(alloys().values()))
    kit, density = room.kit, alloy["density"]
    right = quantity * kit.volume_cm3 * density / 1000
    one_each = quantity * sum(item.part.volume_cm3 for item in kit.parts) * density / 1000
    slips = {
        "one of each part": (one_each, "A kit holds several of some parts: see the count column."),
        "one kit": (right / quantity, f"That is one kit; {quantity} are asked for."),
        "volume, not mass": (right / density, "That is the volume: what does a cubic centimetre weigh?"),
        "density upside down": (right / density**2, "Mass is volume times density."),
    }
    return numeric(
        f"What do {quantity} kits of the frame weigh in {alloy.title}, with a density of {density:g} g/cm³?",
        Number(right, "kg", slips),
        f"One kit holds {kit.volume_cm3:.1f} cm³ in {kit.nodes} pieces; {quantity}·{kit.volume_cm3:.1f}·{density:g} "
        f"= {right * 1000:,.0f} g.",
    )


LARGER = {  # what may happen to a part, and why its V/A then does what it does
    "a similar part has {} times its volume": "V/A grows as a length does, and lengths grow less than volumes",
    "a similar part is {} times as long, wide and high": "V/A is itself a length: it grows as all lengths do",
    "{} of them stand apart, and all are taken together": "volume and surface grow alike",
}


@exercise
def predict_modulus(draw, room):
    part, factor = draw.choice("part", room.kit.parts).part, draw.choice("factor", (2, 3, 4))
    case, place = draw.choice("case", list(enumerate(LARGER)))[::-1]

    def larger(times):
        return part.scaled_to(part.volume_cm3 * (times, times**3, 1)[place]), times if place == 2 else 1

    def says(times):
        one, count = larger(times)
        volume, area = count * one.volume_cm3, count * one.area_cm2
        return f"volume {volume:.0f} cm³, surface {area:.0f} cm², V/A {10 * volume / area:.2f} mm"

    growth = float(larger(factor)[0].modulus_mm / part.modulus_mm)
    see = "Read volume and surface while you move the slider: by which factor does each grow?"
    return predict(
        draw,
        f"{part.name} has a modulus V/A of {part.modulus_mm:.2f} mm. Now {case.format(factor)}. What becomes of V/A, "
        f"compared with that factor of {factor}?",
        GROWTHS,
        growth_of(growth, factor),
        Slider("times", "×", tuple(range(1, 9)), says),
        [Option(why, "" if why == LARGER[case] else see) for why in LARGER.values()],
        f"V/A grows {growth:.3f} times, to {part.modulus_mm * growth:.4g} mm.",
    )
