"""Exercises of notebook 09: a lab's own rates, and how it learns."""

import math

from pourprint.decide.learning import Curve
from pourprint.decide.sensitivity import output_of
from pourprint.ledger.entries import Kind, in_words
from pourprint.ledger.rates import annuity as yearly_payment
from pourprint.ledger.rates import machine_hour as hour_price
from pourprint.lessons.kinds import choose, growth_of, numeric, predict
from pourprint.routes import PRINTED


def annuity(task, room, price, years, rate):
    slips = {
        "no interest": price / years,
        "interest on all years": price / years + price * rate,
        "compound at the end": price * (1 + rate) ** years / years,
        "interest only": price * rate,
    }
    return numeric(task.knows(growth=1 + rate), yearly_payment(price, years, rate), slips)


def machine_hour(task, room, price, years, used):
    right = float(hour_price(price, years, used))
    slips = {
        "always in use": right * used,
        "times the use": right * used**2,
        "one year": right * years,
        "working hours": price / (years * 2000 * used),
    }
    return numeric(task, right, slips)


def wage_rise(task, room, route, percent, case):
    plan = room.plan(route)
    printers = ("machine.pattern_printer", "machine.sand_printer", "machine.metal_printer")
    keys = {
        "wage": ["labour.technician"],
        "every": [key for key, entry in room.rates.entries.items() if entry.kind is Kind.PRICE],
        "other": [printers[PRINTED.index(route) - 1]],
    }[case]

    def cost(rise):
        risen = {key: room.rates[key] * (1 + rise / 100) for key in keys}
        return float(plan.at(rates=room.rates.replace(risen)).unit_cost)

    rise = cost(percent) / cost(0)
    return predict(task.knows(title=plan.title, more=rise - 1), growth_of(rise, 1 + percent / 100), case, cost)


def learning(task, room, first, pieces, share):
    together, single = first * float(Curve(share).total(pieces)), first * float(Curve(share, "unit").total(pieces))
    slips = {
        "average, not all": together / pieces,
        "single pieces": single,
        "no learning": first * pieces,
        "one doubling only": first * pieces * share,
    }
    return numeric(task.knows(average=together / pieces, doublings=pieces.bit_length() - 1), together, slips)


def buy_or_make(task, room, price, years, rate, bought, own):
    yearly, saved = round(float(yearly_payment(price, years, rate))), bought - own
    slips = {
        "own cost left out": yearly // bought + 1,
        "no interest": price // years // saved + 1,
        "added": yearly // (bought + own) + 1,
        "not rounded": yearly / saved,
    }
    return numeric(task.knows(yearly=yearly, exact=yearly / saved), yearly // saved + 1, slips)


def measure_first(task, room, route):
    plan = room.plan(route)
    entries, moved = plan.rates.entries, {}
    for key in task.shuffled("keys", entries.keys() & output_of(plan).entries):
        entry = entries[key]
        tenth = float(plan.at(rates=room.rates.replace({key: entry.value * 0.9})).unit_cost - plan.unit_cost)
        swing = abs(tenth) * 10 * (entry.high - entry.low) / (entry.value or math.inf)
        told_apart = all(not 0.7 < swing / other < 1.4 for _, other, _ in moved.values())
        if told_apart and swing > 0.002 * plan.unit_cost:
            moved[in_words(key)] = tenth, swing, entry
        if len(moved) == 4:
            break
    row = "{0} = {1.value:g} {1.unit}, believed {1.low:g} to {1.high:g}; 10% less: {2:+,.2f} {3}".format
    rows = (row(name, entry, tenth, room.money) for name, (tenth, _, entry) in moved.items())
    swings = "; ".join(f"{name} moves it by {swing:,.0f} {room.money}" for name, (_, swing, _) in moved.items())
    first = max(moved, key=lambda name: moved[name][1])
    task = task.knows(plan=plan, rows="; ".join(rows).replace(" -,", ","), swings=swings)
    return choose(task, first, "range", [*moved])


def absurd_row(task, room, factor, route):
    plan = room.plan(route)
    hours = {name: hours for name, hours in plan.table().groupby("step")["hands_on_h"].sum().items() if hours > 0.3}
    shown = task.shuffled("rows", hours)[:5]
    odd, times = task.choice("odd", shown), {"minutes": 60, "divided": 1 / 60}[factor]
    rows = "; ".join(f"{name} {hours[name] * (times if name == odd else 1):.2f} h" for name in shown)
    return choose(task.knows(title=plan.title, rows=rows, hours=hours[odd]), odd, factor, shown)
