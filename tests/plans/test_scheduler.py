"""The one clock: textbook flow shops and bounds, weekends worked by hand, and an independent event loop in SimPy."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.plans.workshop import Order, Task, Workshop
from pourprint.risk.runs import simulate
from scenes import PRINTED, ROUND_THE_CLOCK, ROUTES, demo_kit, demo_rates, step
from shop_floor import Floor

MONDAY = dt.datetime(2026, 11, 2, 8)
MINUTE = 1 / 60 / 24  # [d]


def plan_of(route, quantity, batch_size=None, alloy="AlSi7Mg"):
    return pp.plan(route, pp.Job(demo_kit(), alloy, quantity, batch_size), demo_rates())


def sure(plan):
    """The same with yields of one."""
    yields = {key: 1.0 for key, entry in plan.rates.entries.items() if entry.kind == "yield"}
    return plan.at(rates=plan.rates.replace(yields))


# An event loop in other words -------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(("quantity", "batch_size"), [(1, 1), (4, 4), (4, 2), (9, 2), (20, 4), (20, 1)])
def test_days_are_those_of_an_independent_event_loop(route, quantity, batch_size):
    plan = plan_of(route, quantity, batch_size)
    cost, days = Floor(plan).run()
    assert plan.lead_time_days == pytest.approx(days, abs=MINUTE)
    assert plan.total_cost == pytest.approx(cost)


@pytest.mark.parametrize(
    ("part", "quantity", "batch_size"),
    [(pp.Part.from_numbers("big", 300, 900, (120, 110, 120)), 40, 2), (demo_kit(), 20, 4)],
    ids=["a big part", "rover kits"],
)
@pytest.mark.parametrize("route", PRINTED)
def test_plan_workshop_and_runs_tell_the_same_days(route, part, quantity, batch_size):
    plan = sure(pp.plan(route, pp.Job(part, "AlSi7Mg", quantity, batch_size), demo_rates()))
    start = "2026-11-25T08:00"
    days = plan.days(start)
    assert pp.lead_time(plan, start).days == plan.schedule(start)[1] == days
    order = Workshop(plan.rates.hours).schedule([Order.of(plan, start)])
    runs = simulate(plan, 3, start=start, inputs=None, time_spread=0.0)
    _, floor_days = Floor(plan, start=dt.datetime.fromisoformat(start)).run()
    assert (order.flow_days[0], runs.days[0], floor_days) == pytest.approx((days,) * 3, abs=MINUTE)


@pytest.mark.parametrize("people", [1, 2])
@pytest.mark.parametrize(("quantity", "batch_size"), [(2, 2), (6, 2)])
def test_three_orders_in_one_shop_are_those_of_the_event_loop(quantity, batch_size, people):
    plans = [plan_of(route, quantity, batch_size) for route in PRINTED]
    hours, start = plans[0].rates.hours, dt.datetime(2026, 11, 25, 8)
    places = {"labour.technician": people, "labour.engineer": people}
    timeline = Workshop(hours, places=places).schedule([Order.of(plan, start.isoformat()) for plan in plans])
    _, days = Floor(*plans, start=start, people=people).run()
    assert timeline.flow_days == pytest.approx(days, abs=MINUTE)


# Textbooks ------------------------------------------------------------------------------------------------


def flow_shop(jobs, order):
    """Makespan [h] of jobs through machines in a line, {name: hours at each}, begun in an order."""
    machines = ("kiln", "saw", "wax_press", "metal_printer", "sand_printer")
    chains = {
        name: [Task(step(m, machine=m), machine_h=h) for m, h in zip(machines, hours, strict=False)]
        for name, hours in jobs.items()
    }
    orders = [Order(name, MONDAY, (tuple(chains[name]),)) for name in order]
    return max(Workshop(ROUND_THE_CLOCK).schedule(orders).done_h)


def flow_line(jobs, order):
    """The same by the recursion C(i, m) = max(C(i − 1, m), C(i, m − 1)) + p (textbook; exact)."""
    free = np.zeros(len(jobs[order[0]]))
    for name in order:
        ready = 0.0
        for machine, hours in enumerate(jobs[name]):
            free[machine] = ready = max(free[machine], ready) + hours
    return free[-1]


def johnson(jobs):
    """Johnson 1954 (from memory): short first operations rising, then short second ones falling."""
    first = sorted((n for n in jobs if jobs[n][0] <= jobs[n][1]), key=lambda n: jobs[n][0])
    return first + sorted((n for n in jobs if jobs[n][0] > jobs[n][1]), key=lambda n: -jobs[n][1])


def palmer(jobs):
    """Palmer 1965 (from memory): by slope index, largest first; weights −(M − 1), …, M − 1 in steps of two."""
    machines = len(next(iter(jobs.values())))
    weights = 2 * np.arange(machines) - (machines - 1)
    return sorted(jobs, key=lambda name: -float(np.dot(weights, jobs[name])))


def test_johnsons_order_gives_the_least_makespan_of_two_machines():
    # A textbook example (from memory): 3-6, 7-2, 4-7, 5-3, 7-4; Johnson's order 1, 3, 5, 4, 2 takes 28.
    jobs = {"1": (3, 6), "2": (7, 2), "3": (4, 7), "4": (5, 3), "5": (7, 4)}
    assert "".join(johnson(jobs)) == "13542"
    assert flow_shop(jobs, johnson(jobs)) == pytest.approx(28)


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9), st.integers(1, 9)), min_size=2, max_size=6))
@settings(max_examples=25, deadline=None)
def test_a_flow_line_is_its_textbook_recursion(hours):
    jobs = {str(i): each for i, each in enumerate(hours)}
    assert flow_shop(jobs, [*jobs]) == pytest.approx(flow_line(jobs, [*jobs]))
    assert flow_shop(jobs, palmer(jobs)) == pytest.approx(flow_line(jobs, palmer(jobs)))


@given(st.lists(st.integers(1, 30), min_size=1, max_size=9), st.integers(1, 3))
@settings(max_examples=25, deadline=None)
def test_a_list_schedule_keeps_grahams_bound(hours, kilns):
    """Graham 1969: on m machines alike a list schedule takes at most 2 − 1/m times the best, which is at least
    the longest job and the load over m."""
    orders = [Order(str(i), MONDAY, ((Task(step("fire", machine="kiln"), machine_h=h),),)) for i, h in enumerate(hours)]
    made = max(Workshop(ROUND_THE_CLOCK, places={"machine.kiln": kilns}).schedule(orders).done_h)
    least = max(max(hours), sum(hours) / kilns)
    assert least - 1e-9 <= made <= (2 - 1 / kilns) * least + 1e-9
