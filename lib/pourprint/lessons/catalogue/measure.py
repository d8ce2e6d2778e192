"""Exercises of notebook 01: volume, surface, modulus, scale and units."""

from pourprint.ledger.alloys import alloys
from pourprint.lessons.kinds import growth_of, mistake, numeric, predict
from pourprint.parts.mending import UNITS_MM
from pourprint.parts.part import Part


def block(a, b, c):
    """A solid block of three sides [mm], as a Part."""
    return Part.from_numbers("block", a * b * c / 1000, 2 * (a * b + b * c + a * c) / 100, (a, b, c))


def modulus(task, room, a, b, c):
    right = block(a, b, c).modulus_mm
    slips = {"half the surface": 2 * right, "upside down": 1 / right, "typical wall": 3 * right}
    return numeric(task.knows(volume=a * b * c, area=2 * (a * b + b * c + a * c)), right, slips)


def scaled_surface(task, room, factor, part):
    right = part.scaled_to(part.volume_cm3 * factor).area_cm2
    lengths, areas = (factor ** (power / 3) for power in (1, 2))
    slips = {
        "as the volume": part.area_cm2 * factor,
        "as the length": part.area_cm2 * lengths,
        "square of the volume": part.area_cm2 * factor**2,
    }
    return numeric(task.knows(lengths=lengths, areas=areas), right, slips)


def inch_or_mm(task, room, wrong, side, volume, slip):
    inch = UNITS_MM["inch"]
    right = volume * inch**3 / 1000
    taken = inch / 10 if wrong == 3 else inch
    times, power = slip if wrong == 4 else ("³", 3)
    slips = {
        "one length": volume * inch / 1000,
        "two lengths": volume * inch**2 / 1000,
        "inch of 2.54 mm": right / 1000,
    }
    drawn, told = side * inch / (10 if wrong == 1 else 1), volume * taken**power / 1000
    task = task.knows(drawn=drawn, taken=taken, times=times, told=told, cubed=1000 * right)
    return mistake(task, wrong, right, slips)


def kit_mass(task, room, quantity):
    alloy = task.choice("alloy", [*alloys().values()])
    density = alloy["density"]
    right = quantity * room.kit.volume_cm3 * density / 1000
    slips = {
        "one of each part": quantity * sum(item.part.volume_cm3 for item in room.kit.parts) * density / 1000,
        "one kit": right / quantity,
        "volume, not mass": right / density,
        "density upside down": right / density**2,
    }
    if room.kit.nodes == len(room.kit.parts):  # one of each part is the kit
        slips.pop("one of each part")
    return numeric(task.knows(alloy=alloy, density=density, grams=right * 1000), right, slips)


def predict_modulus(task, room, factor, case, part):
    def larger(times):
        count = times if case == "many" else 1
        one = part.scaled_to(part.volume_cm3 * {"volume": times, "lengths": times**3, "many": 1}[case])
        volume, area = count * one.volume_cm3, count * one.area_cm2
        return volume, area, 10 * volume / area

    grown = float(larger(factor)[2])
    growth = grown / part.modulus_mm
    return predict(task.knows(growth=growth, grown=grown), growth_of(growth, factor), case, larger)
