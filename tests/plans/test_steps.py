"""The step engine: published cost examples, sums that must close, arrays, and the calendar of batches."""

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.entries import PRICES as PAID
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError
from pourprint.plans.steps import BATCH, JOB, Level, Work
from pourprint.risk.simulation import simulate
from scenes import DEMO, PART, ROUND_THE_CLOCK, ROUTES, bracket, demo_kit, demo_rates, hands, small_job, step, toy_plan

few = settings(max_examples=25)


def demo_plan(route, quantity=1, batch_size=None, rates=None):
    return pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", quantity, batch_size), rates or demo_rates())


def test_the_map_has_eleven_stages_and_counts_them_from_one():
    """The notebooks' headings and the map's rows bear these numbers: "9 Melt, pour and cool"."""
    assert [(stage.value, stage) for stage in pp.Stage] == [*enumerate(pp.Stage, 1)] and len(pp.Stage) == 11


# Published examples -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "build_h", "price", "upkeep", "before_min", "after_min", "materials", "unit_cost"),
    [
        (190, 26.8, 1_040_000, 89_000, 33, 49, {"material.shell": 0.0047 * 275.20}, 5.25),
        (75, 67.27, 101_280, 10_560, 10, 60, {"material.shell": 1.4, "material.mould_sand": 0.0016 * 216}, 4.47),
        (1056, 59.78, 340_000, 30_450, 120, 360, {"material.shell": 1725.72 / 1056}, 2.20),
    ],
    ids=["stereolithography", "fused deposition", "laser sintering"],
)
def test_three_printers_and_a_polymer_lever(parts, build_h, price, upkeep, before_min, after_min, materials, unit_cost):
    """Hopkinson & Dickens 2003, Proc. IMechE C 217:31–39 (from memory; closes on its own totals), in €.

    A machine runs 7884 h a year and is paid off in eight; N parts a build of T hours; labour 5.30 €/h. Fused
    deposition lays down 3.5 g at 400 €/kg and 1.6 g of support at 216 €/kg.
    """
    build = Level("build", lambda kits: np.ceil(kits / parts))
    plan = toy_plan(
        step("prepare and clean", Work(build, (before_min + after_min) / 60)),  # beside the machine, which runs on
        step("build", Work(build, machine_h=build_h), machine="kiln"),
        step("resin or powder", Work(PART, materials=materials)),
        quantity=parts,
        labour__technician=5.30,
        machine__kiln=(price / 8 + upkeep) / 7884,
        energy__electricity=0.0,
        material__shell=1.0,
        material__mould_sand=1.0,
    )
    assert plan.unit_cost == pytest.approx(unit_cost, abs=0.01)
    # A year of full builds makes V = 7884·N/T parts and costs what the year costs.
    assert plan.total_cost / parts == pytest.approx(
        (price / 8 + upkeep) / (7884 * parts / build_h)
        + 5.30 * (before_min + after_min) / 60 / parts
        + sum(materials.values())
    )


# Hands ------------------------------------------------------------------------------------------------


def test_two_people_side_by_side_are_paid_twice_and_take_the_time_of_one():
    """3 h for two in an attended furnace, 38 EUR/h each: paid and counted 6 h, done and the furnace held for 3 h."""
    works = [Work(BATCH, hands_on_h=3.0, people=n) for n in (1, 2)]
    one, two = (toy_plan(replace(step("pour", work, machine="kiln"), attended=True)) for work in works)
    assert (one.hands_on_h, two.hands_on_h) == (3, 6)
    assert one.machine_h == two.machine_h == 3 and one.elapsed_h == two.elapsed_h == 3
    assert two.total_cost - one.total_cost == pytest.approx(3 * one.rates["labour.technician"])
    runs = [simulate(plan, 10, inputs=None, time_spread=0.0) for plan in (one, two)]
    assert [run.cost[0] for run in runs] == pytest.approx([one.total_cost, two.total_cost])
    assert runs[0].days == pytest.approx(runs[1].days)


# Sums -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(("quantity", "batch_size"), [(1, 1), (7, 3), (10, 10)])
def test_a_plan_adds_up_to_the_cent_in_every_view(route, quantity, batch_size):
    plan = demo_plan(route, quantity, batch_size)
    table = plan.table()
    cent = pytest.approx(plan.total_cost, abs=0.005)
    assert math.fsum(table["cost"]) == cent
    assert table[["labour", "machine_cost", "material", "energy"]].to_numpy().sum() == cent
    assert math.fsum(plan.step_costs) == cent
    assert math.fsum(plan.cost_by_stage().values()) == cent
    assert plan.one_off_cost + plan.batches * plan.batch_cost == cent
    assert plan.unit_cost * quantity == cent
    assert table["hands_on_h"].sum() == pytest.approx(plan.hands_on_h)
    assert table[["machine_h", "kept_hot_h"]].to_numpy().sum() == pytest.approx(plan.machine_h)
    assert np.prod(table["first_pass_yield"]) == pytest.approx(plan.first_pass_yield)
    by_stage = table.groupby("stage", sort=False)["cost"].sum()
    assert by_stage.to_dict() == pytest.approx({s.title: cost for s, cost in plan.cost_by_stage().items()})


@pytest.mark.parametrize("route", ROUTES)
def test_a_row_of_the_table_is_hours_times_rates(route):
    rates, plan = demo_rates(), demo_plan(route, 5, 2)
    for row, one in zip(plan.table().itertuples(), plan.steps, strict=True):
        assert row.labour == pytest.approx(row.hands_on_h * rates[f"labour.{row.who}"])
        if row.machine or row.kept_hot:
            still_h = sum(
                plan.counts[w.level] * (w.cooling_h + w.unload_h + (not one.attended) * w.hands_on_h) for w in one.work
            )  # set up, cooling or being emptied a machine is held, but draws no power
            held = [(row.machine, row.machine_h, row.machine_h - still_h), (row.kept_hot, *(row.kept_hot_h,) * 2)]
            held = [each for each in held if each[0]]
            kwh = sum(rates[f"power.{name}"] * runs_h for name, _, runs_h in held)
            assert row.machine_cost == pytest.approx(sum(hours * rates[f"machine.{name}"] for name, hours, _ in held))
            assert row.energy == pytest.approx(kwh * rates["energy.electricity"])
        else:
            assert row.machine_cost == row.energy == row.machine_h == 0


PRICES = ("labour", "machine", "energy", "material", "ingot", "powder", "purchase")


def prices(rates):
    return {key: entry.value for key, entry in rates.entries.items() if key.split(".")[0] in PRICES}


@pytest.mark.parametrize("route", ROUTES)
def test_zero_rates_give_zero_labour_and_zero_prices_zero_cost(route):
    plan = demo_plan(route, 3)
    assert plan.table()["labour"].sum() > 0
    no_wages = plan.at(rates=plan.rates.replace({"labour.technician": 0.0, "labour.engineer": 0.0}))
    assert no_wages.table()["labour"].sum() == 0 and no_wages.hands_on_h == plan.hands_on_h
    assert plan.at(rates=plan.rates.replace(dict.fromkeys(prices(plan.rates), 0.0))).total_cost == 0


@few
@given(st.sampled_from(ROUTES), st.floats(0.01, 100), st.integers(1, 30))
def test_cost_is_homogeneous_of_degree_one_in_all_prices(route, factor, quantity):
    plan = demo_plan(route, quantity, 4)
    dearer = plan.at(rates=plan.rates.replace({key: factor * value for key, value in prices(plan.rates).items()}))
    assert dearer.total_cost == pytest.approx(factor * plan.total_cost)
    assert dearer.elapsed_h == plan.elapsed_h


# Saw-tooth --------------------------------------------------------------------------------------------


def test_unit_cost_jumps_exactly_where_a_new_build_begins():
    # Ruffo, Tuck & Hague 2006, Proc. IMechE B 220:1417–1427 (from memory): partly filled beds are paid whole.
    build = Level("build", lambda kits: np.ceil(kits / 5))
    n = np.arange(1, 31)
    cost = toy_plan(step("print", Work(build, machine_h=2.0), hands(0.1, PART), machine="kiln"), quantity=n).unit_cost
    rises = n[1:][np.diff(cost) > 0]
    assert rises.tolist() == [6, 11, 16, 21, 26]


LOTS = {"build", "cluster", "coat", "kiln load", "mould", "box", "plate", "melt", "furnace load", "relief load"}


@pytest.mark.parametrize("route", ROUTES)
def test_one_more_kit_costs_the_same_but_where_a_new_lot_is_begun(route):
    n = np.arange(1, 61)
    plan = pp.plan(route, small_job(n), demo_rates().replace({"printed_mould.layer_time": 0.0}))  # layers are lots too
    lots = {work.level.name: work.level for s in plan.steps for work in s.work if work.level.name in LOTS}
    new = np.any([np.diff(level.per_batch(n)) > 0 for level in lots.values()], axis=0)
    more = np.diff(plan.total_cost)
    assert new.any() and (~new).any()
    assert more[~new] == pytest.approx(more[~new][0])
    assert np.all(more[new] > more[~new][0] + 0.01)


def test_printed_metal_unit_cost_is_not_monotone():
    unit_cost = demo_plan("printed_metal", np.arange(1, 31)).unit_cost
    assert np.any(np.diff(unit_cost) > 0) and unit_cost[-1] < unit_cost[0]


def test_a_level_name_means_one_count_within_a_route():
    # Counts are kept by level name: two levels of one name and different counts would be mixed up.
    for route in ROUTES:
        seen = {}
        for level in (work.level for s in demo_plan(route).steps for work in s.work):
            counts = tuple(float(level.per_batch(kits)) for kits in (0, 1, 2, 3, 7, 50))
            assert seen.setdefault(level.name, counts) == counts, (route, level.name)


# Batches ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
def test_a_batch_larger_than_the_quantity_is_one_batch(route):
    plan, large = demo_plan(route, 3, 3), demo_plan(route, 3, 8)
    assert (large.batches, large.total_cost, large.elapsed_h) == (1, plan.total_cost, plan.elapsed_h)


@pytest.mark.parametrize("route", ROUTES)
def test_batches_of_one_cost_one_off_work_once_and_the_rest_each_time(route):
    one, four = demo_plan(route, 1, 1), demo_plan(route, 4, 1)
    assert four.batches == 4 and four.one_off_cost == pytest.approx(one.one_off_cost)
    assert four.total_cost == pytest.approx(one.one_off_cost + 4 * (one.total_cost - one.one_off_cost))


def test_without_a_batch_size_all_are_made_at_once_at_every_quantity():
    plan = demo_plan("printed_pattern", 1)
    assert plan.at(quantity=10).batches == 1
    assert plan.at(quantity=10).total_cost == pytest.approx(demo_plan("printed_pattern", 10, 10).total_cost)
    assert demo_plan("printed_pattern", 1, 1).at(quantity=10).batches == 10  # asked for: kept


# Arrays -----------------------------------------------------------------------------------------------


def assert_same_as_one_by_one(plan_of, *arrays):
    """`plan_of(*numbers)` makes a plan; cost and time of the arrays must equal those of each combination."""
    whole = plan_of(*arrays)
    shape = np.broadcast_shapes(*(np.shape(a) for a in arrays))
    assert whole.shape == np.shape(whole.total_cost) == np.shape(whole.elapsed_h) == shape
    for index in np.ndindex(shape):
        single = plan_of(*(np.broadcast_to(a, shape)[index].item() for a in arrays))
        assert whole.total_cost[index] == pytest.approx(single.total_cost, rel=1e-12)
        assert whole.unit_cost[index] == pytest.approx(single.unit_cost, rel=1e-12)
        assert whole.elapsed_h[index] == pytest.approx(single.elapsed_h, rel=1e-9)
        assert np.broadcast_to(whole.hands_on_h, shape)[index] == pytest.approx(single.hands_on_h)


@pytest.mark.parametrize("route", ROUTES)
def test_arrays_of_everything_at_once_equal_one_by_one(route):
    def plan_of(quantity, batch_size, wage, volume_cm3, final_drying):
        job = pp.Job(bracket().scaled_to(volume_cm3), "AlSi7Mg", quantity, batch_size)
        changes = {"labour.technician": wage, "shell.final_drying": final_drying}
        return pp.plan(route, job, demo_rates().replace(changes))

    quantity, batch = np.array([1, 2, 5, 12, 31]), np.array([[1], [4], [40]])
    assert_same_as_one_by_one(lambda q: plan_of(q, 4, 38.0, 60.0, 24.0), quantity)
    assert_same_as_one_by_one(lambda v: plan_of(9, 4, 38.0, v, 24.0), np.array([20.0, 60.0, 400.0]))
    wages = np.array([[[20.0]], [[60.0]]])
    assert_same_as_one_by_one(lambda q, b, w: plan_of(q, b, w, 60.0, 24.0), quantity, batch, wages)
    if route in ("printed_pattern", "tooled_pattern"):  # a wait costs nothing, but its array has a shape too
        assert_same_as_one_by_one(lambda q, d: plan_of(q, 4, 38.0, 60.0, d), quantity, np.array([[12.0], [30.0]]))


@pytest.mark.parametrize("route", ROUTES)
def test_every_number_of_the_card_may_be_an_array(route):
    job, rates = small_job(3, 2), demo_rates()
    nominal = pp.plan(route, job, rates)
    for key, entry in rates.entries.items():
        values = np.array([entry.value, 0.97 * entry.value, entry.high])
        if "casting_grade" in key:
            values = np.rint(values)
        plan = nominal.at(rates=rates.replace({key: values}))
        for i, value in enumerate(values):
            single = nominal.at(rates=rates.replace({key: value}))
            assert np.broadcast_to(plan.total_cost, 3)[i] == pytest.approx(single.total_cost), key
            assert np.broadcast_to(plan.first_pass_yield, 3)[i] == pytest.approx(single.first_pass_yield), key
            if i != 1:  # two of three are enough for the slower clock
                assert np.broadcast_to(plan.elapsed_h, 3)[i] == pytest.approx(single.elapsed_h), key


def test_views_of_an_array_are_refused_in_a_sentence():
    plan = demo_plan("printed_pattern", np.arange(1, 4))
    for view in (plan.table, plan.timeline, plan.spans):
        with pytest.raises(InputError, match="array"):
            view()


# Time -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
def test_more_kits_seldom_take_less_time_and_never_by_more_than_a_working_day(route):
    # Nobody looks ahead (see `scheduler`): one kit more may load a machine at a better moment. Of these 155 steps from
    # one quantity to the next a few fall, by a working day at most, which may have a weekend before it. In one large
    # batch one build more also means shorter builds, which can use the nights better.
    falls = [np.diff(demo_plan(route, np.arange(1, 33), batch).elapsed_h) for batch in (1, 2, 3, 5, 8)]
    falls = -np.concatenate(falls)
    assert np.count_nonzero(falls > 1e-6) <= 5 and falls.max() <= 24 + 48


@few
@given(st.lists(st.floats(0.5, 50), min_size=1, max_size=6), st.integers(1, 20))
def test_identical_batches_follow_the_flow_line_formula(times_h, n):
    """Makespan of n identical jobs through a line of machines: Σt + (n − 1)·max t (textbook; exact)."""
    machines = ("kiln", "saw", "wax_press", "metal_printer", "sand_printer", "pattern_printer")
    steps = [step(m, Work(BATCH, machine_h=t), machine=m) for m, t in zip(machines, times_h, strict=False)]
    plan = toy_plan(*steps, quantity=3 * n, batch_size=3, hours=ROUND_THE_CLOCK)
    assert plan.elapsed_h == pytest.approx(sum(times_h) + (n - 1) * max(times_h))


def test_one_person_is_one_resource_however_many_steps_share_them():
    steps = [step("cut", hands(2)), step("file", hands(3))]
    plan = toy_plan(*steps, quantity=4, batch_size=1, hours=ROUND_THE_CLOCK)
    assert plan.elapsed_h == pytest.approx(4 * (2 + 3))


@pytest.mark.parametrize("n", range(1, 13))
def test_one_person_makes_one_batch_of_a_day_each_working_day(n):
    plan = toy_plan(step("file", hands(8)), quantity=n, batch_size=1)
    weeks, days = divmod(n - 1, 5)  # by hand: the n-th working day from a Monday on, 8 to 16
    assert plan.elapsed_h == pytest.approx(weeks * 168 + days * 24 + 8)
    assert pd.Timestamp(pp.lead_time(plan, "2026-11-02T08:00").finish) == pd.Timestamp(
        "2026-11-02T16:00"
    ) + pd.Timedelta(days=7 * weeks + days)


def test_an_attended_machine_runs_on_alone_at_night():
    # Eight hours by hand, 16 h alone to the next morning: Monday to Friday five, the sixth from Monday to Tuesday 8:00.
    plan = toy_plan(step("saw", Work(BATCH, 8.0, 16.0), machine="saw", attended=True), quantity=6, batch_size=1)
    assert plan.elapsed_h == pytest.approx(8 * 24)
    # Round the clock the machine itself is what the batches wait for.
    day_and_night = plan.at(rates=plan.rates.with_hours(ROUND_THE_CLOCK))
    assert day_and_night.elapsed_h == pytest.approx(6 * 24)


def test_waiting_of_one_batch_goes_on_beside_the_next():
    plan = toy_plan(step("dip", Work(BATCH, 1.0, wait_h=10)), quantity=5, batch_size=1, hours=ROUND_THE_CLOCK)
    assert plan.elapsed_h == pytest.approx(11 + 4 * 1)


def test_a_week_worked_by_hand():
    """Thu 14–16 and Fri 8–10 four hours by hand; 60 h machine to Sun 22; hands from Mon 8 to 9; 24 h drying."""
    steps = [
        step("set up", hands(4)),
        step("print", Work(BATCH, machine_h=60), machine="kiln"),
        step("clean", Work(BATCH, 1.0, wait_h=24)),
    ]
    plan = toy_plan(*steps)
    finish = pp.lead_time(plan, "2026-11-05T14:00").finish  # a Thursday
    assert pd.Timestamp(finish) == pd.Timestamp("2026-11-10T09:00")
    table = plan.at(start="2026-11-05T14:00").timeline()
    assert table["begin"].tolist() == [pd.Timestamp(t) for t in ("2026-11-05T14", "2026-11-06T10", "2026-11-09T08")]
    assert table["end"].tolist() == [pd.Timestamp(t) for t in ("2026-11-06T10", "2026-11-08T22", "2026-11-10T09")]


def test_rounds_take_hands_again_each_time():
    """Three coats, each 1 h by hand and 20 h drying: Mon 8–9, Tue 5; Tue 8–9, Wed 5; Wed 8–9, Thu 5."""
    coat = Level("coat", lambda kits: 3 * np.minimum(kits, 1))
    plan = toy_plan(step("dip", Work(coat, 1.0, wait_h=20), rounds=coat.per_batch))
    assert plan.elapsed_h == pytest.approx(3 * 24 + 5 - 8)
    assert plan.hands_on_h == 3 and plan.table()["wait_h"].item() == 60


@pytest.mark.parametrize("card", ["rates.toml", "rates_buying.toml"])
@pytest.mark.parametrize("alloy", ["AlSi7Mg", "316L"])
@pytest.mark.parametrize("route", ROUTES)
def test_at_other_prices_the_work_is_the_same_and_at_other_hours_it_is_not(route, alloy, card):
    """Asked again at other prices, a plan equals one that is made anew: amounts, costs and days."""
    card, draw = pp.RateCard.load(DEMO / card), np.random.default_rng(7)
    plan = pp.plan(route, pp.Job(demo_kit(), alloy, 3, 2), card)
    prices = {key: entry.value * draw.uniform(0.3, 3) for key, entry in card.entries.items() if entry.kind in PAID}
    for key in ("", *(key for key in prices if key.startswith("buy."))):  # all at once; and what may have a least
        dear = card.replace({key: prices[key] + 1.0} if key else prices)
        again, anew = plan.at(rates=dear), pp.plan(route, plan.job, dear)
        assert again.amounts == anew.amounts and again.step_costs == anew.step_costs
        assert again.lead_time_days == anew.lead_time_days
    slow = card.replace({key: 2 * entry.value for key, entry in card.entries.items() if entry.kind == Kind.TIME})
    assert plan.at(rates=slow).hands_on_h == pp.plan(route, plan.job, slow).hands_on_h > plan.hands_on_h
    others = card.with_hours(ROUND_THE_CLOCK)
    assert plan.at(rates=others).lead_time_days == pp.plan(route, plan.job, others).lead_time_days


def test_one_off_work_is_done_once_before_the_first_batch():
    steps = [step("design", hands(3, JOB)), step("make", hands(2))]
    plan = toy_plan(*steps, quantity=2, batch_size=1, hours=ROUND_THE_CLOCK)
    assert plan.hands_on_h == 3 + 2 * 2 and plan.elapsed_h == pytest.approx(3 + 2 * 2)


def test_holidays_and_delivery_move_the_date():
    plan = toy_plan(step("make", hands(10)))
    assert pd.Timestamp(pp.lead_time(plan, "2026-12-23T08:00").finish) == pd.Timestamp("2026-12-24T10:00")
    holidays = replace(plan.rates.hours, holidays=(dt.date(2026, 12, 24), dt.date(2026, 12, 25)))
    closed = pp.lead_time(plan, "2026-12-23T08:00", plan.rates.with_hours(holidays))
    assert pd.Timestamp(closed.finish) == pd.Timestamp("2026-12-28T10:00")  # 24, 25 off, then a weekend
    assert closed.days == pytest.approx(5 + 2 / 24)
    sent = pp.lead_time(plan.at(delivery_days=2), "2026-12-23T08:00")
    assert pd.Timestamp(sent.finish) == pd.Timestamp("2026-12-26T10:00")
    assert plan.at(delivery_days=2).total_cost == plan.total_cost


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize("start", ["2026-11-25T08:00", "2026-12-18T13:30", "2026-11-28T11:00"])
def test_the_timeline_is_in_order_and_ends_at_the_lead_time(route, start):
    plan = demo_plan(route, 2)
    table, lead = plan.at(start=start).timeline(), pp.lead_time(plan, start)
    assert (table["end"] >= table["begin"]).all()
    assert (table["begin"].iloc[1:].to_numpy() >= table["end"].iloc[:-1].to_numpy()).all()
    assert table["begin"].iloc[0] >= pd.Timestamp(start)
    assert abs(table["end"].iloc[-1] - pd.Timestamp(lead.finish)) <= pd.Timedelta(minutes=1)  # rounded to it
    assert list(table["step"]) == [s.name for s in plan.steps]


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(("quantity", "batch_size"), [(4, 4), (9, 4), (3, 8), (1, 1)])
def test_a_schedule_holds_the_first_batch_and_ends_with_the_last(route, quantity, batch_size):
    start = "2026-12-18T13:30"
    plan = demo_plan(route, 1).at(quantity=quantity, batch_size=batch_size, start=start)
    spans, days = plan.schedule()
    assert days == pytest.approx(pp.lead_time(plan, start).days, abs=1e-9)
    alone = plan.at(quantity=min(quantity, batch_size)).schedule()[0]
    assert [s.step.name for s in spans] == [s.step.name for s in alone]
    assert all(s.end_h >= a.end_h - 1e-9 for s, a in zip(spans, alone, strict=True))  # others may be loaded before


@pytest.mark.parametrize("route", ROUTES)
def test_hands_work_only_in_working_hours(route):
    plan, start = demo_plan(route, 3), pd.Timestamp("2026-12-21T08:00")
    hours = plan.rates.hours
    for span in plan.at(start=start).spans():
        assert span.ready_h <= span.begin_h + 1e-9 <= span.worked_h + 2e-9 <= span.ran_h + 3e-9 <= span.end_h + 4e-9
        if span.worked_h > span.begin_h:
            for at in (span.begin_h + 0.001, span.worked_h - 0.001):
                moment = start + pd.Timedelta(hours=at)
                assert f"{moment:%a}" in hours.days and moment.date() not in hours.holidays
                assert hours.start_h <= moment.hour + moment.minute / 60 < hours.end_h


def test_further_batches_stand_in_a_last_row():
    plan = demo_plan("printed_mould", 5, 2)
    table = plan.at(start="2026-11-25T08:00").timeline()
    finish = pd.Timestamp(pp.lead_time(plan, "2026-11-25T08:00").finish)
    assert table["step"].iloc[-1] == "2 further batches"
    assert abs(table["end"].iloc[-1] - finish) <= pd.Timedelta(minutes=1)
    # They begin while the first goes on: its hands are not at it all the time.
    assert table["begin"].iloc[0] < table["begin"].iloc[-1] < table["end"].iloc[-2]


@pytest.mark.parametrize("route", ROUTES)
def test_a_seven_day_week_is_never_slower_and_never_dearer(route):
    plan = demo_plan(route, 4, 2)
    week = plan.at(rates=plan.rates.with_hours(ROUND_THE_CLOCK))
    assert week.elapsed_h < plan.elapsed_h and week.total_cost == plan.total_cost
    assert week.elapsed_h >= max(week.hands_on_h / 2, 1)  # no more than all hands in parallel with nothing


@pytest.mark.parametrize("route", ROUTES)
def test_a_table_shows_no_remains_of_rounding_and_adds_up(route):
    plan = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates())
    table = plan.table()
    costs = table[["labour", "machine_cost", "material", "energy"]]
    assert not ((costs.abs() > 0) & (costs.abs() < 1e-9)).any(axis=None) and (costs >= 0).all(axis=None)
    assert costs.to_numpy().sum() == pytest.approx(plan.total_cost, rel=1e-12)
