"""Exercises of notebook 05: unit cost, break-even, saw teeth, the price of a day, and a free design."""

import datetime as dt

import numpy as np

from pourprint.decide.compare import cheapest_intervals, tie_price_of_day
from pourprint.ledger.alloys import alloys
from pourprint.lessons.exercises import Field, Slider, exercise
from pourprint.lessons.kinds import (
    PANEL,
    Aim,
    Number,
    Option,
    batch_of,
    choose,
    design,
    mistake,
    numeric,
    predict,
)
from pourprint.plans.plan import lead_time
from pourprint.routes import PRINTED, ROUTES

NOTEBOOK = "05"


@exercise("Work out a unit cost", "forgets the one-off cost, or does not spread it")
def unit_cost(draw, room):
    batch, times = draw.whole("batch", 2, 5), draw.whole("batches", 2, 4)
    plan = room.plan("printed_pattern", batch * times, batch)
    one_off, each, quantity = round(plan.one_off_cost, 2), round(float(plan.batch_cost), 2), batch * times
    slips = {
        "forgotten one-off cost": (each / batch, "Something is paid once however many are made: is it in?"),
        "one-off cost not spread": (one_off + each / batch, "The one-off cost is shared by all kits of the job."),
        "one-off cost in each batch": ((one_off + each) / batch, "The one-off cost is paid once, not in every batch."),
        "total cost": (plan.total_cost, "That is the whole job; what does one kit cost?"),
    }
    return numeric(
        f"The printed pattern route costs {one_off:,.2f} {room.money} once for the job, and {each:,.2f} {room.money} "
        f"for each batch of {batch} kits. What does one kit cost when {quantity} kits are made?",
        Number(plan.unit_cost, f"{room.money} a kit", slips, tolerance=0.005),
        f"({one_off:,.2f} + {times}·{each:,.2f})/{quantity} = {plan.unit_cost:,.2f} {room.money}.",
        ("How many batches are needed?", "All the job costs, over all its kits."),
        "The structure is that of Hopkinson & Dickens 2003, Proc. IMechE C 217:31–39 (from memory): what is paid once "
        "is spread over the quantity.",
    )


@exercise("Find a break-even", "leaves out the cost of a piece on the tool's side")
def break_even(draw, room):
    tooled, printed = draw.whole("tooled", 20, 60), draw.whole("printed", 75, 140)
    low = draw.whole("tool", 3000, 9000, 100)
    tool = next(cost for cost in range(low, low + 1000, 10) if cost % (printed - tooled))
    quantities = np.arange(1, 2001)
    costs = {"tool": tooled + tool / quantities, "printed": printed + 0 * quantities}
    right = cheapest_intervals(costs, quantities).crossings[0]
    exact = tool / (printed - tooled)
    slips = {
        "one piece too early": (right - 1, "At that quantity the tool has not quite paid yet: compare both costs."),
        "not rounded": (exact, "This counts whole pieces: which whole number is the first at which it pays?"),
        "own cost left out": (np.ceil(tool / printed), "A piece from the tool costs something too: what is saved?"),
        "added, not subtracted": (np.ceil(tool / (printed + tooled)), "What does the tool save on each piece?"),
    }
    return numeric(
        f"A pattern made of wood costs {tool:,} {room.money} once; with it each mould costs {tooled} {room.money}. A "
        f"printed mould costs {printed} {room.money} and needs no pattern. From how many pieces on is the wooden "
        "pattern cheaper?",
        Number(right, "pieces", slips, whole=True),
        f"N* = {tool:,}/({printed} − {tooled}) = {exact:.2f}, so from {right} pieces on.",
        ("What is saved on each piece?", "How many savings pay the pattern?"),
        "A trade article with 6500 once, 38 and 92 a piece states a break-even of 50; the arithmetic says 121 "
        "(published inputs, exact output). Atzeni & Salmi 2012, IJAMT 62:1147–1155: 20.75 + 21 000/N against 526.31 "
        "gives 41.54, so laser wins at 41 and casting at 42 (from memory).",
    )


@exercise("Predict the next kit", "expects unit cost to fall with every further kit", 2)
def saw_tooth(draw, room):
    counts = np.arange(1, 25)
    costs = room.plan("printed_pattern").at(quantity=counts, batch_size=counts).unit_cost
    change = np.diff(costs)
    wanted = change > 0 if draw.choice("tooth", (True, True, False)) else change < 0
    candidates = counts[:-1][wanted if wanted.any() else change != 0]
    at = int(draw.choice("at", list(candidates)))
    options = ("it falls", "it stays the same", "it rises")
    truth = options[int(np.sign(change[at - 1])) + 1]
    rises = truth == options[2]
    look = f"Move the slider from {at} to {at + 1} and further: does it fit what you see on both sides?"
    lot = Option("one more cluster, kiln load or melt is begun and paid whole", "" if rises else look)
    spread = Option("what is paid once is shared by one kit more, and no new load is begun", look if rises else "")
    return predict(
        draw,
        f"The printed pattern route makes all kits of a job in one batch. The job grows from {at} to {at + 1} kits. "
        "What happens to the cost of one kit?",
        options,
        truth,
        Slider("kits", "kits", tuple(map(int, counts)), lambda n: f"{costs[int(n) - 1]:,.2f} {room.money} a kit"),
        [lot, spread, Option("larger jobs get a discount", "The rate card knows no discount.")],
        f"From {at} to {at + 1} kits: {costs[at - 1]:,.2f} to {costs[at]:,.2f} {room.money} a kit.",
        ("What is paid whole even if it is only partly filled?",),
        "Ruffo, Tuck & Hague 2006, Proc. IMechE B 220:1417–1427: unit cost against quantity is saw-toothed, because "
        "partly filled lines, layers and beds are paid whole (from memory).",
    )


@exercise("Put a price on a day", "divides a cost by all the days, not by those saved")
def price_of_day(draw, room):
    slow_days, saved = draw.whole("days", 14, 30), draw.whole("saved", 3, 9)
    cheap, extra = draw.whole("cheap", 1000, 4000, 50), draw.whole("extra", 500, 3000, 50)
    right = float(tie_price_of_day(cheap, slow_days, cheap + extra, slow_days - saved))
    slips = {
        "all the days": (extra / slow_days, "How many days are bought with the extra money?"),
        "days of the fast one": (extra / (slow_days - saved), "How many days are bought with the extra money?"),
        "whole cost": ((cheap + extra) / saved, "Only what the fast route costs more is paid for the days saved."),
        "upside down": (saved / extra, "Money for a day: which is divided by which?"),
    }
    return numeric(
        f"One route costs {cheap:,} {room.money} and takes {slow_days} days; another costs {cheap + extra:,} "
        f"{room.money} and takes {slow_days - saved} days. At which price of a day do they tie?",
        Number(right, f"{room.money} a day", slips),
        f"d* = ({cheap + extra:,} − {cheap:,})/({slow_days} − {slow_days - saved}) = {right:.2f} {room.money} a day.",
        ("What does the fast route cost more?", "How many days does it save?"),
        "Exact: two lines C + d·T meet at d* = (C₁ − C₂)/(T₂ − T₁).",
    )


@exercise("Find the mistake in a comparison", "compares only running costs")
def forgotten_cost(draw, room):
    quantity = draw.whole("quantity", 4, 12)
    printed, tooled = (room.plan(route, quantity) for route in ("printed_pattern", "tooled_pattern"))
    one_off, total = round(tooled.one_off_cost, 2), tooled.total_cost
    running = round((total - one_off) / quantity, 2)
    lines = (
        f"Printed pattern: {quantity} kits cost {printed.total_cost:,.2f} {room.money} in all.",
        f"Tooled pattern: dies and desk work cost {one_off:,.2f} {room.money} once.",
        f"Once the dies are there, a kit costs {running:,.2f} {room.money}.",
        f"So {quantity} kits by tooled pattern cost {quantity}·{running:,.2f} = {quantity * running:,.2f} "
        f"{room.money}.",
    )
    slips = {
        "forgotten one-off cost": (
            quantity * running,
            "That is line 4 again: which cost of the lines above is not in?",
        ),
        "one-off cost for each kit": (quantity * (running + one_off), "The dies are bought once, not for each kit."),
        "unit cost": (total / quantity, "That is one kit; the whole job is asked for."),
        "one kit only": (one_off + running, f"{quantity} kits are made."),
    }
    return mistake(
        f"A student compares two routes for {quantity} kits. The numbers of lines 1 to 3 come from the library. One "
        "line draws a wrong conclusion. Which one, and what does the tooled pattern really cost in all?",
        lines,
        4,
        dict.fromkeys((1, 2, 3), "It is a number of the plan."),
        Number(total, room.money, slips, tolerance=0.002),
        f"{one_off:,.2f} + {quantity}·{running:,.2f} = {total:,.2f} {room.money}, against {printed.total_cost:,.2f} "
        "for the printed pattern.",
        ("Which cost is paid once?", "Is every cost of lines 1 to 3 in line 4?"),
    )


@exercise("Know why a route refuses", "thinks that every route takes every alloy")
def refused_alloy(draw, room):
    printed = {name: [r for r in alloy.refused if r in PRINTED] for name, alloy in alloys().items()}
    name = draw.choice("alloy", sorted(name for name, routes in printed.items() if routes))
    alloy, route = alloys()[name], draw.choice("route", printed[name])
    free = [r for r in PRINTED if r not in alloy.refused]
    own = alloy.refused[route]
    others = {reason for each in alloys().values() for reason in each.refused.values()} - {*alloy.refused.values()}
    why = "That is true of another alloy or another route: what happens to this metal here?"
    wrong = [Option(ROUTES[r].TITLE, f"{ROUTES[r].TITLE} can make {alloy.title}: ask pp.plan_all.") for r in free]
    none = Option("none: each printed route can make it", "Ask pp.plan_all for this alloy and read the reasons.")
    return choose(
        draw,
        f"Which of these routes cannot make a kit in {alloy.title}, and why?",
        [Option(ROUTES[route].TITLE), *wrong, none],
        [Option(own), *(Option(reason, why) for reason in sorted(others)[:3])],
        f"{ROUTES[route].TITLE}: {own}",
        (f'pp.plan_all(pp.Job(kit, alloy="{name}"), rates) gives a reason where a route cannot.',),
    )


def _table(room, quantity):
    """Every printed route and batch size for a quantity: [(route, batch, cost of a kit, moment ready)]."""
    sizes, rows = np.arange(1, quantity + 1), []
    for route in PRINTED:
        plan = room.plan(route).at(quantity=quantity, batch_size=sizes)
        ready = lead_time(plan, room.start).finish
        rows += [(route, int(n), float(c), t.item()) for n, c, t in zip(sizes, plan.unit_cost, ready, strict=True)]
    return rows


@exercise("Design: under a price, by a date", "takes cheapest and fastest for one", 2)
def under_price_by_date(draw, room):
    quantity = draw.whole("quantity", 3, 8)
    rows = _table(room, quantity)
    best = [r for r in rows if not any(o[2] <= r[2] and o[3] <= r[3] and o[2:] != r[2:] for o in rows)]
    aim = draw.choice("aim", sorted(best))
    price = float(np.ceil(aim[2] * 1.01 / 5) * 5)
    date = (aim[3] + dt.timedelta(days=1)).replace(hour=0, minute=0)
    by_choice = {(route, batch): (cost, ready) for route, batch, cost, ready in rows}
    routes = {route: ROUTES[route].TITLE for route in PRINTED}

    def outcome(answer):
        cost, ready = by_choice[answer["route"], batch_of(answer["batch"], quantity)]
        return [
            Aim("price", f"at most {price:,.0f} {room.money} a kit", cost <= price, f"{cost:,.0f} {room.money}"),
            Aim("date", f"ready before {date:%a %d %b %Y}", ready < date, f"{ready:%a %d %b %Y, %H:%M}"),
        ]

    return design(
        f"A customer wants {quantity} kits of the frame in {room.alloy.title} for at most {price:,.0f} {room.money} a "
        f"kit, ready before {date:%A %d %B %Y}. Work may begin on {room.start:%A %d %B %Y at %H:%M}. Choose the route "
        "and how many kits are made together.",
        (Field("route", "route", routes), Field("batch", "batch size [kits]")),
        outcome,
        {"route": aim[0], "batch": str(aim[1])},
        f"One way: {routes[aim[0]]} in batches of {aim[1]}: {aim[2]:,.2f} {room.money} a kit, ready "
        f"{aim[3]:%a %d %b %Y}. Others may do it too.",
        (
            f"{PANEL}, move quantity and batch size, and read the table.",
            "Larger batches share loads; smaller ones let the next step begin earlier.",
            f'pp.lead_time(plan, "{room.start:%Y-%m-%dT%H:%M}").finish is the moment when a plan is ready.',
        ),
    )
