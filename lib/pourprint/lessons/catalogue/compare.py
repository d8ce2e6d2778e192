"""Exercises of notebook 05: unit cost, break-even, saw teeth, the price of a day, and a free design."""

import datetime as dt

import numpy as np

from pourprint.decide.compare import cheapest_intervals, tie_price_of_day
from pourprint.ledger.alloys import alloys
from pourprint.lessons.exercises import Field, Slider, exercise
from pourprint.lessons.kinds import (
    Aim,
    Number,
    Option,
    batch_of,
    choose,
    design,
    mistake,
    numeric,
    percent,
    predict,
)
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.plans.plan import made
from pourprint.routes import PRINTED, ROUTES, plan

NOTEBOOK = "05"


@exercise
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
    )


@exercise
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
    )


@exercise
def saw_tooth(draw, room):
    counts = np.arange(1, 25)
    costs = room.plan("printed_pattern").at(quantity=counts, batch_size=counts).unit_cost
    change = np.diff(costs) / costs[:-1]
    rises, falls = counts[:-1][change > 0.01], counts[:-1][change < -0.01]  # a change that can be seen
    rising = bool(rises.size and (draw.choice("tooth", (True, False)) or not falls.size))
    at = int(draw.choice("at", (rises if rising else falls).tolist()))
    look = f"Move the slider from {at} to {at + 1} and further: does it fit what you see on both sides?"
    begun = "one more cluster, kiln load or melt is begun, and it costs more than sharing saves"
    shared = "what is paid once is shared by one kit more, and that saves more than any new load costs"
    return predict(
        draw,
        f"The printed pattern route makes all kits of a job in one batch. The job grows from {at} to {at + 1} kits. "
        "What happens to the cost of one kit?",
        ("it falls", "it stays the same", "it rises"),
        ("it rises" if rising else "it falls",),
        Slider("kits", "kits", tuple(counts.tolist()), lambda n: f"{costs[int(n) - 1]:,.2f} {room.money} a kit"),
        [
            Option(begun, "" if rising else look),
            Option(shared, look if rising else ""),
            Option("larger jobs get a discount", "The rate card knows no discount."),
        ],
        f"From {at} to {at + 1} kits: {costs[at - 1]:,.2f} to {costs[at]:,.2f} {room.money} a kit.",
    )


@exercise
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
    )


@exercise
def forgotten_cost(draw, room):
    quantity, case = draw.whole("quantity", 4, 12), draw.choice("case", ("forgotten", "each", "one kit"))
    printed, tooled = (room.plan(route, quantity) for route in ("printed_pattern", "tooled_pattern"))
    total, once = float(tooled.total_cost), round(float(tooled.one_off_cost), 2)
    each = round((total - once) / quantity, 2)
    running = each if case == "one kit" else quantity * each
    dies = {"forgotten": 0, "each": quantity * once, "one kit": once}[case]
    lines = (
        f"Printed pattern: {quantity} kits cost {printed.total_cost:,.2f} {room.money} in all.",
        f"Tooled pattern: dies and desk work cost {once:,.2f} {room.money} once.",
        f"Once the dies are there, a kit costs {each:,.2f} {room.money}.",
        f"So {quantity} kits from these dies cost {running:,.2f} {room.money}.",
        f"The tooled pattern costs {running:,.2f} + {dies:,.2f} = {running + dies:,.2f} {room.money} in all.",
    )
    slips = {
        "forgotten one-off cost": (quantity * each, "Which cost of the lines above is not in?"),
        "one-off cost for each kit": (quantity * (each + once), "The dies are bought once, not for each kit."),
        "unit cost": (total / quantity, "That is one kit; the whole job is asked for."),
        "one kit only": (once + each, f"{quantity} kits are made."),
    }
    return mistake(
        f"A student compares two routes for {quantity} kits. The numbers of lines 1 to 3 come from the library. One "
        "line is wrong. Which one, and what does the tooled pattern really cost in all?",
        lines,
        4 if case == "one kit" else 5,
        dict.fromkeys((1, 2, 3), "It is a number of the plan."),
        Number(total, room.money, slips, tolerance=0.002),
        f"{once:,.2f} + {quantity}·{each:,.2f} = {total:,.2f} {room.money}, against {printed.total_cost:,.2f} for the "
        "printed pattern.",
    )


@exercise
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
    )


@exercise
def under_price_by_date(draw, room):
    wanted = draw.choice("route", PRINTED)
    for quantity in map(int, draw.shuffled("quantities", "123456")):
        choices = room.batches(quantity)
        best = [
            choice
            for choice, (cost, _, ready) in choices.items()
            if not any(c <= cost and r <= ready and (c, r) != (cost, ready) for c, _, r in choices.values())
        ]
        if any(route == wanted for route, _ in best):
            break
    route, size = draw.choice("aim", [choice for choice in best if choice[0] == wanted] or best)
    cost, _, ready = choices[route, size]
    price, date = np.ceil(cost / quantity * 1.01 / 5) * 5, (ready + dt.timedelta(days=1)).date()
    routes = {name: ROUTES[name].TITLE for name in PRINTED}

    def outcome(answer):
        cost, _, ready = choices[answer["route"], batch_of(answer["batch"], quantity)]
        each, wanted = cost / quantity, f"at most {price:,.0f} {room.money} a kit"
        return [
            Aim("price", wanted, each <= price, f"{each:,.0f} {room.money}"),
            Aim("date", f"ready before {date:%a %d %b %Y}", ready.date() < date, f"{ready:%a %d %b %Y, %H:%M}"),
        ]

    return design(
        f"A customer wants {quantity} kit{'s' * (quantity > 1)} of your class's frame, for at most {price:,.0f} "
        f"{room.money} a kit, "
        f"ready before {date:%A %d %B %Y}. Work may begin on {room.start:%A %d %B %Y at %H:%M}. Count no "
        "failures. Choose the route and how many kits are made together.",
        (Field("route", "route", routes), Field("batch", "batch size [kits]")),
        outcome,
        {"route": route, "batch": str(size)},
        f"One way: {routes[route]} in batches of {size}: {cost / quantity:,.2f} {room.money} a kit, ready "
        f"{ready:%a %d %b %Y}. Others may do it too.",
    )


@exercise
def cheapest_batch(draw, room):
    cases = [f"{route} {low}" for route in PRINTED for low in range(2, 16)]
    for route, low in map(str.split, draw.shuffled("cases", cases)):
        counts = np.arange(int(low), int(low) + 6)
        costs = room.plan(route).at(quantity=counts, batch_size=counts).unit_cost
        limit = float(np.ceil(costs.min() * 1.001))
        if costs[-1] > limit:  # else the most would be no question
            break
    best, most = int(counts[np.argmin(costs)]), int(counts[-1])

    def outcome(answer):
        chosen = batch_of(answer["batch"], most, int(low))
        cost = float(costs[chosen - int(low)])
        return [Aim("cost", f"at most {limit:,.0f} {room.money} a kit", cost <= limit, f"{cost:,.2f} {room.money}")]

    return design(
        f"A customer would take {low} to {most} of your class's kits, by {ROUTES[route].TITLE.lower()}, in one batch. "
        f"How many make a kit cost at most {limit:,.0f} {room.money}? Count no failures.",
        (Field("batch", "kits in the batch"),),
        outcome,
        {"batch": str(best)},
        "; ".join(f"{n} kits {cost:,.0f}" for n, cost in zip(counts, costs, strict=True)) + f" {room.money} a kit.",
    )


@exercise
def winners_by_range(draw, room):
    names = draw.shuffled("names", [ROUTES[route].TITLE for route in PRINTED])
    wins = draw.choice("middle wins", (True, False))
    early, late = draw.whole("early", 3, 9), draw.whole("late", 12, 40)
    first, second = (early, late) if wins else (late, early)  # where the middle one passes the others' lines
    less, lesser = draw.whole("less", 60, 200, 20), draw.whole("lesser", 40, 160, 20)
    each = draw.whole("each", 500, 900, 10)
    once = 100 + np.cumsum([0, less * (first + 0.5), lesser * (second + 0.5)])
    costs = dict(zip(names, zip(once.tolist(), (each, each - less, each - less - lesser), strict=True), strict=True))
    counts = np.arange(1, 200)
    found = cheapest_intervals({name: a / counts + b for name, (a, b) in costs.items()}, counts)
    right = ", then ".join(each.cheapest for each in found.intervals if each.cheapest)
    orders = dict.fromkeys(
        (", then ".join(names), f"{names[0]}, then {names[2]}", ", then ".join(names[::-1]), names[1])
    )
    look = "Work out all three for 1, 10 and 50 kits: who is cheapest each time?"
    return choose(
        draw,
        "Three offers, each paid once for the job and for every kit, in "
        + room.money
        + ": "
        + "; ".join(f"{name} {a:,.0f} once and {b:,} a kit" for name, (a, b) in sorted(costs.items()))
        + ". Which is cheapest, from one kit up to 199?",
        [Option(text, "" if text == right else look) for text in orders],
        [
            Option("the one in the middle gets below the first before the last gets below it", look * (not wins)),
            Option("the last is already below the first when the one in the middle gets there", look * wins),
            Option("least paid for a kit is cheapest in the end, so it is cheapest always", look),
        ],
        f"{right}: the lines cross at {', '.join(map(str, found.crossings))} kits.",
    )


LEANER = ("by less than 1 %", "by 1 to 5 %", "by more than 5 %")


@exercise
def lighter_node(draw, room):
    part, route = draw.choice("part", room.kit.parts).part, draw.choice("route", PRINTED)
    share = draw.choice("share", (0.2, 0.3, 0.4))
    lean = Part.from_numbers(part.name, part.volume_cm3 * (1 - share), part.area_cm2, part.box_mm)
    solid = Part.from_numbers(part.name, part.volume_cm3, part.area_cm2, part.box_mm)
    before, after = (made(plan(route, Job(each, room.alloy), room.rates)) for each in (solid, lean))
    fallen = (before.table().groupby("step")["cost"].sum() - after.table().groupby("step")["cost"].sum()).sort_values()
    falls = 1 - float(after.unit_cost / before.unit_cost)
    place = int(np.digitize(falls, (0.01, 0.05)))
    ask = "Plan both parts, made with pp.Part.from_numbers, and compare the cost column of pp.plan(…).table()."
    return choose(
        draw,
        f"{part.name} is hollowed: {percent(share)} less metal, the same box and surface. Made by "
        f"{ROUTES[route].TITLE.lower()}, one piece: at which step is most saved, and by how much does its cost fall?",
        [Option(step, "" if step == fallen.index[-1] else ask) for step in fallen.index[-4:]],
        [Option(text, "" if i == place else ask) for i, text in enumerate(LEANER)],
        f"“{fallen.index[-1]}” saves {fallen.iloc[-1]:,.2f} {room.money}; the piece costs {100 * falls:.1f} % less.",
        asks=("most is saved at", "the piece gets cheaper"),
    )
