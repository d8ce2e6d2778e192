"""Exercises of notebook 06: yields, tries, queues and the calendar."""

import datetime as dt
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import DAYS
from pourprint.lessons.kinds import choose, design_batches, mistake, numeric, order, predict
from pourprint.plans.plan import lead_time
from pourprint.risk import yields as model
from pourprint.routes import PRINTED

DEMO_WAGE = 38  # a technician's hour in the demo, for which the prices of a day are written: up to 25 h, as in panels
DAY_PRICES = (50, 100, 150, 200, 300, 400, 600, 800, 900)


def rolled_yield(task, room):
    yields = [task.number(f"yield {i}", 78, 98) / 100 for i in range(3)]
    slips = {"mean": sum(yields) / 3, "worst step": min(yields), "failures added": 1 - sum(1 - each for each in yields)}
    return numeric(task.knows(yields=yields), model.rolled_yield(yields), slips)


def attempts(task, room, good, yield_):
    right = good * float(model.attempts_needed(yield_)[0])
    slips = {
        "one repeat only": good * (2 - yield_),
        "made whole": np.ceil(right) if right % 1 else right + 1,
        "no repeats": good,
        "times the yield": good * yield_,
    }
    return numeric(task, right, slips)


def three_tries(task, room, tries, yield_):
    slips = {
        "all succeed": yield_**tries,
        "all fail": (1 - yield_) ** tries,
        "chances added": tries * yield_,
        "one try": yield_,
    }
    return numeric(task, model.chance_within(yield_, tries), slips)


def layers_lost(task, room, layers, fail):
    whole = (1 - fail) ** layers
    slips = {
        "failed prints as whole": layers / whole,
        "no failures": layers,
        "one failure in a print": layers * (1 + layers * fail),
    }
    task = task.knows(whole=whole, prints=1 / whole, told=layers / whole)
    return mistake(task, 4, model.layers_printed(layers, fail), slips)


def shortest_first(task, room):
    times = [*map(int, task.shuffled("times", [str(n) for n in range(2, 13)])[:4])]
    names = task.shuffled("names", ["mast", "rocker", "bogie", "corner"])
    jobs = {f"{name}: {days} days": days for name, days in zip(names, times, strict=True)}
    done, behind = np.cumsum(sorted(times)), task.told("behind")
    task = task.knows(done=", ".join(map(str, done)), mean=done.mean(), as_came=np.cumsum(times).mean())
    return order(task, sorted(jobs, key=jobs.get), lambda early, late: behind)


def start_day(task, room, quantity):
    hours, (*week, same) = room.rates.hours, task.told("options")
    opening, working = dt.timedelta(hours=hours.start_h), [i for i, day in enumerate(DAYS) if day in hours.days]
    monday = dt.datetime.combine(room.start.date() - dt.timedelta(days=room.start.weekday()), dt.time()) + opening
    plans = [room.plan(route, quantity) for route in PRINTED]
    days = {p.title: [float(lead_time(p, monday + dt.timedelta(days=i)).days) for i in working] for p in plans}
    # A route for which the day matters teaches more than one for which it does not.
    route = task.choice("route", [name for name, each in days.items() if max(each) - min(each) > 0.05] or [*days])
    taken = [*zip((week[i] for i in working), days[route], strict=True)]
    best = [name for name, each in taken if each < min(days[route]) + 0.01]
    listed = "; ".join(f"{name} {day:.1f} days" for name, day in taken)
    kits = f"{quantity} kit{'s' * (quantity > 1)}"
    truths = best if len(best) < len(taken) else [same]
    offered = {"options": [*dict(taken), same], "slider": {**task.words["slider"], "high": len(taken)}}
    task = replace(task, words={**task.words, **offered}).knows(route=route, kits=kits, monday=monday, listed=listed)
    return predict(task, truths, "hands", lambda day: taken[day - 1])


def days_and_price(task, room, route):
    wage, asked = room.rates["labour.technician"] / DEMO_WAGE, []
    for quantity in map(int, task.shuffled("quantities", "2345")):
        choices = room.batches(quantity)
        cheapest = min(choices, key=choices.get)
        for price in (round(float(f"{price * wage:.2g}")) for price in DAY_PRICES):
            totals = {each: cost + price * days for each, (cost, days, _) in choices.items()}
            best = min(totals, key=totals.get)
            limit = float(np.ceil(totals[best] * 1.01 / 10) * 10)
            if totals[cheapest] > limit:  # else who leaves the days out would be right
                asked.append((choices, price, best, totals[best], limit))
        fitting = [each for each in asked if each[2][0] == route]
        if fitting:
            break
    if not asked:
        raise InputError("days-and-price: with this class's kit and card the cheapest choice is in time for any price.")
    choices, price, chosen, least, limit = task.choice("price", fitting or asked)

    def aims(cost, days, ready):
        total = cost + price * days
        return {"total": (total <= limit, f"{total:,.0f} {room.money}")}

    return design_batches(task.knows(price=price, limit=limit, least=least), choices, aims, chosen)


def chance_of_date(task, room, a, b, spreads, times):
    hours, both = 24 * (a + b), float(np.hypot(*spreads))
    late = times * both
    right = NormalDist(hours, both).cdf(hours + late)
    slips = {
        "spreads added": NormalDist(0, sum(spreads)).cdf(late),
        "larger spread only": NormalDist(0, max(spreads)).cdf(late),
        "the mean": 0.5,
        "other side": 1 - right,
    }
    return numeric(task.knows(first=24 * a, second=24 * b, hours=hours, both=both, within=hours + late), right, slips)


def hours_with_failures(task, room, first, second, p, q):
    mean, _ = model.expected_visits((p, q), np.array((0, 0)))
    slips = {
        "no failures": first + second,
        "each step by itself": first / p + second / q,
        "yields multiplied": (first + second) / (p * q),
        "the second never fails": first / p + second,
    }
    return numeric(task.knows(plain=first + second, both=p * q), mean @ (first, second), slips)


def spares(task, room, good, p, each, again):
    counts = np.arange(0, 9)
    chances = np.round(model.chance_of_enough(good + counts, good, p), 3)
    costs = counts * each + (1 - chances) * again
    slips = {
        "as many as fail": np.ceil(good / p) - good,
        "nearly sure": model.starts_needed(good, p, 0.99) - good,
        "no spares": 0,
    }
    chances = ", ".join(f"{100 * chance:.1f}%" for chance in chances)
    listed = "; ".join(f"{n}: {cost:,.0f} {room.money}" for n, cost in zip(counts, costs, strict=True))
    return numeric(task.knows(chances=chances, listed=listed), np.argmin(costs), slips)


def trial_batch(task, room, each, kits, alone, days, fault, price):
    alone = alone * 100 + each
    lost, trial = fault * kits * each, (1 + fault) * (alone + days * price)
    right, because = ("trial", "larger") if lost > trial else ("all", "smaller")
    return choose(task.knows(alone=alone, lost=lost, trial=trial, times=1 + fault), right, because)


def held_up(task, room, print_, saved, after):
    other, faster = print_ - task.number("less", 3, saved - 3), print_ - saved
    now = max(other, faster)
    slips = {"all that was saved": saved, "nothing": 0, "difference of the two": other - faster}
    return numeric(task.knows(other=other, now=now), print_ - now, slips)
