"""Exercises of notebook 08: lightening, believing, and paying for it."""

from functools import cache

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number
from pourprint.lessons.exercises import Field, exercise
from pourprint.lessons.kinds import Aim, Number, design, in_words, numeric
from pourprint.process.strength.beam_lesson import lighten_beam

NOTEBOOK = "08"


@exercise
def honest_baseline(draw, room):
    return in_words(draw, percent=draw.choice("percent", (20, 25, 30)))


@exercise
def believe_the_peak(draw, room):
    first = draw.whole("first", 60, 120, 5)
    return in_words(draw, first=first, second=round(first * 1.4), third=round(first * 1.96))


@exercise
def gram_price(draw, room):
    saved, kits = draw.whole("saved", 40, 150, 5), draw.whole("kits", 4, 30)
    hours, rate = draw.whole("hours", 8, 30), draw.whole("rate", 50, 90, 5)
    more = draw.whole("more", 5, 40)
    right = (more + hours * rate / kits) / saved
    slips = {
        "design forgotten": (more / saved, "The engineer's hours are paid, too, once for all kits."),
        "design on each kit": ((more + hours * rate) / saved, "The hours are shared by all kits."),
        "upside down": (saved / (more + hours * rate / kits), "Money for a gram, not grams for money."),
    }
    return numeric(
        f"Lightening saves {saved} g a kit and is wanted for {kits} kits. It takes an engineer {hours} h at {rate} "
        f"{room.money}, once, and each kit then costs {more} {room.money} more to make. What does a gram saved cost?",
        Number(right, f"{room.money} a gram", slips),
        f"({more} + {hours}·{rate}/{kits})/{saved} = {right:.3f} {room.money}.",
    )


@exercise
def least_wall(draw, room):
    wall = draw.choice("wall", (2.0, 2.5, 3.0))
    return in_words(draw, wall=wall, half=wall / 2)


@cache
def _beam(share, radius):
    *_, last = lighten_beam(36, 12, share, radius, most=40)
    return last.compliance


@exercise
def design_a_beam(draw, room):
    most, radius = draw.choice("share", (40, 45, 50)), draw.choice("radius", (1.5, 2.0))
    wanted = round(1.02 * _beam(most / 100, radius), 1)

    def typed(text, name, low, high):
        value = read_number(text)
        if not low <= value <= high:
            raise InputError(f"The {name} must be from {low:g} to {high:g}.")
        return value

    def outcome(answer):
        share = typed(answer["share"], "room filled", 20, 90)
        wide = typed(answer["radius"], "radius", 1.2, 5)
        found = _beam(share / 100, wide)
        return [
            Aim("lighter", f"at most {most} % of the room is filled", share <= most, f"{share:g} %"),
            Aim("stiffer", f"a compliance of at most {wanted:g}", found <= wanted, f"{found:.1f}"),
            Aim("makeable", f"a filter of at least {radius:g} cells", wide >= radius, f"{wide:g}"),
        ]

    fields = Field("share", "room filled [%]"), Field("radius", "radius of the filter [cells]")
    return design(
        f"Design a half beam of 36 × 12 cells that is light, stiff and can be made: at most {most} % of the room "
        f"filled, a compliance of at most {wanted:g}, and a filter of at least {radius:g} cells. Try numbers with "
        "pp.lighten_beam(36, 12, share, radius, most=40); several answers pass.",
        fields,
        outcome,
        {"share": f"{most}", "radius": f"{radius:g}"},
        "Fill what is allowed and filter no more than is asked: both limits are used up.",
    )
