"""The shared workshop: examples worked by hand, known results of queueing and sequencing, and the plan itself."""

import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.plans.orders import Booked, Order, Task, Workshop
from scenes import PRINTED, ROUND_THE_CLOCK, demo_kit, demo_rates, small_job, step

MONDAY = dt.datetime(2026, 11, 2, 8)
OPEN = Workshop(ROUND_THE_CLOCK)
KILN = step("fire", machine="kiln")
BENCH = step("work at the bench")


def order(name, *tasks, arrives=MONDAY, **more):
    return Order(name, arrives, (tasks,), **more)


def fires(name, hours, **more):
    return order(name, Task(KILN, machine_h=hours), **more)


# Sequencing -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rule", "mean_days"), [("first come", 16.75), ("shortest first", 15.0)])
def test_shortest_job_first_gives_the_published_mean_flow(rule, mean_days):
    # Mechanical Engineers' Handbook vol. 3, example 10 (published): times 7, 6, 8, 5 days.
    jobs = [fires(f"job {days}", 24 * days) for days in (7, 6, 8, 5)]
    assert Workshop(ROUND_THE_CLOCK, rule=rule).schedule(jobs).flow_days.mean() == pytest.approx(mean_days)


@given(st.lists(st.integers(1, 40), min_size=2, max_size=6, unique=True))
@settings(max_examples=30)
def test_on_one_machine_shortest_first_has_the_least_mean_flow_of_all_sequences(hours):
    # Smith 1956 (from memory): the shortest-processing-time rule minimises mean flow time on one machine.
    jobs = [fires(f"job {h}", h) for h in hours]
    shortest = Workshop(ROUND_THE_CLOCK, rule="shortest first").schedule(jobs).flow_days.mean()
    assert shortest <= OPEN.schedule(jobs).flow_days.mean() + 1e-9
    assert shortest == pytest.approx(np.cumsum(sorted(hours)).mean() / 24)


def test_the_earliest_date_goes_first_and_an_order_without_a_date_last():
    jobs = [fires("any time", 5), fires("late", 5, due=dt.datetime(2026, 12, 1)), fires("soon", 5, due=MONDAY)]
    slots = Workshop(ROUND_THE_CLOCK, rule="earliest date first").schedule(jobs).slots
    assert [slot.order for slot in slots] == ["soon", "late", "any time"]


def lindley(arrivals, services):
    """Waits in the queue of one server, first come first served (Lindley 1952, from memory; exact)."""
    waits = np.zeros_like(arrivals)
    for i in range(1, len(waits)):
        waits[i] = max(0.0, waits[i - 1] + services[i - 1] - (arrivals[i] - arrivals[i - 1]))
    return waits


@pytest.fixture(scope="module")
def one_queue():
    """20 000 arrivals at one machine: arrivals and services drawn here, waits as the scheduler makes them [h].

    Whoever finds nobody there knows nothing of what was before: the queue is led in parts that begin with such a one.
    """
    random = np.random.default_rng(3)
    arrivals, services = np.cumsum(random.exponential(1 / 0.8, 20_000)), random.exponential(1.0, 20_000)
    alone = np.flatnonzero(lindley(arrivals, services) == 0)
    parts, waits = [0, *alone[np.flatnonzero(np.diff(alone // 100)) + 1], len(arrivals)], {}
    for part in itertools.starmap(range, itertools.pairwise(parts)):
        jobs = [fires(str(i), services[i], arrives=MONDAY + dt.timedelta(hours=arrivals[i])) for i in part]
        waits |= {slot.order: slot.queued_h for slot in OPEN.schedule(jobs).slots}
    return arrivals, services, np.array([waits[str(i)] for i in range(len(arrivals))])


def test_each_wait_in_one_queue_is_that_of_lindleys_recursion(one_queue):
    arrivals, services, waits = one_queue
    assert waits == pytest.approx(lindley(arrivals, services), abs=1e-3)  # dates carry microseconds, sums drift


def test_the_mean_wait_of_an_mm1_queue_is_four(one_queue):
    # M/M/1, λ = 0.8, μ = 1: W_q = ρ/(μ − λ) = 4 (exact). Waits are correlated: means of 20 long blocks are not.
    blocks = one_queue[2].reshape(20, -1).mean(axis=1)
    error = blocks.std(ddof=1) / np.sqrt(len(blocks))
    assert abs(blocks.mean() - 4) < 3 * error
    assert error < 0.6  # a band so narrow that the check can fail


# The calendar, worked by hand -----------------------------------------------------------------------------


def begins_and_ends(timeline):
    table = timeline.table()
    return [f"{row.order}: {row.begin:%a %d %H:%M} to {row.end:%a %d %H:%M}" for row in table.itertuples()]


def test_a_week_with_one_technician_worked_by_hand():
    # Mon 2 Nov, 8–16. Two orders, each 6 h at the bench, then 30 h of kiln alone, then 3 h at the bench.
    tasks = (Task(BENCH, 6), Task(KILN, 0, 30), Task(BENCH, 3))
    timeline = Workshop().schedule([order("A", *tasks), order("B", *tasks)])
    assert sorted(begins_and_ends(timeline)) == [
        "A: Mon 02 08:00 to Mon 02 14:00",
        "A: Mon 02 14:00 to Tue 03 20:00",  # the kiln runs through the night
        "A: Wed 04 08:00 to Wed 04 11:00",  # ready at 20:00, nobody is there before 8:00
        "B: Mon 02 14:00 to Tue 03 12:00",  # two hours on Monday, four on Tuesday
        "B: Thu 05 08:00 to Thu 05 11:00",
        "B: Tue 03 20:00 to Thu 05 02:00",  # ready at 12:00, the kiln is busy until 20:00
    ]
    assert timeline.summary().loc["B", "days_queued"] == pytest.approx((6 + 8) / 24)


def test_a_booked_week_of_the_technician_and_a_holiday_worked_by_hand():
    # 6 h from Fri 6 Nov 12:00: four on Friday; the week of the 9th is booked, Mon 16th is a holiday; two on Tue 17th.
    hours = pp.WorkingHours(holidays=(dt.date(2026, 11, 16),))
    away = Booked("labour.technician", dt.date(2026, 11, 9), dt.date(2026, 11, 13), "trade fair")
    late = order("A", Task(BENCH, 6), arrives=dt.datetime(2026, 11, 6, 12))
    assert begins_and_ends(Workshop(hours, (away,)).schedule([late])) == ["A: Fri 06 12:00 to Tue 17 10:00"]


def test_a_machine_run_that_would_reach_into_a_booking_begins_after_it():
    # 30 h from Mon 8:00 end on Tue 14:00, but the kiln is taken from Tue 0:00 to Wed 24:00: begin on Thu 0:00.
    taken = Booked("machine.kiln", dt.date(2026, 11, 3), dt.date(2026, 11, 4))
    workshop = Workshop(booked=(taken,))
    assert begins_and_ends(workshop.schedule([fires("A", 30)])) == ["A: Thu 05 00:00 to Fri 06 06:00"]
    assert begins_and_ends(workshop.schedule([fires("A", 16)])) == ["A: Mon 02 08:00 to Tue 03 00:00"]


def test_a_second_kiln_ends_the_queue():
    jobs = [fires("A", 10), fires("B", 10)]
    assert Workshop().schedule(jobs).flow_days == pytest.approx([10 / 24, 20 / 24])
    assert Workshop(places={"machine.kiln": 2}).schedule(jobs).flow_days == pytest.approx([10 / 24, 10 / 24])


def test_an_attended_task_holds_its_machine_overnight():
    attended = step("turn", machine="machining_centre", attended=True)
    timeline = Workshop().schedule([order("A", Task(attended, 12)), order("B", Task(attended, 1))])
    assert begins_and_ends(timeline)[1] == "B: Tue 03 12:00 to Tue 03 13:00"


# Against the plan -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", PRINTED)
@pytest.mark.parametrize("start", ["2026-11-25T08:00", "2026-12-22T13:30"])
def test_an_order_alone_goes_as_its_plan_says(route, start):
    plan = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", quantity=4, delivery_days=2), demo_rates())
    timeline = Workshop(plan.rates.hours).schedule([Order.of(plan, start)])
    ours = [(s.span.step.name, s.span.ready_h, s.span.begin_h, s.span.worked_h, s.span.end_h) for s in timeline.slots]
    theirs = [(s.step.name, s.ready_h, s.begin_h, s.worked_h, s.end_h) for s in plan.at(start=start).spans()]
    assert [row[0] for row in ours] == [row[0] for row in theirs]
    assert np.array([row[1:] for row in ours]) == pytest.approx(np.array([row[1:] for row in theirs]), abs=1e-6)
    assert timeline.flow_days[0] == pytest.approx(pp.lead_time(plan, start).days)
    assert all(slot.queued_h == pytest.approx(0, abs=1e-9) for slot in timeline.slots)


@given(st.integers(1, 5), st.sampled_from(["first come", "shortest first", "earliest date first"]))
@settings(max_examples=15)
def test_nobody_and_nothing_is_ever_in_two_places(batch, rule):
    plans = pp.plan_all(small_job(6, batch), routes=PRINTED)
    orders = [Order.of(plan, "2026-11-25T08:00") for plan in plans.values()]
    timeline = Workshop(rule=rule).schedule(orders)
    for resource in timeline.load():
        machine = resource.removeprefix("machine.")
        mine = [s.span for s in timeline.slots if s.span.step.machine == machine]
        held = [(span.begin_h, span.unloaded_h) for span in mine if span.unloaded_h > span.begin_h]
        held += [piece for s in timeline.slots if s.span.step.who == resource for piece in s.span.hands]
        held.sort()
        assert all(end <= later + 1e-9 for (_, end), (later, _) in itertools.pairwise(held))
    turns = sum(task.rounds for order in orders for tasks in (order.one_off, *order.batches) for task in tasks)
    assert len(timeline.slots) == turns  # no task is lost
    works = [(plan, work) for plan in plans.values() for step in plan.steps for work in step.work]
    by_hand = sum(plan.counts[work.level] * work.by_hand_h for plan, work in works)  # two who pour, once
    office = timeline.workshop.calendar("labour.technician", timeline.start.date())
    worked = [
        closes_h - opens_h
        for slot in timeline.slots
        for from_h, to_h in slot.span.hands
        for opens_h, closes_h in office.open_spans(from_h + 8, to_h + 8)  # nobody works when it is closed
    ]
    assert sum(worked) == pytest.approx(by_hand)


def test_company_never_makes_the_first_order_quicker():
    plan = pp.plan("printed_pattern", small_job(2))
    alone = Workshop().schedule([Order.of(plan, MONDAY)]).flow_days[0]
    both = Workshop().schedule([Order.of(plan, MONDAY, "one"), Order.of(plan, MONDAY, "two")])
    assert both.flow_days.min() >= alone - 1e-9
    assert both.flow_days.max() > alone


# Input ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Workshop(rule="loudest first"), "rule must be one of"),
        (lambda: Workshop(hours="9 to 5"), "hours must be WorkingHours"),
        (lambda: Workshop(places={"machine.kiln": 1.5}), "whole number"),
        (lambda: Workshop(places={"machine.kiln": 0}), "above 0"),
        (lambda: Workshop(booked=("kiln",)), "booked must hold"),
        (lambda: Booked("kiln", dt.date(2026, 1, 1), dt.date(2026, 1, 2)), "rate key"),
        (lambda: Booked("machine.kiln", dt.date(2026, 1, 2), dt.date(2026, 1, 1)), "first ≤ last"),
        (lambda: Workshop().schedule([]), "one or more Order"),
        (lambda: Workshop().schedule([fires("A", 1), fires("A", 1)]), "same name"),
        (lambda: Order.of(pp.plan("printed_metal", small_job([1, 2])), MONDAY), "needs one quantity"),
    ],
)
def test_odd_input_is_refused_with_what_is_allowed(make, said):
    with pytest.raises(InputError, match=said):
        make()


def test_hours_of_load_by_hand_for_each_person_and_machine():
    # A kiln loaded for 1 h, firing 5 h, unloaded for 1 h, twice: held 14 h, hands 4 h of it; then 3 h at the bench.
    fired = Task(KILN, hands_on_h=1, machine_h=5, unload_h=1, rounds=2)
    load = OPEN.schedule([order("a", fired, Task(BENCH, hands_on_h=3))]).load()
    assert load == pytest.approx({"machine.kiln": 14, "labour.technician": 7})
    assert [*load] == ["machine.kiln", "labour.technician"]  # busiest first


def test_three_kilns_fire_three_orders_at_once():
    three = Workshop(ROUND_THE_CLOCK, places={"machine.kiln": 3}).schedule([fires(name, 24) for name in "abc"])
    assert three.flow_days == pytest.approx([1, 1, 1])


def test_a_date_alone_is_the_opening_of_the_first_and_the_end_of_the_last_day():
    """As everywhere else: so an order by itself takes the days of its plan."""
    plan = pp.plan("printed_mould", pp.Job(demo_kit(), "AlSi7Mg", 2, start="2027-01-11"), demo_rates())
    shop = Workshop(demo_rates().hours)
    done = shop.schedule([Order.of(plan, "2027-01-11")])
    assert done.flow_days[0] == pytest.approx(plan.lead_time_days)
    due = done.summary().loc[plan.title, "done"].date().isoformat()
    assert shop.schedule([Order.of(plan, "2027-01-11", due=due)]).summary()["days_late"].iloc[0] == 0
