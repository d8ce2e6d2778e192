"""Bad jobs and questions: MALFORMED is a list of (name, function(folder) -> None) that must raise InputError."""

import numpy as np

import pourprint as pp
from pourprint.decide.compare import comparison
from scenes import bracket, demo_rates, small_job, small_kit


def job(**fields):
    return lambda folder: pp.Job(**{"kit": bracket(), "alloy": "AlSi7Mg"} | fields)


def planned(**changes):
    return pp.plan("printed_pattern", small_job(**changes), demo_rates())


def ask(question):
    """A question put to a good plan."""
    return lambda folder: question(planned())


def plans(question, alloy="AlSi7Mg"):
    """A question put to a good table of plans."""
    return lambda folder: question(pp.plan_all(small_job(alloy=alloy), demo_rates()))


MALFORMED = [
    # Job
    ("no kit", job(kit=None)),
    ("a path for a kit", job(kit="rover_kit.toml")),
    ("a list of parts for a kit", job(kit=[bracket()])),
    ("unknown alloy", job(alloy="unobtainium")),
    ("misspelt alloy", job(alloy="AlSi7mg")),
    ("no alloy", job(alloy=None)),
    ("a list of alloys", job(alloy=["AlSi7Mg", "316L"])),
    ("none wanted", job(quantity=0)),
    ("a negative quantity", job(quantity=-3)),
    ("half a kit", job(quantity=1.5)),
    ("quantity not a number", job(quantity=float("nan"))),
    ("infinite quantity", job(quantity=float("inf"))),
    ("quantity as text", job(quantity="four")),
    ("quantity as a digit in quotes", job(quantity="4")),
    ("quantity true", job(quantity=True)),
    ("no quantity", job(quantity=None)),
    ("quantities empty", job(quantity=[])),
    ("quantities ragged", job(quantity=[1, [2, 3]])),
    ("a zero among quantities", job(quantity=[1, 0, 2])),
    ("a million and one", job(quantity=1_000_001)),
    ("batches of nothing", job(quantity=3, batch_size=0)),
    ("batches of a half", job(quantity=3, batch_size=0.5)),
    ("batch size as text", job(quantity=3, batch_size="all")),
    ("arrays that do not match", job(quantity=[1, 2, 3], batch_size=[1, 2])),
    ("arrays that do not match the volume", job(kit=bracket().scaled_to(np.array([50.0, 60.0])), quantity=[1, 2, 3])),
    ("negative delivery", job(delivery_days=-1)),
    ("delivery as text", job(delivery_days="soon")),
    ("delivery never", job(delivery_days=float("inf"))),
    ("deliveries", job(delivery_days=[1, 2])),
    ("sockets maybe", job(machine_all_sockets="no")),
    ("an unknown field changed", lambda folder: small_job().with_(colour="red")),
    # Plan
    ("unknown route", lambda folder: pp.plan("lost_foam", small_job())),
    ("misspelt route", lambda folder: pp.plan("printed_patern", small_job())),
    ("no route", lambda folder: pp.plan(None, small_job())),
    ("a list of routes", lambda folder: pp.plan(["printed_metal"], small_job())),
    ("a kit for a job", lambda folder: pp.plan("printed_metal", small_kit())),
    ("a path for a card", lambda folder: pp.plan("printed_metal", small_job(), "rates.toml")),
    ("a table for a card", lambda folder: pp.plan_all(small_job(), {"labour.technician": 40})),
    ("a route that cannot", lambda folder: pp.plan("printed_metal", small_job(alloy="AZ91D"))),
    ("an alloy asked for what it has not", lambda folder: pp.alloys()["AZ91D"]["laser_rate"]),
    ("plan again for none", ask(lambda plan: plan.at(quantity=0))),
    ("plan again with an unknown field", ask(lambda plan: plan.at(hurry=True))),
    ("plan again with no card", ask(lambda plan: plan.at(rates="cheap"))),
    ("the table of an array", lambda folder: planned(quantity=[1, 2]).table()),
    ("the timeline of an array", lambda folder: planned(quantity=[1, 2]).at(start="2026-11-25").timeline()),
    ("a job longer than the calendar", lambda folder: planned(quantity=1_000_000, batch_size=1).lead_time_days),
    # Dates
    ("no start", ask(lambda plan: pp.lead_time(plan, None))),
    ("start in words", ask(lambda plan: pp.lead_time(plan, "next Monday"))),
    ("no such day", ask(lambda plan: pp.lead_time(plan, "2026-02-30T08:00"))),
    ("start as a number", ask(lambda plan: pp.lead_time(plan, 20261125))),
    ("start in a time zone", ask(lambda plan: pp.lead_time(plan, "2026-11-25T08:00+01:00"))),
    ("timeline from nowhere", ask(lambda plan: plan.at(start="soon"))),
    ("timeline without a start", ask(lambda plan: plan.timeline())),
    ("lead time of no plan", lambda folder: pp.lead_time("printed_metal", "2026-11-25T08:00")),
    ("lead time at no card", ask(lambda plan: pp.lead_time(plan, "2026-11-25T08:00", rates=3))),
    ("lead time of a route that cannot", plans(lambda p: pp.lead_time(p["printed_metal"], "2026-11-25"), "AZ91D")),
    # Comparing
    ("break-even with no plan", ask(lambda plan: pp.break_even(plan, None, [1, 2]))),
    ("break-even over nothing", ask(lambda plan: pp.break_even(plan, plan, []))),
    ("break-even backwards", ask(lambda plan: pp.break_even(plan, plan, [3, 2, 1]))),
    ("break-even twice at one quantity", ask(lambda plan: pp.break_even(plan, plan, [1, 1, 2]))),
    ("break-even at one number", ask(lambda plan: pp.break_even(plan, plan, 5))),
    ("break-even from zero", ask(lambda plan: pp.break_even(plan, plan, np.arange(5)))),
    ("break-even at halves", ask(lambda plan: pp.break_even(plan, plan, [1, 1.5, 2]))),
    ("break-even in words", ask(lambda plan: pp.break_even(plan, plan, "1 to 10"))),
    (
        "break-even that cannot be",
        plans(lambda p: pp.break_even(p["printed_mould"], p["printed_metal"], [1, 2]), "AZ91D"),
    ),
    ("rank a list", plans(lambda p: pp.rank(list(p.values())))),
    ("rank a table of things that are no plans", lambda folder: pp.rank({"printed_mould": 12.0})),
    ("two kits and a half", lambda folder: small_job(2.5)),
    ("quantities of which one is no whole number", lambda folder: small_job(np.array([1, 1.5, 2]))),
    ("rank one plan", ask(lambda plan: pp.rank(plan))),
    ("a negative price of a day", plans(lambda p: pp.rank(p, price_of_day=-1.0))),
    ("a price of a day in words", plans(lambda p: pp.rank(p, price_of_day="high"))),
    ("a price of a day that is no number", plans(lambda p: pp.rank(p, price_of_day=float("nan")))),
    ("no price of a day", plans(lambda p: pp.rank(p, price_of_day=None))),
    ("rank arrays", lambda folder: pp.rank(pp.plan_all(small_job([1, 2]), demo_rates()))),
    ("winners of arrays", lambda folder: pp.flip_prices(pp.plan_all(small_job([1, 2]), demo_rates()))),
    ("winners of nothing at all", lambda folder: pp.flip_prices(None)),
    ("compare from nowhere", plans(lambda p: comparison(p).table())),
    ("compare a list", plans(lambda p: comparison(list(p)))),
]
