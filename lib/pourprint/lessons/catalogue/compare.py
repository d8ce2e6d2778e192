"""Exercises of notebook 05: unit cost, break-even, saw teeth, the price of a day, and a free design."""

import datetime as dt

import numpy as np

from pourprint.decide.compare import cheapest_intervals, tie_price_of_day
from pourprint.ledger.alloys import alloys
from pourprint.lessons.kinds import choose, design, design_batches, mistake, numeric, predict, typed
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.plans.plan import made
from pourprint.routes import PRINTED, ROUTES, plan


def unit_cost(task, room, batch, batches):
    quantity = batch * batches
    plan = room.plan("printed_pattern", quantity, batch)
    once, each = round(plan.one_off_cost, 2), round(float(plan.batch_cost), 2)
    slips = {
        "forgotten one-off cost": each / batch,
        "one-off cost not spread": once + each / batch,
        "one-off cost in each batch": (once + each) / batch,
        "total cost": plan.total_cost,
    }
    return numeric(task.knows(once=once, each=each, quantity=quantity), plan.unit_cost, slips)


def break_even(task, room, tooled, printed, tool):
    saved = printed - tooled
    tool = next(cost for cost in range(tool, tool + 1000, 10) if cost % saved)
    quantities = np.arange(1, 2001)
    costs = {"tool": tooled + tool / quantities, "printed": printed + 0 * quantities}
    right = cheapest_intervals(costs, quantities).crossings[0]
    slips = {
        "one piece too early": right - 1,
        "not rounded": tool / saved,
        "own cost left out": np.ceil(tool / printed),
        "added, not subtracted": np.ceil(tool / (printed + tooled)),
    }
    return numeric(task.knows(tool=tool, exact=tool / saved), right, slips)


def saw_tooth(task, room, tooth):
    counts = np.arange(1, 25)
    costs = room.plan("printed_pattern").at(quantity=counts, batch_size=counts).unit_cost
    change = np.diff(costs) / costs[:-1]
    rises, falls = counts[:-1][change > 0.01], counts[:-1][change < -0.01]  # a change that can be seen
    rising = bool(rises.size and (tooth or not falls.size))
    at = int(task.choice("at", (rises if rising else falls).tolist()))
    truth, because = ("it rises", "begun") if rising else ("it falls", "shared")
    task = task.knows(at=at, one_more=at + 1, first=costs[at - 1], second=costs[at])
    return predict(task, (truth,), because, lambda kits: costs[kits - 1])


def price_of_day(task, room, days, saved, cheap, extra):
    dear, fast = cheap + extra, days - saved
    slips = {
        "all the days": extra / days,
        "days of the fast one": extra / fast,
        "whole cost": dear / saved,
        "upside down": saved / extra,
    }
    return numeric(task.knows(dear=dear, fast=fast), tie_price_of_day(cheap, days, dear, fast), slips)


def forgotten_cost(task, room, quantity, case):
    printed, tooled = (room.plan(route, quantity).total_cost for route in ("printed_pattern", "tooled_pattern"))
    once = round(float(room.plan("tooled_pattern", quantity).one_off_cost), 2)
    each = round((tooled - once) / quantity, 2)
    tooled = once + quantity * each  # of the numbers that are told
    running = each if case == "one kit" else quantity * each
    dies = {"forgotten": 0, "each": quantity * once, "one kit": once}[case]
    slips = {
        "forgotten one-off cost": quantity * each,
        "one-off cost for each kit": quantity * (each + once),
        "unit cost": tooled / quantity,
        "one kit only": once + each,
    }
    task = task.knows(printed=printed, once=once, each=each, running=running, dies=dies, told=running + dies)
    return mistake(task, 4 if case == "one kit" else 5, tooled, slips)


def refused_alloy(task, room):
    printed = {name: [r for r in alloy.refused if r in PRINTED] for name, alloy in alloys().items()}
    name = task.choice("alloy", sorted(name for name, routes in printed.items() if routes))
    alloy, route = alloys()[name], task.choice("route", printed[name])
    others = {reason for each in alloys().values() for reason in each.refused.values()} - {*alloy.refused.values()}
    task = task.knows(alloy=alloy)
    options = [ROUTES[r].TITLE for r in PRINTED if r == route or r not in alloy.refused] + [task.told("none")]
    own = alloy.refused[route]
    return choose(task, ROUTES[route].TITLE, own, options, [own, *sorted(others)[:3]])


def _beaten(mine, others):
    """Whether another choice is no dearer and no later than mine, and one of both for certain."""
    return any(other[0] <= mine[0] and other[2] <= mine[2] and other[::2] != mine[::2] for other in others)


def under_price_by_date(task, room, route):
    for quantity in map(int, task.shuffled("quantities", "123456")):
        choices = room.batches(quantity)
        best = [choice for choice, mine in choices.items() if not _beaten(mine, choices.values())]
        if any(by == route for by, _ in best):
            break
    chosen = task.choice("aim", [choice for choice in best if choice[0] == route] or best)
    cost, _, ready = choices[chosen]
    price, date = np.ceil(cost / quantity * 1.01 / 5) * 5, (ready + dt.timedelta(days=1)).date()

    def aims(cost, days, ready):
        each = cost / quantity
        return {
            "price": (each <= price, f"{each:,.0f} {room.money}"),
            "date": (ready.date() < date, f"{ready:%a %d %b %Y, %H:%M}"),
        }

    return design_batches(task.knows(price=price, date=date, each=cost / quantity, ready=ready), choices, aims, chosen)


def cheapest_batch(task, room):
    cases = [f"{route} {low}" for route in PRINTED for low in range(2, 16)]
    for route, low in map(str.split, task.shuffled("cases", cases)):
        counts = np.arange(int(low), int(low) + 6)
        costs = room.plan(route).at(quantity=counts, batch_size=counts).unit_cost
        limit = float(np.ceil(costs.min() * 1.001))
        if costs[-1] > limit:  # else the most would be no question
            break

    def outcome(answer):
        cost = costs[int(typed(answer["batch"], "batch size", *counts[[0, -1]], whole=True)) - counts[0]]
        return {"cost": (cost <= limit, f"{cost:,.2f} {room.money}")}

    listed = "; ".join(f"{n} kits {cost:,.2f}" for n, cost in zip(counts, costs, strict=True))
    task = task.knows(low=low, most=counts[-1], title=ROUTES[route].TITLE, limit=limit, listed=listed)
    return design(task, {"batch": {}}, outcome, {"batch": str(counts[np.argmin(costs)])})


def winners_by_range(task, room, early, late, less, lesser, each):
    names = task.shuffled("names", [ROUTES[route].TITLE for route in PRINTED])
    wins = task.choice("middle wins", (True, False))
    first, second = (early, late) if wins else (late, early)  # where the middle one passes the others' lines
    once = 100 + np.cumsum([0, less * (first + 0.5), lesser * (second + 0.5)])
    costs = dict(zip(names, zip(once.tolist(), (each, each - less, each - less - lesser), strict=True), strict=True))
    counts = np.arange(1, 200)
    found = cheapest_intervals({name: a / counts + b for name, (a, b) in costs.items()}, counts)
    right = ", then ".join(each.cheapest for each in found.intervals if each.cheapest)
    orders = [", then ".join(names), f"{names[0]}, then {names[2]}", ", then ".join(names[::-1]), names[1]]
    offers = "; ".join(f"{name} {a:,.0f} once and {b:,} a kit" for name, (a, b) in sorted(costs.items()))
    crossings = " and ".join(str(each.first) for each in found.intervals[1:] if each.cheapest)
    return choose(task.knows(offers=offers, crossings=crossings), right, "middle" if wins else "last", orders)


def lighter_node(task, room, share, part, route):
    volumes = part.volume_cm3, part.volume_cm3 * (1 - share)
    solid, lean = (Part.from_numbers(part.name, volume, part.area_cm2, part.box_mm) for volume in volumes)
    before, after = (made(plan(route, Job(each, room.alloy), room.rates)) for each in (solid, lean))
    fallen = (before.table().groupby("step")["cost"].sum() - after.table().groupby("step")["cost"].sum()).sort_values()
    falls = 1 - float(after.unit_cost / before.unit_cost)
    leaner = ("little", "some", "much")[np.digitize(falls, (0.01, 0.05))]
    task = task.knows(title=ROUTES[route].TITLE, saved=fallen.iloc[-1], falls=falls)
    return choose(task, fallen.index[-1], leaner, fallen.index[-4:].tolist())
