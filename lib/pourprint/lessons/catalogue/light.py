"""Exercises of notebook 08: lightening, believing, and paying for it."""

from functools import cache

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number
from pourprint.lessons.exercises import Field, exercise
from pourprint.lessons.kinds import Aim, Number, Option, choose, design, numeric
from pourprint.process.strength.beam_lesson import lighten_beam

NOTEBOOK = "08"


@exercise
def honest_baseline(draw, room):
    percent = draw.choice("percent", (20, 25, 30))
    return choose(
        draw,
        f"A node has lost {percent} % of its metal and is as stiff as before. With what must it be compared, so that "
        "the search gets the credit that it deserves?",
        [
            Option("the plain node with thinner walls, at the same mass"),
            Option("the plain node as it was", "That one is heavier: a lighter one by any means is softer."),
            Option("a solid block in the same box", "Nobody would build that."),
        ],
        [
            Option("metal can be taken away without any search, too"),
            Option("the same walls are easier to machine", "Machining is not what stiffness is about."),
            Option("both then have the same volume share", "A share of what? Compare masses."),
        ],
        "Two shapes of one mass: what differs is only where the metal stands.",
    )


@exercise
def believe_the_peak(draw, room):
    first = draw.whole("first", 60, 120, 5)
    return choose(
        draw,
        f"On cells of 2 mm the highest stress in a corner of the staircase is {first} MPa. On cells of 1 mm it is "
        f"{round(first * 1.4)} MPa, on cells of 0.5 mm {round(first * 1.96)} MPa. What do you report?",
        [
            Option("no peak there: the stress a little away from corners and loads, at two sizes of cells"),
            Option("the finest, since fine cells are right", "It goes on growing with every finer grid."),
            Option("the mean of all three", "A mean of numbers that grow without end is none."),
        ],
        [
            Option("a sharp inner corner has no finite stress; the real one is round"),
            Option("coarse cells always overestimate", "Here they give the lowest number."),
            Option("fine cells lose digits", "Rounding is far smaller than that."),
        ],
        "What does not settle when cells shrink is not a result.",
    )


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
    return choose(
        draw,
        f"The search leaves struts of {wall / 2:g} mm where the foundry asks for walls of {wall:g} mm. What do you "
        "change?",
        [
            Option("the radius of the filter, and search again"),
            Option("thicken the finished struts by hand", "Then mass and shape are no longer what was searched."),
            Option("the number of iterations", "More rounds make a sharp design sharper, not thicker."),
        ],
        [
            Option("the filter's radius sets the thinnest member that can form"),
            Option("iterations thicken what is thin", "They settle, they do not thicken."),
            Option("a finer grid has thicker members", "Without a filter finer cells give finer struts."),
        ],
        "A rule of making belongs into the search, not behind it.",
    )


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
        "`pp.lighten_beam(36, 12, share, radius, most=40)`; several answers pass.",
        fields,
        outcome,
        {"share": f"{most}", "radius": f"{radius:g}"},
        "Fill what is allowed and filter no more than is asked: both limits are used up.",
    )
