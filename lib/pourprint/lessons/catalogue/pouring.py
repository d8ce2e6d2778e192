"""Exercises of notebook 03, stage 3: how a mould fills and freezes, and a node to be mended."""

from functools import cache

from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.ledger.typed_numbers import read_number
from pourprint.lessons.exercises import Field, exercise
from pourprint.lessons.kinds import Aim, Number, design, numeric
from pourprint.parts.nodes import badly_drawn
from pourprint.plans.jobs import Job
from pourprint.process.sand.gating import fall_speed_m_s, flow_cm3_s
from pourprint.routes.mould_sizes import moulds_with_one_feeder
from pourprint.routes.pouring import COARSE_CELLS, pour, trial

NOTEBOOK = "03"


@exercise
def mould_rise(draw, room):
    length, width = draw.whole("length", 60, 160, 20), draw.whole("width", 40, 80, 10)
    high = draw.whole("h", 40, 120, 20)
    over, choke = draw.choice("over", (10, 20, 30)), draw.whole("choke", 60, 140, 10)
    head, volume = high + over, length * width * high / 1000
    falling = (float(fall_speed_m_s(head)) + float(fall_speed_m_s(over))) / 2  # exact: the mean of both ends
    right = volume / float(flow_cm3_s(choke, falling))
    steady = volume / float(flow_cm3_s(choke, fall_speed_m_s(head)))
    slips = {
        "as if from the top": (steady, "The metal in the mould presses back: what is the head when it is nearly full?"),
        "mean head": (
            volume / float(flow_cm3_s(choke, fall_speed_m_s((head + over) / 2))),
            "The speed follows the root of the head: take the mean of the speeds, not of the heads.",
        ),
        "last speed": (volume / float(flow_cm3_s(choke, fall_speed_m_s(over))), "That is the speed at the very end."),
        "twice the top's": (2 * steady, "That would be a mould filled to the brim of its basin."),
    }
    return numeric(
        f"A box {length} × {width} mm, {high} mm high, fills from below through a choke of {choke} mm². The basin's "
        f"surface stands {over} mm above the box's top. Without losses, how long does it take?",
        Number(right, "s", slips, tolerance=0.004),
        f"√(2gh) falls evenly with time from {float(fall_speed_m_s(head)):.3f} to "
        f"{float(fall_speed_m_s(over)):.3f} m/s; mean {falling:.3f} m/s through {choke} mm²: {volume:.0f} cm³ "
        f"in {right:.2f} s.",
    )


@exercise
def mould_pocket(draw, room):
    feeder, peak, neck = draw.whole("feeder", 70, 90), draw.whole("peak", 40, 60), draw.whole("neck", 15, 25)
    wide = draw.whole("wide", 2, 4)
    boss = [peak - 4 * abs(i - wide // 2) - i for i in range(wide)]
    thin = neck - 6
    row = [thin, *boss, neck, neck + 8, feeder]
    shrink = room.alloy["shrinkage"]
    cut = sum(time > neck for time in row[: wide + 1])
    slips = {
        "all but the feeder": ((wide + 3) * 10 * shrink / 100, "What lies between neck and feeder is still fed."),
        "whole end": (
            (wide + 1) * 10 * shrink / 100,
            "One of these has stopped to flow before the neck did: leave it out.",
        ),
        "metal, not pores": (10.0 * cut, "That is the metal cut off; which share of it becomes pores?"),
        "one piece": (10 * shrink / 100, "All that is liquid when the neck closes draws on what is left."),
    }
    return numeric(
        f"A bar is cut in thought into pieces of 10 cm³. They stop to flow after {', '.join(map(str, row))} s; "
        f"the last one is the feeder. The metal shrinks by {shrink:g} % on freezing. What volume of pores is left "
        "unfed?",
        Number(10 * cut * shrink / 100, "cm³", slips),
        f"The neck closes at {neck} s. Behind it {cut} pieces are liquid still: {10 * cut} cm³, of which {shrink:g} % "
        f"are {cut * shrink / 10:.2f} cm³.",
    )


PLACES = {"hub": "over the hottest section", "boss": "over the largest pore", "both": "both"}
PLACE_WORDS = {"hub": "over the hub, as planned", "boss": "over the bearing boss", "both": "one over each"}
CHILLS = {"none": 0.0, "20": 20.0, "35": 35.0}
CHILL_WORDS = {"none": "no chill", "20": "a chill of 20 mm at the boss", "35": "a chill of 35 mm at the boss"}


SECTIONS = ("feeding.", "gating.", "printed_mould.")  # of the card, on which a pour depends


@cache
def _trials(numbers, alloy):
    """The badly drawn node at a card's `numbers` ((key, value), …): the plan's pour, and what a trial comes to."""
    rates = RateCard.default().replace(dict(numbers))
    job = Job(badly_drawn(), alloy)
    (one,) = moulds_with_one_feeder(job, rates)
    first = pour(one, cells=COARSE_CELLS)

    @cache
    def tried(place, chill, width):
        rigging = trial(first, PLACES[place], width, first.rigging.feeders[0].neck, CHILLS[chill])
        return pour(one, rigging, COARSE_CELLS)

    return first, tried


@exercise
def mould_boss(draw, room):
    numbers = ((key, entry.value) for key, entry in room.rates.entries.items() if key.startswith(SECTIONS))
    first, tried = _trials(tuple(numbers), room.alloy.name)
    most, whole = room.rates["printed_mould.most_pore"], float(first.mould.metal_kg)
    allowed = round(whole * draw.choice("allowed", (1.0, 1.02, 1.05)), 3)
    wide = round(float(first.mould.feeder.diameter_mm))

    def outcome(answer):
        width = read_number(answer["width"])
        if not 10 <= width <= 80:
            raise InputError("The feeder's width must be from 10 to 80 mm.")
        run = tried(answer["place"], answer["chill"], round(width, 1))
        takes, gives = run.feeding.enough(run.efficiency)
        pore, metal = run.feeding.pore_cm3, float(run.mould.metal_kg)
        bare = tried(answer["place"], "none", round(width, 1)).feeding.pore_cm3
        needed = answer["chill"] == "none" or bare > most
        return [
            Aim("pores", f"pores of at most {1000 * most:.0f} mm³", pore <= most, f"{1000 * pore:.0f} mm³"),
            Aim("feeder", "feeders that can give what is taken", gives >= takes, f"{gives:.1f} of {takes:.1f} cm³"),
            Aim("chill", "no chill that could stay away", needed, CHILL_WORDS[answer["chill"]]),
            Aim("metal", f"at most {allowed:.3f} kg poured", metal <= allowed, f"{metal:.3f} kg"),
        ]

    designs = ({"place": "both", "chill": "none", "width": str(width)} for width in range(wide - 12, wide + 1))
    worked = next((each for each in designs if all(aim.met for aim in outcome(each))), None)
    if worked is None:
        raise InputError("mould-boss: with this class's card and alloy two slim feeders do not mend the node.")
    return design(
        f"The node of the panel above has a heavy bearing boss at the end of a thin arm. With one feeder of "
        f"{wide} mm over the hub {whole:.3f} kg are poured, and the boss keeps a pore. Get it out with "
        f"little metal: at most {allowed:.3f} kg, feeder and gates included.",
        (
            Field("place", "feeders", PLACE_WORDS),
            Field("width", "width of each [mm]"),
            Field("chill", "chill", CHILL_WORDS),
        ),
        outcome,
        worked,
        "Each heavy end needs a feeder of its own, and each of the two has less to feed than the one: so both can be "
        f"slim. {worked['width']} mm do; others may do too. A chill alone leaves the boss cut off, only smaller.",
    )
