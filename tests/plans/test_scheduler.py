"""The one clock: textbook flow shops and bounds, weekends worked by hand, and an independent event loop in SimPy."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.plans import days as days_module
from pourprint.plans import dispatch
from pourprint.plans.orders import Order, Task, Workshop
from pourprint.risk.simulation import simulate
from scenes import DEMO, PRINTED, ROUND_THE_CLOCK, ROUTES, demo_kit, demo_rates, step
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


@st.composite
def jobs_and_cards(draw):
    """Any kit by numbers, or the demo's; alloy, quantity, batches, hours of work, start, made here or bought."""
    kit = demo_kit()
    if draw(st.booleans()):
        volumes = draw(st.lists(st.floats(5.0, 500.0), min_size=1, max_size=3))
        sides = [16 * volume ** (1 / 3) for volume in volumes]
        parts = [
            pp.Part.from_numbers(f"part {i}", volume, 4.5 * volume, (side, 0.7 * side, 1.4 * side))
            for i, (volume, side) in enumerate(zip(volumes, sides, strict=True))
        ]
        kit = pp.Kit("any kit", tuple(pp.KitPart(part, draw(st.sampled_from([1, 2, 5]))) for part in parts))
    quantity = draw(st.sampled_from([1, 2, 3, 5, 8, 13, 30]))
    batch = draw(st.sampled_from([size for size in (1, 2, 3, quantity) if size <= quantity]))
    job = pp.Job(kit, draw(st.sampled_from(["AlSi7Mg", "AlSi10Mg", "316L", "17-4PH", "Ti-6Al-4V"])), quantity, batch)
    rates = draw(st.sampled_from([demo_rates(), pp.RateCard.load(DEMO / "rates_buying.toml")]))
    if draw(st.booleans()):
        week = draw(st.sampled_from(["Mon Tue Wed Thu Fri Sat Sun", "Mon Tue Wed Thu Fri Sat", "Tue Wed Thu"]))
        opens, open_h = draw(st.sampled_from([(7.0, 6.0), (8.0, 13.0), (10.5, 9.0)]))
        rates = rates.with_hours(pp.WorkingHours(tuple(week.split()), opens, opens + open_h))
    start = MONDAY + dt.timedelta(days=draw(st.integers(0, 365)), hours=draw(st.sampled_from([0, 2, 7])))
    return job.with_(start=start), rates


@settings(max_examples=60)  # a busy machine
@given(jobs_and_cards(), st.sampled_from(ROUTES))
@example((pp.Job(demo_kit(), "17-4PH", 2, 2, start=MONDAY), demo_rates()), "printed_metal")  # two kinds of furnace load
def test_cost_and_days_of_any_job_are_those_of_an_independent_event_loop(asked, route):
    job, rates = asked
    try:
        plan = pp.plan(route, job, rates)
    except pp.Infeasible:
        return
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
    plan = sure(pp.plan(route, pp.Job(part, "AlSi7Mg", quantity, batch_size, start="2026-11-25T08:00"), demo_rates()))
    days = plan.lead_time_days
    assert pp.lead_time(plan, plan.begin).days == plan.schedule()[1] == days
    order = Workshop(plan.rates.hours).schedule([Order.of(plan, plan.begin)])
    runs = simulate(plan, 3, inputs=None, time_spread=0.0)
    _, floor_days = Floor(plan).run()
    assert (order.flow_days[0], runs.days[0], floor_days) == pytest.approx((days,) * 3, abs=MINUTE)


@pytest.mark.parametrize("people", [1, 2])
@pytest.mark.parametrize(("quantity", "batch_size"), [(2, 2), (6, 2)])
def test_three_orders_in_one_shop_are_those_of_the_event_loop(quantity, batch_size, people):
    plans = [plan_of(route, quantity, batch_size).at(start="2026-11-25T08:00") for route in PRINTED]
    places = {"labour.technician": people, "labour.engineer": people}
    timeline = Workshop(plans[0].rates.hours, places=places).schedule([Order.of(plan, plan.begin) for plan in plans])
    _, days = Floor(*plans, people=people).run()
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
@settings(max_examples=25)
def test_a_flow_line_is_its_textbook_recursion(hours):
    jobs = {str(i): each for i, each in enumerate(hours)}
    assert flow_shop(jobs, [*jobs]) == pytest.approx(flow_line(jobs, [*jobs]))
    assert flow_shop(jobs, palmer(jobs)) == pytest.approx(flow_line(jobs, palmer(jobs)))


@given(st.lists(st.integers(1, 30), min_size=1, max_size=9), st.integers(1, 3))
@settings(max_examples=25)
def test_a_list_schedule_keeps_grahams_bound(hours, kilns):
    """Graham 1969: on m machines alike a list schedule takes at most 2 − 1/m times the best, which is at least
    the longest job and the load over m."""
    orders = [Order(str(i), MONDAY, ((Task(step("fire", machine="kiln"), machine_h=h),),)) for i, h in enumerate(hours)]
    made = max(Workshop(ROUND_THE_CLOCK, places={"machine.kiln": kilns}).schedule(orders).done_h)
    least = max(max(hours), sum(hours) / kilns)
    assert least - 1e-9 <= made <= (2 - 1 / kilns) * least + 1e-9


@pytest.mark.parametrize("hours", [0.25, 0.5, 1.0])
def test_loads_of_a_quarter_of_an_hour_queue_at_a_machine_as_long_ones_do(hours):
    """By hand: three on one machine take three times as long as one, whatever runs: the load or its unloading."""
    for task in (Task(step("fire", machine="kiln"), machine_h=hours), Task(KILN, unload_h=hours)):
        orders = [Order(name, MONDAY, ((task,),)) for name in "ABC"]
        found = Workshop(ROUND_THE_CLOCK, places={"labour.technician": 3}).schedule(orders).done_h
        assert found == pytest.approx(hours * np.array([1, 2, 3]))


# The calendar, worked by hand -------------------------------------------------------------------------------

KILN = step("fire", machine="kiln")
POUR = replace(step("pour", machine="melting_furnace"), attended=True, whole=True, within_h=0.0)


def begins_and_ends(*tasks, arrives):
    timeline = Workshop().schedule([Order("A", arrives, (tasks,))])
    return [
        f"{row.begin:%a %H:%M} {row.hands_free:%a %H:%M} {row.end:%a %H:%M}" for row in timeline.table().itertuples()
    ]


def test_a_shell_ready_in_the_night_is_fired_later_and_poured_hot_on_monday_morning():
    """Fri 6 Nov 14:00: the kiln is loaded in half an hour and fires 4 h; the pour of 2 h is for Mon 8:00, when somebody
    is there. Its clock starts the kiln so that it is done just then."""
    assert begins_and_ends(Task(KILN, 0.5, 4.0), Task(POUR, 2.0), arrives=dt.datetime(2026, 11, 6, 14)) == [
        "Fri 14:00 Fri 14:30 Mon 08:00",
        "Mon 08:00 Mon 10:00 Mon 10:00",
    ]
    # Loaded at 8:00 it is done at 12:30, and poured there and then.
    assert begins_and_ends(Task(KILN, 0.5, 4.0), Task(POUR, 2.0), arrives=MONDAY) == [
        "Mon 08:00 Mon 08:30 Mon 12:30",
        "Mon 12:30 Mon 14:30 Mon 14:30",
    ]


def test_what_no_clock_can_start_later_is_begun_later():
    """3 h of mixing from Fri 12:00 end at 15:00, but the 2 h that must follow within 15 min no longer fit into Friday:
    all of it is done on Monday."""
    cast = replace(step("ram"), whole=True, within_h=0.25)
    assert begins_and_ends(Task(step("mix"), 3.0), Task(cast, 2.0), arrives=dt.datetime(2026, 11, 6, 12)) == [
        "Mon 08:00 Mon 11:00 Mon 11:00",
        "Mon 11:00 Mon 13:00 Mon 13:00",
    ]


def test_a_machine_is_held_until_somebody_unloads_it():
    """Loaded Fri 15:00 to 15:30, run until 20:30; unloaded on Mon 8:00 to 8:30; only then is the next one loaded."""
    both = [Order(name, dt.datetime(2026, 11, 6, 15), ((Task(KILN, 0.5, 5.0, unload_h=0.5),),)) for name in "AB"]
    slots = Workshop().schedule(both).table()
    assert [f"{t:%a %H:%M}" for t in (*slots["begin"], *slots["machine_free"])] == [
        *("Fri 15:00", "Mon 08:30"),
        *("Mon 08:30", "Mon 14:30"),
    ]


def test_bench_work_is_laid_down_to_load_a_machine_and_a_pour_is_not():
    """A files for 6 h from 8:00; at 10:00 B's kiln is to be loaded for 1 h: A is laid down, and done at 15:00."""
    kiln = Order("B", MONDAY + dt.timedelta(hours=2), ((Task(KILN, 1.0, 5.0),),))
    begins = Workshop().schedule([Order("A", MONDAY, ((Task(step("file"), 6.0),),)), kiln]).table()
    assert [f"{row.order} {row.begin:%H:%M} {row.hands_free:%H:%M}" for row in begins.itertuples()] == [
        "A 08:00 15:00",
        "B 10:00 11:00",
    ]
    pour = Order("A", MONDAY, ((Task(replace(POUR, within_h=np.inf), 6.0),),))
    begins = Workshop().schedule([pour, kiln]).table()
    assert [f"{row.order} {row.begin:%H:%M} {row.hands_free:%H:%M}" for row in begins.itertuples()] == [
        "A 08:00 14:00",
        "B 14:00 15:00",
    ]


# What must always hold ------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize("alloy", sorted(pp.alloys()))
def test_over_a_year_nothing_is_left_alone_or_cold_through_a_night(route, alloy):
    """Work in one go begins and ends on one working day, and follows what is handed over hot at once."""
    plan = pp.plan_all(pp.Job(demo_kit(), alloy, 2, 1), demo_rates(), routes=(route,))[route]
    if not plan.feasible:
        pytest.skip(plan.reason)
    for day in range(0, 365, 2):
        start = dt.datetime(2026, 1, 1, 8 + day % 8) + dt.timedelta(days=day)
        spans = plan.at(start=start).spans()
        for before, span in zip((None, *spans), spans, strict=False):
            if span.step.whole:
                (from_h, to_h), *more = span.hands
                begins = start + dt.timedelta(hours=from_h)
                assert not more and begins.hour + begins.minute / 60 + to_h - from_h <= plan.rates.hours.end_h + 0.02
                assert f"{begins:%a}" in plan.rates.hours.days and begins.date() not in plan.rates.hours.holidays
            if span.step.within_h < np.inf:
                assert span.begin_h == pytest.approx(before.end_h, abs=1e-6)


@pytest.mark.parametrize("route", PRINTED)
@pytest.mark.parametrize("quantity", [4, 20])
def test_no_job_is_done_before_the_busiest_has_done_their_share(route, quantity):
    plan = plan_of(route, quantity, 2)
    by_hand = {}
    for each in plan.steps:
        hours = sum(plan.counts[work.level] * work.by_hand_h for work in each.work)
        by_hand[each.who] = by_hand.get(each.who, 0.0) + hours
    weeks, rest_h = divmod(max(by_hand.values()), 40)
    assert plan.lead_time_days >= 7 * weeks + rest_h // 8


@pytest.mark.parametrize("route", PRINTED)
def test_a_steady_pace_has_set_in_before_it_is_taken(route, monkeypatch):
    """160 batches, of which the last sixty go at the pace of the fifty before them, against the whole schedule."""
    plan = plan_of(route, 160, 1)
    said = plan.lead_time_days
    monkeypatch.setattr(days_module, "STEADY", 160)
    assert said == pytest.approx(days_module.days_of(plan), rel=0.01)


@pytest.mark.parametrize("route", PRINTED)
@pytest.mark.parametrize("quantity", [1, 30])
def test_what_is_led_is_weighed_with_its_rounds(monkeypatch, route, quantity):
    """Forty plates one after the other are forty times the work of one: the timeline says how many rounds there are."""
    asked, plan = [], plan_of(route, quantity).at(start=MONDAY)
    monkeypatch.setattr(dispatch, "plainly", lambda visits: asked.append(visits) or True)
    days_module.days_of(plan)
    rounds = plan.timeline()["rounds"].sum()  # which asks nobody: it keeps a log
    assert asked == [rounds]


def test_more_hands_do_not_make_these_jobs_later_though_they_can():
    """Graham 1969 (from memory): in a list schedule a hand more may end a job later. By hand: alone, A is filed (2 h),
    sawn (4 h) and dries (20 h): done after 26 h, B after 17. A second technician files B at once (1 h), and B takes the
    saw for 10 h before A comes to it: A is done after 11 + 4 + 20 = 35 h."""
    for route in PRINTED:
        order = Order.of(plan_of(route, 8, 2), MONDAY)
        one, two, three = (Workshop(places={"labour.technician": n}).schedule([order]).flow_days[0] for n in (1, 2, 3))
        assert one >= two >= three
        assert one > three or route == "printed_metal"  # whose printer is what all wait for
    file, saw = step("file"), step("saw", machine="saw")
    older = Order("A", MONDAY, ((Task(file, 2.0), Task(saw, 4.0), Task(step("dry"), wait_h=20.0)),))
    jobs = [older, Order("B", MONDAY, ((Task(file, 1.0), Task(saw, 10.0)),))]
    shops = (Workshop(ROUND_THE_CLOCK, places={"labour.technician": n}) for n in (1, 2))
    assert [max(shop.schedule(jobs).done_h) for shop in shops] == pytest.approx([26, 35])


def test_one_kit_more_may_end_a_job_sooner_as_notebook_06_says():
    fours = pp.plan("printed_pattern", pp.Job(demo_kit(), "AlSi7Mg", np.array([33, 34]), 4), demo_rates())
    later, sooner = fours.lead_time_days
    assert sooner < later - 0.5
    for kits, days in ((33, later), (34, sooner)):  # and the event loop, written in its own words, says the same
        assert Floor(fours.at(quantity=kits)).run()[1] == pytest.approx(days, abs=1 / 1440)


def test_money_is_held_hours_times_rates():
    for plan in pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4, 2), demo_rates()).values():
        held = {}
        for each in plan.steps:
            for work in each.work:
                if each.machine:
                    hours = plan.counts[work.level] * work.held_h
                    held[each.machine] = held.get(each.machine, 0.0) + hours
                if each.keeps:  # until the last hands are done with what is hot
                    hours = plan.counts[work.level] * work.by_hand_h
                    held[each.keeps] = held.get(each.keeps, 0.0) + hours
        paid = sum(hours * plan.rates[f"machine.{name}"] for name, hours in held.items())
        assert plan.table()["machine_cost"].sum() == pytest.approx(paid)
