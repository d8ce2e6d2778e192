"""Exercises of notebook 06: yields, tries, queues and the calendar."""

import datetime as dt
from statistics import NormalDist

import numpy as np

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
    order,
    percent,
    predict,
)
from pourprint.plans.plan import lead_time
from pourprint.risk.yields import (
    attempts_needed,
    chance_of_enough,
    chance_within,
    expected_visits,
    layers_printed,
    starts_needed,
)
from pourprint.risk.yields import rolled_yield as yield_of_all
from pourprint.routes import PRINTED, ROUTES

NOTEBOOK = "06"
WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday")


@exercise
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
        f"Three steps have first-pass yields of {listed}. Which share of parts is right at the first try in all three? "
        "Whole percent will do.",
        Number(right, "of 1", slips, tolerance=0.004, step=0.01),
        f"{' · '.join(f'{y:.2f}' for y in yields)} = {right:.4f}.",
    )


@exercise
def attempts(draw, room):
    good, share = draw.whole("good", 6, 30, 2), draw.choice("yield", (0.6, 0.7, 0.75, 0.8, 0.85))
    right = good * float(attempts_needed(share)[0])
    slips = {
        "one repeat only": (good * (2 - share), "Repeats can fail, too."),
        "made whole": (np.ceil(right) if right % 1 else right + 1, "A mean may be broken: nobody rounds it up."),
        "no repeats": (good, "Some fail: how many must be begun on average?"),
        "times the yield": (good * share, "That is how many of them would be good."),
    }
    return numeric(
        f"{good} good castings are needed; each try succeeds with a chance of {percent(share)}. How many must be "
        "tried on average, to one decimal? A mean may be broken.",
        Number(right, "tries", slips, tolerance=0.004, step=0.1),
        f"A try succeeds with p, so 1/p tries a casting: {good}/{share:g} = {right:.2f}.",
    )


@exercise
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
        f"{tries} tries, to a tenth of a percent?",
        Number(right, "of 1", slips, tolerance=0.0005, step=0.001),
        f"1 − (1 − {share:g})^{tries} = {right:.4f}.",
    )


@exercise
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
    )


@exercise
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
    )


@exercise
def start_day(draw, room):
    quantity, opening = draw.whole("quantity", 1, 5), dt.timedelta(hours=room.rates.hours.start_h)
    monday = dt.datetime.combine(room.start.date() - dt.timedelta(days=room.start.weekday()), dt.time()) + opening
    plans = [room.plan(route, quantity) for route in PRINTED]
    days = {p.title: [float(lead_time(p, monday + dt.timedelta(days=i)).days) for i in range(5)] for p in plans}
    # A route for which the day matters teaches more than one for which it does not.
    route = draw.choice("route", [name for name, each in days.items() if max(each) - min(each) > 0.05] or [*days])
    taken = days[route]
    best = tuple(name for name, each in zip(WEEK, taken, strict=True) if each < min(taken) + 0.01)
    return predict(
        draw,
        f"The {route.lower()} route makes {quantity} kit{'s' * (quantity > 1)} of your class's frame in one batch. On "
        f"which day of the week of {monday:%d %B %Y} should work begin, so that fewest days pass until all is ready?",
        (*WEEK, "it makes no difference"),
        best if len(best) < len(WEEK) else ("it makes no difference",),
        Slider(
            "start, Monday is 1", "", (1, 2, 3, 4, 5), lambda p: f"{WEEK[int(p) - 1]}, {taken[int(p) - 1]:.1f} days"
        ),
        [
            Option("waits and machines can run through the nights and weekends, hands cannot"),
            Option("machines rest at the weekend", "Kilns and printers run on when nobody is there."),
            Option("the work takes fewer hours on some days", "The hours are the same; what lies between them?"),
        ],
        "; ".join(f"{name} {day:.1f} days" for name, day in zip(WEEK, taken, strict=True)) + ".",
    )


@exercise
def days_and_price(draw, room):
    wanted, money, prices = draw.choice("route", PRINTED), room.money, (50, 100, 150, 200, 250, 300, 400, 600)
    for quantity in map(int, draw.shuffled("quantities", "12345")):
        choices = room.batches(quantity)
        winners = {  # the cheapest choice at each price of a day
            price: min(choices, key=lambda each: choices[each][0] + price * choices[each][1]) for price in prices
        }
        fitting = [price for price, (route, _) in winners.items() if route == wanted]
        if fitting:
            break
    price = draw.choice("price", fitting or prices)
    totals = {choice: cost + price * days for choice, (cost, days, _) in choices.items()}
    best, routes = winners[price], {route: ROUTES[route].TITLE for route in PRINTED}
    limit = float(np.ceil(totals[best] * 1.01 / 10) * 10)

    def outcome(answer):
        total = totals[answer["route"], batch_of(answer["batch"], quantity)]
        aim = f"at most {limit:,.0f} {money} with the days priced"
        return [Aim("total", aim, total <= limit, f"{total:,.0f} {money}")]

    return design(
        f"A customer wants {quantity} kit{'s' * (quantity > 1)} of your class's frame, and every day until all is "
        f"ready costs {price} {money}. Work begins on {room.start:%A %d %B %Y at %H:%M}. "
        "Count no failures. Choose "
        f"route and batch size so that the job and its days cost at most {limit:,.0f} {money}.",
        (Field("route", "route", routes), Field("batch", "batch size [kits]")),
        outcome,
        {"route": best[0], "batch": str(best[1])},
        f"One way: {routes[best[0]]} in batches of {best[1]}: {totals[best]:,.0f} {money}.",
    )


@exercise
def chance_of_date(draw, room):
    means, spreads = (draw.whole("a", 5, 12), draw.whole("b", 4, 10)), draw.choice("spreads", ((3, 4), (5, 12), (6, 8)))
    hours, times = 24 * sum(means), draw.choice("times", (-2, -1, 1, 2))
    both = float(np.hypot(*spreads))
    right = NormalDist(hours, both).cdf(hours + times * both)

    def chance(spread):
        return NormalDist(0, spread).cdf(times * both)

    slips = {
        "spreads added": (chance(sum(spreads)), "Both are seldom late together: squares of spreads add, not spreads."),
        "larger spread only": (chance(max(spreads)), "The other step spreads, too."),
        "the mean": (0.5, "At the mean the chance is one half: is the date the mean?"),
        "other side": (1 - right, "That is the chance to be late: which side is asked for?"),
    }
    return numeric(
        f"Casting takes {24 * means[0]} h on average, with a standard deviation of {spreads[0]} h; finishing follows "
        f"and takes {24 * means[1]} h, with {spreads[1]} h. They do not depend on each other; their sum is normal. "
        f"What is the chance to be ready within {hours + times * both:g} h? One deviation below the mean has a chance "
        "of 15.9 %, the mean 50 %, one above it 84.1 %, two 97.7 %. Whole percent will do.",
        Number(right, "of 1", slips, tolerance=0.004, step=0.005),
        f"√({spreads[0]}² + {spreads[1]}²) = {both:g} h; {hours + times * both:g} h is {times:+d} of it from the mean "
        f"of {hours} h: {100 * right:.1f} %.",
    )


@exercise
def hours_with_failures(draw, room):
    first, second = draw.whole("first", 12, 40, 2), draw.whole("second", 4, 16)
    p, q = draw.choice("p", (0.7, 0.8, 0.9)), draw.choice("q", (0.6, 0.75, 0.85))
    mean, _ = expected_visits((p, q), np.array((0, 0)))
    right = float(mean @ (first, second))
    slips = {
        "no failures": (first + second, "That is the plan, in which nothing fails."),
        "each step by itself": (first / p + second / q, "Where does work begin again when the second step fails?"),
        "yields multiplied": ((first + second) / (p * q), "A piece that fails in the first step never saw the second."),
        "the second never fails": (first / p + second, "The second step fails, too."),
    }
    return numeric(
        f"Printing a mould takes {first} h and succeeds with {percent(p)}. Pouring it takes {second} h and succeeds "
        f"with {percent(q)}; when it fails, a new mould must be printed. The plan without failures takes "
        f"{first + second} h. How many hours does it take on average until a casting is good?",
        Number(right, "h", slips, tolerance=0.005),
        f"Pours: 1/{q:g}; prints: 1/({p:g}·{q:g}); {first}/{p * q:g} + {second}/{q:g} = {right:.1f} h.",
    )


@exercise
def spares(draw, room):
    good, p = draw.whole("good", 6, 14), draw.choice("p", (0.8, 0.85, 0.9))
    each, again = draw.whole("each", 20, 80, 5), draw.whole("again", 400, 1600, 100)
    counts = np.arange(0, 9)
    chances = np.round(chance_of_enough(good + counts, good, p), 3)
    costs = counts * each + (1 - chances) * again
    right, few = int(np.argmin(costs)), int(np.ceil(good / p)) - good
    slips = {
        "as many as fail": (few, "So many fail on average; half the time it is more. What does a second pour cost?"),
        "nearly sure": (starts_needed(good, p, 0.99) - good, "The last spares cost more than they save."),
        "no spares": (0, "Compare what a spare costs with what it saves on average."),
    }
    return numeric(
        f"{good} good castings are wanted; each is good with {percent(p)}. A spare in the same pour costs {each} "
        f"{room.money}; too few good ones cost a second pour of {again:,} {room.money}. The chance of enough is, with "
        f"0, 1, 2 … spares: {', '.join(f'{100 * chance:.1f} %' for chance in chances)}. How many spares cost least on "
        "average, second pour included?",
        Number(right, "spares", slips, whole=True),
        "; ".join(f"{n}: {cost:,.0f} {room.money}" for n, cost in zip(counts, costs, strict=True)) + ".",
    )


@exercise
def trial_batch(draw, room):
    each, kits = draw.whole("each", 200, 900, 50), draw.whole("kits", 4, 12)
    alone, days = draw.whole("alone", 2, 5) * 100 + each, draw.whole("days", 4, 9)
    fault, price = draw.choice("fault", (0.1, 0.3, 0.5)), draw.choice("price", (20, 60, 120))
    lost, trial = fault * kits * each, alone + days * price + fault * (alone + days * price)
    look = "Work out both: what a fault costs on average without a trial, and what the trial costs with its days."
    pays = bool(lost > trial)
    return choose(
        draw,
        f"A new node, {kits} kits at {each} {room.money} each. With a chance of {percent(fault)} its design has a "
        f"fault, and all kits are made again. A trial of one kit finds it; it costs {alone} {room.money} and {days} "
        f"days, a day costs {price} {room.money}, and after a fault it is done again. Trial first, or all at once?",
        [Option("a trial first", look * (not pays)), Option("all at once", look * pays)],
        [
            Option("the loss that a trial spares on average is larger than what it costs", look * (not pays)),
            Option("the loss that a trial spares on average is smaller than what it costs", look * pays),
            Option("a fault may always be there", "It may: but how often, and what does it cost then?"),
        ],
        f"Without a trial {fault:g}·{kits}·{each} = {lost:,.0f} {room.money} are lost on average; the trial costs "
        f"{1 + fault:g}·({alone} + {days}·{price}) = {trial:,.0f} {room.money}.",
    )


@exercise
def held_up(draw, room):
    print_h, saved = draw.whole("print", 30, 60), draw.whole("saved", 8, 20)
    other, after = print_h - draw.whole("less", 3, saved - 3), draw.whole("after", 10, 30)
    right = float(print_h - max(other, print_h - saved))
    slips = {
        "all that was saved": (saved, "Does anything else still hold up the pour?"),
        "nothing": (0.0, "What is waited for longest before, and what after?"),
        "difference of the two": (float(other - print_h + saved), "Which of the two is ready last now?"),
    }
    return numeric(
        f"A mould prints for {print_h} h. Beside it, on another machine, cores are made in {other} h. Both begin "
        f"together, and both must be ready before pouring, which takes {after} h. A new printer saves {saved} h of the "
        "print. How much sooner is the casting poured?",
        Number(right, "h", slips),
        f"Before, pouring waits {print_h} h, now {max(other, print_h - saved)} h: {right:g} h sooner.",
    )
