"""Exercises of notebook 09: a lab's own rates, and how it learns."""

import math

from pourprint.decide.learning import Curve
from pourprint.decide.sensitivity import output_of
from pourprint.ledger.entries import Kind, in_words
from pourprint.ledger.rates import annuity as yearly_payment
from pourprint.ledger.rates import machine_hour as hour_price
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import GROWTHS, Number, Option, choose, growth_of, numeric, percent, predict
from pourprint.routes import PRINTED

NOTEBOOK = "09"


@exercise
def annuity(draw, room):
    price, years = draw.whole("price", 200, 800, 50) * 1000, draw.whole("years", 5, 10)
    rate = draw.choice("rate", (0.04, 0.05, 0.06, 0.07, 0.08))
    right = float(yearly_payment(price, years, rate))
    slips = {
        "no interest": (price / years, "The bank wants interest, too."),
        "interest on all years": (price / years + price * rate, "The debt falls from year to year, interest with it."),
        "compound at the end": (price * (1 + rate) ** years / years, "Payments begin in the first year."),
        "interest only": (price * rate, "That never pays the debt back."),
    }
    return numeric(
        f"A printer costs {price:,} {room.money}, paid back in {years} equal yearly payments at {percent(rate)} "
        "interest. How much is one payment?",
        Number(right, f"{room.money} a year", slips, tolerance=0.003),
        f"{price:,}·{rate:g}/(1 − {1 + rate:g}^−{years}) = {right:,.0f} {room.money}.",
    )


@exercise
def machine_hour(draw, room):
    price, years = draw.whole("price", 200, 1000, 100) * 1000, draw.whole("years", 3, 8)
    used = draw.choice("used", (0.3, 0.4, 0.5, 0.6, 0.7))
    right = float(hour_price(price, years, used))
    slips = {
        "always in use": (right * used, "The machine stands still for part of the time: who pays for it then?"),
        "times the use": (right * used**2, "Fewer hours in use make an hour dearer, not cheaper."),
        "one year": (right * years, "The machine lasts more than one year."),
        "working hours": (price / (years * 2000 * used), "The use is given as a share of all 8760 hours of a year."),
    }
    return numeric(
        f"A machine costs {price:,} {room.money}, lasts {years} years and is in use {percent(used)} of all hours. "
        "What does an hour of it cost, without interest and upkeep? A year has 8760 hours.",
        Number(right, f"{room.money} an hour", slips),
        f"{price:,}/({years}·8760·{used:g}) = {right:.2f} {room.money}.",
    )


RISES = {  # what may rise, and why the cost does what it does
    "the technicians' hour": "only a part of the cost moves",
    "every price of the card": "all parts of the cost move together",
    "an hour of the machine that another route prints with": "nothing in this plan is paid by that price",
}


@exercise
def wage_rise(draw, room):
    own, percent, case = draw.whole("route", 0, 2), draw.choice("percent", (10, 20, 50)), draw.choice("case", [*RISES])
    plan = room.plan(PRINTED[own])
    printers = ("machine.pattern_printer", "machine.sand_printer", "machine.metal_printer")
    prices = [key for key, entry in room.rates.entries.items() if entry.kind is Kind.PRICE]
    keys = dict(zip(RISES, (["labour.technician"], prices, [printers[own - 1]]), strict=True))[case]

    def cost(rise):
        risen = {key: room.rates[key] * (1 + rise / 100) for key in keys}
        return float(plan.at(rates=room.rates.replace(risen)).unit_cost)

    see = "Move the slider to the end: does the whole cost move, a part of it, or nothing?"
    return predict(
        draw,
        f"A price rises by {percent} %: {case}. Everything else stays. What happens to the cost of one kit by "
        f"{plan.title.lower()}, compared with that rise?",
        GROWTHS,
        growth_of(cost(percent) / cost(0), 1 + percent / 100),
        Slider("rise", "%", tuple(range(0, 101, 10)), lambda rise: f"{cost(rise):,.2f} {room.money} a kit"),
        [Option(why, see * (why != RISES[case])) for why in RISES.values()],
        f"It rises by {100 * (cost(percent) / cost(0) - 1):.1f} %: {RISES[case]}.",
    )


@exercise
def learning(draw, room):
    first, pieces = draw.whole("first", 20, 120, 10), draw.choice("pieces", (4, 8, 16))
    share = draw.choice("share", (0.8, 0.85, 0.9))
    together = first * float(Curve(share).total(pieces))
    average, single = together / pieces, first * float(Curve(share, "unit").total(pieces))
    slips = {
        "average, not all": (average, "That is the average; how long do all of them take?"),
        "single pieces": (single, "Here the curve gives the average of all pieces so far, not the last piece alone."),
        "no learning": (first * pieces, "The lab learns: later pieces take less."),
        "one doubling only": (first * pieces * share, "The average falls with every doubling: how many are there?"),
    }
    return numeric(
        f"The first node takes a lab {first} min. With every doubling of the number made, the average time of all made "
        f"so far falls to {percent(share)} of what it was. How long do {pieces} nodes take in all?",
        Number(together, "min", slips, tolerance=0.004),
        f"Average after {int(math.log2(pieces))} doublings: {first}·{share:g}^{int(math.log2(pieces))} = {average:.2f} "
        f"min; {pieces} of them {together:.1f} min.",
    )


@exercise
def buy_or_make(draw, room):
    price, years = draw.whole("price", 60, 300, 20) * 1000, draw.whole("years", 4, 8)
    rate = draw.choice("rate", (0.05, 0.08))
    bought, own = draw.whole("bought", 900, 1600, 50), draw.whole("own", 200, 500, 20)
    yearly = round(float(yearly_payment(price, years, rate)))
    right = yearly // (bought - own) + 1
    slips = {
        "own cost left out": (yearly // bought + 1, "A plate that you make costs something, too."),
        "no interest": (price // years // (bought - own) + 1, "The year's payment holds interest: it is given."),
        "added": (yearly // (bought + own) + 1, "What does each plate save, once the printer is there?"),
        "not rounded": (yearly / (bought - own), "From which whole number of plates on does it pay?"),
    }
    return numeric(
        f"A printer for {price:,} {room.money} is paid off in {years} years at {percent(rate)}: {yearly:,} "
        f"{room.money} a year. A plate then costs {own} {room.money} in powder, gas and hours; a service asks "
        f"{bought:,} {room.money} for it. From how many plates a year on is making cheaper than buying?",
        Number(right, "plates a year", slips, whole=True),
        f"{yearly:,}/({bought:,} − {own}) = {yearly / (bought - own):.2f}, so from {right} plates on.",
    )


@exercise
def measure_first(draw, room):
    plan = room.plan(draw.choice("route", PRINTED))
    entries, moved = plan.rates.entries, {}
    for key in draw.shuffled("keys", entries.keys() & output_of(plan).entries):
        entry = entries[key]
        tenth = float(plan.at(rates=room.rates.replace({key: entry.value * 0.9})).unit_cost - plan.unit_cost)
        swing = abs(tenth) * 10 * (entry.high - entry.low) / entry.value
        told_apart = all(not 0.7 < swing / other < 1.4 for _, other, _ in moved.values())
        if told_apart and swing > 0.002 * plan.unit_cost:
            moved[in_words(key)] = tenth, swing, entry
        if len(moved) == 4:
            break
    first = max(moved, key=lambda name: moved[name][1])
    lines = (
        f"{name} = {e.value:g} {e.unit}, believed {e.low:g} to {e.high:g}; 10 % less make {tenth:+,.2f} {room.money}"
        for name, (tenth, _, e) in moved.items()
    )
    return choose(
        draw,
        f"A kit by {plan.title.lower()} costs {plan.unit_cost:,.0f} {room.money}. Four numbers of it: "
        f"{'; '.join(lines)}. Which one should the lab measure first, to know the cost better?",
        [
            Option(name, "How wide is its range, in tenths of the value? Times what a tenth moves." * (name != first))
            for name in moved
        ],
        [
            Option("over its whole range it moves the cost most"),
            Option("it is the least known, in percent", "A number that moves nothing may stay unknown."),
            Option("a tenth of it moves the cost most", "And if it is known to a hundredth already?"),
        ],
        "; ".join(f"{name} moves it by {swing:,.0f} {room.money}" for name, (_, swing, _) in moved.items()) + ".",
    )


SLIPPED = {
    60: "minutes stand where hours belong",
    1 / 60: "hours were divided by 60 as if they were minutes",
    24: "days were turned into hours twice",
}


@exercise
def absurd_row(draw, room):
    plan, factor = room.plan(draw.choice("route", PRINTED)), draw.choice("factor", (60, 1 / 60))
    hours = {name: hours for name, hours in plan.table().groupby("step")["hands_on_h"].sum().items() if hours > 0.3}
    shown = draw.shuffled("rows", hours)[:5]
    odd = draw.choice("odd", shown)
    rows = "; ".join(f"{name} {hours[name] * (factor if name == odd else 1):.2f} h" for name in shown)
    return choose(
        draw,
        f"Hands-on hours of one kit by {plan.title.lower()}, from a colleague's table: {rows}. One row is absurd. "
        "Which one, and what went wrong?",
        [Option(name, "Could somebody really work so long at that?" * (name != odd)) for name in shown],
        [Option(text, "By which factor is the row wrong?" * (size != factor)) for size, text in SLIPPED.items()],
        f"{odd} takes {hours[odd]:.2f} h: {SLIPPED[factor]}.",
    )
