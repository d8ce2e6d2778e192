"""Exercises of notebook 10: what to recommend, a memo with a mistake, and what a change is worth."""

from pourprint.lessons.kinds import choose, mistake, numeric


def recommend(task, room, cost, days, price, sooner, case, more):
    # The quick offer is dearer by more than its days save, or by less.
    dearer = max(sooner * price + (-more if case == "worth its days" else more), 40)
    kept = task.number("kept", 3, 40) if case == "late" else task.number("kept", 55, 90)
    slow, quick = cost + days * price, cost + dearer + (days - sooner) * price
    right = "slow" if case != "late" and slow <= quick else "quick"
    task = task.knows(blame=task.told("late" if case == "late" else "least"))
    task = task.knows(dear=cost + dearer, fast=days - sooner, kept=kept, slow=slow, quick=quick)
    return choose(task, right, "misses" if case == "late" else "keeps")


def memo_mistake(task, room, kits, each, days, price, more, case):
    plain = kits * each
    failing, fewer = plain * (1 + more / 100), plain * (1 - more / 100)
    said = fewer if case == "failures" else failing
    delay = days * price * (kits if case == "days" else 1)
    slips = {
        "failures left out": plain + days * price,
        "days for each kit": failing + kits * days * price,
        "days left out": failing,
        "failures taken off": fewer + days * price,
    }
    a_kit, line = (plain if case == "a kit" else said) / kits, {"failures": 2, "a kit": 3, "days": 4}[case]
    task = task.knows(plain=plain, said=said, a_kit=a_kit, delay=delay, told=said + delay)
    task = task.knows(times=1 + more / 100, failing=failing, late=days * price)
    return mistake(task, line, failing + days * price, slips)


def missing_change(task, room, first, kits, wages, day, side, route):
    kits, route = -kits, side * route
    last = first + kits + wages + day + route
    slips = {
        "whole difference": last - first,
        "saving added": route + 2 * kits,
        "price of a day forgotten": route + day,
        "upside down": -route,
    }
    return numeric(task.knows(kits=kits, last=last), route, slips)
