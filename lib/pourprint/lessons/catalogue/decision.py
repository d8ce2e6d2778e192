"""Exercises of notebook 10: what to recommend, a memo with a mistake, and what a change is worth."""

from pourprint.lessons.exercises import exercise
from pourprint.lessons.kinds import Number, Option, choose, mistake, numeric

NOTEBOOK = "10"


@exercise
def recommend(draw, room):
    cost, days, price = draw.whole("cost", 2000, 6000, 50), draw.whole("days", 20, 34), draw.whole("price", 20, 90, 5)
    sooner, case = draw.whole("sooner", 5, 12), draw.choice("case", ("likely", "late", "worth its days"))
    # The quick offer is dearer by more than its days save, or by less.
    dearer = sooner * price + (-1 if case == "worth its days" else 1) * draw.whole("more", 50, 400, 10)
    kept = draw.whole("kept", 3, 40) if case == "late" else draw.whole("kept", 55, 90)
    dearer = max(dearer, 40)
    sums = cost + days * price, cost + dearer + (days - sooner) * price
    slow = case == "likely" or (case == "worth its days" and sums[0] <= sums[1])
    late, least = "The slow offer keeps the date in fewer than half of the runs.", "Add the price of the days to each."
    likely = "The slow offer keeps the date in more than half of the runs."
    return choose(
        draw,
        f"A day of delay costs {price} {room.money}. The slow offer costs {cost:,} {room.money} and takes {days} days; "
        f"it keeps the date in {kept} of 100 drawn runs. The quick one costs {cost + dearer:,} {room.money}, takes "
        f"{days - sooner} days and keeps it in 97 of 100. A memo takes the least cost, days priced, among offers that "
        "keep the date in at least half of the runs. Which one?",
        [
            Option("the slow offer", "" if slow else late if kept < 50 else least),
            Option("the quick offer", least * slow),
        ],
        [
            Option("it costs less with its days, and likely keeps the date", "" if kept >= 50 else late),
            Option("the other likely misses the date, whatever it costs", "" if kept < 50 else likely),
            Option("it costs less before any day is counted", "A day has a price here: count it."),
            Option("it is ready first", "Being first is worth its days' price, no more."),
        ],
        f"With days: slow {sums[0]:,}, quick {sums[1]:,} {room.money}; the slow one keeps the date in {kept} of 100.",
    )


@exercise
def memo_mistake(draw, room):
    kits, each = draw.whole("kits", 3, 9), draw.whole("each", 300, 900, 10)
    days, price = draw.whole("days", 15, 40), draw.whole("price", 20, 80, 5)
    more, case = draw.choice("more", (10, 20, 25, 40)), draw.choice("case", ("failures", "a kit", "days"))
    plain = kits * each
    failing = plain * (1 + more / 100)
    total = failing + days * price
    said = plain * (1 - more / 100) if case == "failures" else failing
    share = plain / kits if case == "a kit" else said / kits
    delay = kits * days * price if case == "days" else days * price
    lines = (
        f"{kits} kits cost {plain:,} {room.money} if nothing fails.",
        f"Failures add {more} % in the mean: {said:,.2f} {room.money}.",
        f"That is {share:,.2f} {room.money} a kit with failures.",
        f"The job takes {days} days with failures; at {price} {room.money} a day they cost {delay:,} {room.money}.",
        f"With failures and days the job comes to {said + delay:,.2f} {room.money}.",
    )
    slips = {
        "failures left out": (plain + days * price, "What fails is made again: is it in?"),
        "days for each kit": (failing + kits * days * price, "The job is late once, not kit by kit."),
        "days left out": (failing, "The days have a price, too."),
        "failures taken off": (plain * (1 - more / 100) + days * price, "Do failures make a job cheaper?"),
    }
    wrong = {"failures": 2, "a kit": 3, "days": 4}[case]
    return mistake(
        "A memo gives these five lines; the first is true. One line is wrong. Which one, and what does the job come to "
        "in all, with failures and days?",
        lines,
        wrong,
        {1: "It is what the plan says.", 5: "It adds up the lines before it."},
        Number(total, room.money, slips, tolerance=0.001),
        f"{plain:,}·{1 + more / 100:g} = {failing:,.2f}; with {days}·{price} = {days * price:,} it is {total:,.2f}.",
    )


@exercise
def missing_change(draw, room):
    first, kits = draw.whole("first", 900, 3000, 10), -draw.whole("kits", 80, 300, 10)
    wages, day = draw.whole("wages", 20, 160, 10), draw.whole("day", 30, 200, 10)
    route = draw.choice("side", (-1, 1)) * draw.whole("route", 100, 500, 10)
    last = first + kits + wages + day + route
    slips = {
        "whole difference": (last - first, "That is what all changes make together: which of it is the route's?"),
        "saving added": (route + 2 * kits, "Larger numbers made a kit cheaper: mind its sign."),
        "price of a day forgotten": (route + day, "All four changes lead from the first to the second."),
        "upside down": (-route, "Does the route make a kit dearer or cheaper?"),
    }
    return numeric(
        f"One kit came to {first:,} {room.money} in the first decision and to {last:,} in the second. Between them "
        f"four things changed, one after the other: more kits ({kits:+}), higher wages ({wages:+}), a dearer day "
        f"({day:+}), and the route. What is the change of route worth, in {room.money} a kit? A saving is negative.",
        Number(route, f"{room.money} a kit", slips, tolerance=0.001),
        f"{last:,} − {first:,} − ({kits:+} {wages:+} {day:+}) = {route:+} {room.money} a kit.",
    )
