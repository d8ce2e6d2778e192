"""Exercises of notebook 09: a lab's own rates, and how it learns."""

import math

from pourprint.decide.learning import Curve
from pourprint.ledger.rates import annuity as yearly_payment
from pourprint.ledger.rates import machine_hour as hour_price
from pourprint.lessons.exercises import Slider, exercise
from pourprint.lessons.kinds import Number, Option, numeric, percent, predict
from pourprint.routes import PRINTED

NOTEBOOK = "09"


@exercise("Pay off a machine", "spreads the price over the years and forgets interest")
def annuity(draw, room):
    price, years = draw.whole("price", 200, 800, 50) * 1000, draw.whole("years", 5, 10)
    rate = draw.choice("rate", (0.04, 0.05, 0.06, 0.07, 0.08))
    right = float(yearly_payment(price, years, rate))
    slips = {
        "no interest": (price / years, "The bank wants interest, too."),
        "interest on all years": (
            price / years + price * rate,
            "The debt falls from year to year, and interest with it.",
        ),
        "compound at the end": (price * (1 + rate) ** years / years, "Payments begin in the first year."),
        "interest only": (price * rate, "That never pays the debt back."),
    }
    return numeric(
        f"A printer costs {price:,} {room.money}, paid back in {years} equal yearly payments at {percent(rate)} "
        "interest. How much is one payment?",
        Number(right, f"{room.money} a year", slips, tolerance=0.003),
        f"{price:,}·{rate:g}/(1 − {1 + rate:g}^−{years}) = {right:,.0f} {room.money}.",
        ("pp.annuity(price, years, rate) works it out.", "P·r/(1 − (1 + r)^−n)."),
        "Exact: 500 000 over 8 years at 6 % are 80 517.97 a year.",
    )


@exercise("Price a machine hour", "lets a machine run all hours of the year")
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
        ("How many hours does it work in its life?",),
        "Exact: 1 000 000 over 5 years at 90 % are 25.4 an hour, over 3 years at 70 % 54.4. A published band is about "
        "30 to 50 an hour without overhead (T. Simpson, Additive Manufacturing magazine).",
    )


@exercise("Predict a rise in wages", "expects cost to follow one rate in proportion")
def wage_rise(draw, room):
    route, percent = draw.choice("route", PRINTED), draw.choice("percent", (10, 20, 50))
    plan, wage = room.plan(route), room.rates["labour.technician"]

    def cost(rise):
        return plan.at(rates=room.rates.replace({"labour.technician": wage * (1 + rise / 100)})).unit_cost

    growth = cost(percent) / cost(0) - 1
    options = ("not at all", f"it rises, but by less than {percent} %", f"it rises by {percent} %")
    truth = options[0] if growth < 1e-6 else options[1] if growth < percent / 100 * 0.999 else options[2]
    see = "Move the slider to the end: does the whole cost move with the wage?"
    return predict(
        draw,
        f"The technicians' rate rises by {percent} %, everything else stays. What happens to the unit cost of one kit "
        f"by the {plan.title.lower()} route?",
        options,
        truth,
        Slider("rise", "%", tuple(range(0, 101, 10)), lambda rise: f"{cost(rise):,.2f} {room.money} a kit"),
        [
            Option("only the technicians' share of the cost moves", see if truth == options[2] else ""),
            Option("all costs are wages in the end", "" if truth == options[2] else see),
            Option("a lab absorbs the rise by working faster", "The hours of the plan stay as they are."),
        ],
        f"It rises by {100 * growth:.1f} %: technicians are {10_000 * growth / percent:.0f} % of the cost.",
        ("Which share of the cost is technicians' labour?",),
        "Exact: costs are homogeneous of degree one in all rates together, not in one alone.",
    )


@exercise("Learn by doing", "reads a learning curve for averages as one for single pieces", 2)
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
        ("How many doublings lead to that number?", "Average first, then times the number."),
        "Wright's 80 % curve, cumulative average (published): 100, 80, 64, 51.2, 40.96 at 1, 2, 4, 8, 16. The other "
        "form, for single pieces, gives 892 instead of 655 for the first 16.",
    )
