"""Exercises of notebook 08: lightening, believing, and paying for it."""

from functools import cache

from pourprint.lessons.kinds import design, in_words, numeric, typed
from pourprint.process.strength.beam_lesson import lighten_beam


def believe_the_peak(task, room, first):
    return in_words(task.knows(second=round(first * 1.4), third=round(first * 1.96)), room)


def gram_price(task, room, saved, kits, hours, rate, more):
    right = (more + hours * rate / kits) / saved
    slips = {
        "design forgotten": more / saved,
        "design on each kit": (more + hours * rate) / saved,
        "upside down": 1 / right,
    }
    return numeric(task, right, slips)


def least_wall(task, room, wall):
    return in_words(task.knows(half=wall / 2), room)


@cache
def _beam(share, radius):
    *_, last = lighten_beam(36, 12, share, radius, most=40)
    return last.compliance


def design_a_beam(task, room, share, radius):
    wanted = round(1.02 * _beam(share / 100, radius), 1)

    def outcome(answer):
        filled, wide = typed(answer["share"], "room filled", 20, 90), typed(answer["radius"], "radius", 1.2, 5)
        found = _beam(filled / 100, wide)
        return {
            "lighter": (filled <= share, f"{filled:g}%"),
            "stiffer": (found <= wanted, f"{found:.1f}"),
            "makeable": (wide >= radius, f"{wide:g}"),
        }

    worked = {"share": f"{share}", "radius": f"{radius:g}"}
    return design(task.knows(wanted=wanted), {"share": {}, "radius": {}}, outcome, worked)
