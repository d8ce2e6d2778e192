"""Exercises of notebook 06: yields, tries, queues and the calendar."""

import datetime as dt

import numpy as np

from pourprint.ledger.workdays import DAYS
from pourprint.lessons.exercises import Field, Slider, exercise
from pourprint.lessons.kinds import (
    PANEL,
    Aim,
    Number,
    Option,
    batch_of,
    design,
    mistake,
    numeric,
    order,
    percent,
    predict,
)
from pourprint.plans.plan import lead_time
from pourprint.risk.yields import attempts_needed, chance_within, layers_printed
from pourprint.risk.yields import rolled_yield as yield_of_all
from pourprint.routes import PRINTED, ROUTES

NOTEBOOK = "06"


@exercise("Roll the yields", "averages yields, or takes the worst for the whole")
def rolled_yield(draw, room):
    yields = [draw.whole(f"yield {i}", 78, 98) / 100 for i in range(3)]
    right = float(yield_of_all(yields))
    listed = ", ".join(f"{100 * y:.0f} %" for y in yields)
    slips = {
        "mean": (sum(yields) / 3, "A part must pass all three steps, not an average one."),
        "worst step": (min(yields), "Parts that pass the worst step can still fail in another."),
        "failures added": (1 - sum(1 - y for y in yields), "A part that failed already cannot fail again."),
    }
    return numeric(
        f"Three steps have first-pass yields of {listed}. Which share of parts is right at the first try in all three?",
        Number(right, "of 1", slips, tolerance=0.004),
        f"{' · '.join(f'{y:.2f}' for y in yields)} = {right:.4f}.",
        ("Of 100 parts, how many are left after the first step? And after the second?",),
        "Rolled throughput yield: 0.95 · 0.84 · 0.88 = 0.702 (published: Minitab support page).",
    )


@exercise("Count the tries", "repeats failures once, and forgets that they fail again")
def attempts(draw, room):
    good, share = draw.whole("good", 6, 30, 2), draw.choice("yield", (0.6, 0.7, 0.75, 0.8, 0.85))
    right = good * float(attempts_needed(share)[0])
    slips = {
        "one repeat only": (good * (2 - share), "Repeats can fail, too."),
        "no repeats": (good, "Some fail: how many must be begun on average?"),
        "times the yield": (good * share, "That is how many of them would be good."),
    }
    return numeric(
        f"{good} good castings are needed; each try succeeds with a chance of {percent(share)}. How many must be "
        "tried on average?",
        Number(right, "tries", slips, tolerance=0.004),
        f"A try succeeds with p, so 1/p tries a casting: {good}/{share:g} = {right:.2f}.",
        ("How many tries does one good casting take on average?", "1 + (1 − p) + (1 − p)² + … = 1/p."),
        "Exact: mean of the geometric distribution; p = 0.8 gives 1.25 tries with a variance of 0.3125.",
    )


@exercise("Be sure within a few tries", "adds chances")
def three_tries(draw, room):
    tries, share = draw.choice("tries", (2, 3, 4)), draw.choice("yield", (0.6, 0.65, 0.7, 0.75, 0.8))
    right = float(chance_within(share, tries))
    slips = {
        "all succeed": (share**tries, "One success is enough; that is the chance that all succeed."),
        "all fail": ((1 - share) ** tries, "That is the chance that none succeeds."),
        "chances added": (tries * share, "A chance above one? What is the chance that all tries fail?"),
        "one try": (share, "There is more than one try."),
    }
    return numeric(
        f"A print succeeds with a chance of {percent(share)}. What is the chance of at least one success within "
        f"{tries} tries? Give three digits.",
        Number(right, "of 1", slips, tolerance=0.002),
        f"1 − (1 − {share:g})^{tries} = {right:.4f}.",
        ("What is the chance that all of them fail?",),
        "Exact: p = 0.8 within three tries gives 0.992.",
    )


@exercise("Find the mistake about failed prints", "prices every failed print as a whole one", 2)
def layers_lost(draw, room):
    count, q = draw.whole("layers", 1500, 3500, 250), draw.choice("fail", (1e-4, 1.5e-4, 2e-4))
    whole = (1 - q) ** count
    right = float(layers_printed(count, q))
    lines = (
        f"A print has {count} layers; each fails with a chance of {q:g}, and a print that fails is begun again.",
        f"All layers succeed with (1 − {q:g})^{count} = {whole:.4f}.",
        f"On average 1/{whole:.4f} = {1 / whole:.3f} prints are begun.",
        f"So {count}/{whole:.4f} = {count / whole:,.0f} layers are printed on average.",
    )
    slips = {
        "failed prints as whole": (count / whole, "That is line 4 again: how far does a failed print get?"),
        "no failures": (count, "Some prints fail and are begun again."),
        "one failure in a print": (count * (1 + count * q), "A print that is begun again can fail again."),
    }
    return mistake(
        "A student works out how many layers are printed until one print is whole. One line is wrong. Which one, and "
        "how many layers is it really?",
        lines,
        4,
        {2: "The chances of all layers multiply.", 3: "Mean tries are 1/p.", 1: "These are the facts given."},
        Number(right, "layers", slips, tolerance=0.004),
        f"(1 − s^L)/(q·s^L) with s = 1 − q: {right:,.0f} layers, since a failed print stops where it fails.",
        ("Does a failed print reach its last layer?", "Expected layers for L in a row: (1 − s^L)/(q·s^L), s = 1 − q."),
        "Exact (runs of successes): q = 0.0001 and L = 2000 give 2214.15, not 2442.8.",
    )


@exercise("Order the queue", "serves whoever came first and calls it fair to all")
def shortest_first(draw, room):
    times = [int(t) for t in draw.shuffled("times", [str(n) for n in range(2, 13)])[:4]]
    names = draw.shuffled("names", ["mast", "rocker", "bogie", "corner"])
    jobs = {f"{name}: {days} days": days for name, days in zip(names, times, strict=True)}
    right = sorted(jobs, key=jobs.get)
    flow = np.cumsum(sorted(times)).mean()
    return order(
        draw,
        "Four jobs wait for one machine. In which order is the mean time until a job is done the shortest?",
        right,
        lambda early, late: "Everybody behind a job waits all its days.",
        f"Shortest first: done after {', '.join(map(str, np.cumsum(sorted(times))))} days, mean {flow:g} days; as they "
        f"came it would be {np.cumsum(times).mean():g}.",
        ("Add up, for one order, the days after which each job is done.", "Swap two neighbours: does the sum fall?"),
        "Mechanical Engineers' Handbook, vol. 3, example 10 (published): 7, 6, 8, 5 days give a mean of 15 days "
        "shortest first, 16.75 first come first served.",
    )


@exercise("Predict the best day to start", "thinks that every weekday is alike")
def start_day(draw, room):
    quantity, hours = draw.whole("quantity", 2, 5), room.rates.hours
    monday = room.start.date() - dt.timedelta(days=room.start.weekday())
    opening = dt.timedelta(hours=hours.start_h)

    def days_of(plan, place):
        start = dt.datetime.combine(monday + dt.timedelta(days=int(place) - 1), dt.time()) + opening
        return float(lead_time(plan, start).days)

    plans = [room.plan(route, quantity) for route in PRINTED]
    # A route for which the day matters teaches more than one for which it does not.
    apart = [plan for plan in plans if abs(days_of(plan, 5) - days_of(plan, 1)) > 0.05]
    plan = draw.choice("route", apart or plans)

    def days(place):
        return days_of(plan, place)

    taken = [days(place) for place in range(1, 6)]
    best = int(np.argmin(np.round(taken, 6)))
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday")
    truth = "it makes no difference" if max(taken) - min(taken) < 1e-6 else names[best]
    return predict(
        draw,
        f"The {plan.title.lower()} route makes {quantity} kits of the frame in one batch. On which weekday "
        f"of the week of {monday:%d %B %Y} should "
        "work begin, so that the fewest days pass until all is ready?",
        (*names, "it makes no difference"),
        truth,
        Slider("start, Monday is 1", "", (1, 2, 3, 4, 5), lambda p: f"{DAYS[int(p) - 1]}, {days(p):.1f} days"),
        [
            Option("waits and machines can run through the nights and weekends, hands cannot"),
            Option("machines rest at the weekend", "Kilns and printers run on when nobody is there."),
            Option(
                "the work takes fewer hours on some days", "The hours of work are the same; what lies between them?"
            ),
        ],
        "; ".join(f"{name} {day:.1f} days" for name, day in zip(names, taken, strict=True)) + ".",
        ("Which waits can fall on a weekend?",),
        "Arithmetic of the class's working calendar (exact for its hours and holidays).",
    )


@exercise("Design: cheapest with the days priced", "leaves the price of the days out", 2)
def days_and_price(draw, room):
    quantity, price = draw.whole("quantity", 2, 6), draw.choice("price", (100, 200, 300, 400))
    sizes = np.arange(1, quantity + 1)
    totals = {}
    for route in PRINTED:
        plan = room.plan(route).at(quantity=quantity, batch_size=sizes)
        costs = plan.total_cost + price * lead_time(plan, room.start).days
        totals |= {(route, int(size)): float(cost) for size, cost in zip(sizes, costs, strict=True)}
    best = min(totals, key=totals.get)
    limit = float(np.ceil(totals[best] * 1.01 / 10) * 10)
    routes = {route: ROUTES[route].TITLE for route in PRINTED}

    def outcome(answer):
        total = totals[answer["route"], batch_of(answer["batch"], quantity)]
        came = f"{total:,.0f} {room.money}"
        return [Aim("total", f"at most {limit:,.0f} {room.money} with the days priced", total <= limit, came)]

    return design(
        f"{quantity} kits are wanted, and every day until they are ready costs {price} {room.money}. Work begins on "
        f"{room.start:%A %d %B %Y at %H:%M}. Choose route and batch size so that the job and its days cost at most "
        f"{limit:,.0f} {room.money}.",
        (Field("route", "route", routes), Field("batch", "batch size [kits]")),
        outcome,
        {"route": best[0], "batch": str(best[1])},
        f"One way: {routes[best[0]]} in batches of {best[1]}: {totals[best]:,.0f} {room.money}.",
        (f"{PANEL}, set the price of a day, and read “in all”.", "Try several batch sizes: days follow them."),
    )
