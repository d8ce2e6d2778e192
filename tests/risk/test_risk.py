"""Failures, rework and uncertainty: exact where it can be, and the closed form against the simulation."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.decide.information import Samples, by_quantity, flips
from pourprint.ledger.entries import library
from pourprint.ledger.errors import InputError
from pourprint.plans.steps import BATCH, JOB, Level, Work
from pourprint.risk.rework import rework
from pourprint.risk.simulation import design_error, drawn, of_runs, simulate, simulate_all, uncertain
from pourprint.risk.yields import attempts_needed
from scenes import PART, ROUTES, demo_kit, demo_rates, hands, small_job, step, toy_plan

few = settings(max_examples=15)
SURE = {"inputs": None, "time_spread": 0.0}


def demo_plan(route, quantity=4, batch_size=None):
    return pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", quantity, batch_size), demo_rates())


def with_yields(plan, value):
    return plan.at(rates=plan.rates.replace({key: value for key in plan.rates.entries if ".yield_" in key}))


def standard_errors(values, expected):
    return abs(np.mean(values) - expected) / (np.std(values) / np.sqrt(np.size(values)))


# With nothing uncertain, the plan itself ---------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(("quantity", "batch_size"), [(1, 1), (4, 4), (10, 4), (3, 8), (6, 1)])
def test_with_yields_of_one_and_no_spread_every_run_is_the_plan(route, quantity, batch_size):
    plan = with_yields(demo_plan(route, quantity, batch_size), 1.0)
    runs = simulate(plan, 20, **SURE)
    # Sums in another order: equal but for the last digits of a float.
    assert runs.cost == pytest.approx(plan.total_cost, rel=1e-12)
    assert runs.days == pytest.approx(plan.lead_time_days, rel=1e-12)
    assert np.all(runs.attempts == 1)


@pytest.mark.parametrize("design", [(), (step("design", hands(5, JOB)),)])
def test_a_run_of_batches_without_one_off_work_or_with_one_such_step_is_the_plan_too(design):
    plan = toy_plan(
        *design, step("mould", hands(3)), step("pour", hands(2), Work(BATCH, wait_h=9)), quantity=4, batch_size=1
    )
    assert simulate(plan, 5, **SURE).days == pytest.approx(plan.lead_time_days, rel=1e-12)


@pytest.mark.parametrize("route", ROUTES)
def test_inputs_drawn_once_serve_every_quantity_and_batch_size(route):
    ready = drawn(demo_plan(route), 200)
    for quantity, batch_size in ((1, 1), (10, 4)):
        again = ready.at(quantity, batch_size).run(spares=2, design_again=0.1)
        anew = simulate(demo_plan(route, quantity, batch_size), 200, spares=2, design_again=0.1)
        assert np.array_equal(again.cost, anew.cost) and np.array_equal(again.days, anew.days)


def test_dates_and_holidays_are_the_plans_too():
    plan, start = with_yields(demo_plan("printed_mould", 10, 4), 1.0), "2026-12-14T10:30"
    runs = simulate(plan.at(start=start), 5, **SURE)
    assert runs.days == pytest.approx(pp.lead_time(plan, start).days, rel=1e-12)
    assert runs.days[0] > plan.lead_time_days + 5  # the lab's Christmas


# Closed form and simulation -----------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(("quantity", "batch_size", "again"), [(4, 4, 0.0), (5, 2, 0.0), (2, 2, 0.3)])
def test_the_markov_chain_agrees_with_the_simulation(route, quantity, batch_size, again):
    plan = demo_plan(route, quantity, batch_size)
    # Two dozen comparisons here: by chance alone one seed in fifteen would break three standard errors somewhere. The
    # seed is fixed; half a million runs of three routes showed no bias.
    exact, runs = rework(plan, again), simulate(plan, 20_000, seed=21, design_again=again, **SURE)
    assert standard_errors(runs.cost, exact.cost) < 3
    # The spread of a spread: √(2/n) of it for a normal distribution, more for tails as long as these; 6% is wide.
    assert np.std(runs.cost) == pytest.approx(exact.cost_sd, rel=0.06)
    if not again:
        makes = max(exact.visits.values())  # all failures go back to the step that makes the pieces
        assert standard_errors(runs.attempts, makes) < 3


def test_a_step_that_repeats_itself_is_a_geometric_distribution():
    # Tries until success: mean 1/p, variance (1 − p)/p² (exact); one hour of labour a try.
    plan = toy_plan(replace(step("try", hands(1.0)), first_pass_yield=0.8, spoils="batch"), labour__technician=1.0)
    exact = rework(plan)
    assert (exact.cost, exact.cost_sd**2) == pytest.approx(attempts_needed(0.8))
    assert exact.visits == pytest.approx({"try": 1.25})


def test_pieces_that_fail_one_by_one_cost_their_mean_each():
    plan = toy_plan(replace(step("try", hands(1.0, PART)), first_pass_yield=0.8), quantity=30, labour__technician=1.0)
    mean, variance = attempts_needed(0.8)
    assert (rework(plan).cost, rework(plan).cost_sd ** 2) == pytest.approx((30 * mean, 30 * variance))


def test_a_lot_is_lost_whole_and_remakes_pay_for_a_whole_one():
    # Two clusters of three; each lot fails with 1/2 and is made again alone. Solved by hand: with both lots in hand
    # A2 = 2 + A2/4 + A1/2 and A1 = 1 + A1/2, so A1 = 2, A2 = 4 lots; a seventh kit opens a third lot.
    lot = Level("cluster", lambda kits: np.ceil(kits / 3 - 1e-9))
    dip = replace(step("dip", hands(1.0, lot)), first_pass_yield=0.5, spoils="cluster")
    assert rework(toy_plan(dip, quantity=6, labour__technician=1.0)).cost == pytest.approx(4)
    assert rework(toy_plan(dip, quantity=3, labour__technician=1.0)).cost == pytest.approx(2)


def test_what_failures_cost_is_told_by_step_and_adds_up():
    for route in ROUTES:
        exact = rework(demo_plan(route), design_again=0.2)
        assert exact.cost == pytest.approx(exact.failure_free_cost + sum(exact.rework_cost.values()))
        assert exact.failure_free_cost == pytest.approx(demo_plan(route).total_cost)


@few
@given(st.sampled_from(ROUTES), st.integers(1, 6), st.floats(0.9, 1.0))
def test_better_yields_never_cost_more(route, quantity, value):
    plan = pp.plan(route, small_job(quantity), demo_rates())
    worse, better = (rework(with_yields(plan, share)) for share in (0.9, value))
    assert better.cost <= worse.cost * (1 + 1e-9)
    assert better.cost >= plan.total_cost * (1 - 1e-9)


# Draws ---------------------------------------------------------------------------------------------------------


def test_runs_repeat_with_the_seed_and_only_then():
    plan = demo_plan("printed_metal")
    one, same, other = (simulate(plan, 200, seed=seed) for seed in (1, 1, 2))
    assert np.array_equal(one.cost, same.cost) and np.array_equal(one.days, same.days)
    assert not np.array_equal(one.cost, other.cost)


def test_routes_share_the_draws_of_what_they_share():
    runs = simulate_all(pp.plan_all(small_job(2), demo_rates()), 300)
    wage = "labour.technician"
    assert all(np.array_equal(run.inputs[wage], runs["printed_metal"].inputs[wage]) for run in runs.values())
    pattern, mould = runs["printed_pattern"].cost, runs["printed_mould"].cost
    # Common numbers make differences sharper than independent ones, whose variances add.
    assert np.var(pattern - mould) < np.var(pattern) + np.var(mould)
    assert set(Samples.of(runs).cost) == set(runs)


def test_uncertain_are_prices_times_and_yields_that_the_plan_reads():
    keys = set(uncertain(demo_plan("printed_metal")))
    assert {"labour.technician", "powder.AlSi7Mg", "printed_metal.yield_print", "printed_metal.cut_rate"} <= keys
    assert not any(key.startswith(("printed_mould.", "shell.")) for key in keys)  # other routes' numbers
    assert "printed_metal.plate_x" not in keys and "printed_metal.height_limit" not in keys  # known machines


@pytest.mark.parametrize("inputs", ["triangular", "PERT", "log-normal"])
def test_uncertain_inputs_widen_the_spread_of_cost(inputs):
    plan = demo_plan("printed_mould")
    assert np.std(simulate(plan, 500, inputs=inputs).cost) > 1.5 * np.std(simulate(plan, 500, **SURE).cost)


@pytest.mark.parametrize("key", [key for key in library() if key.startswith("risk.")])
def test_every_number_of_the_risk_table_changes_something(key):
    plan, options = demo_plan("printed_metal", 1), {"inputs": None, "design_again": 0.5}
    runs = simulate(plan, 50, **options)
    changed = simulate(plan.at(rates=plan.rates.replace({key: 2 * plan.rates[key]})), 50, **options)
    assert not np.array_equal(runs.days, changed.days)


def test_spread_of_hands_on_time_keeps_the_mean_cost():
    plan = with_yields(demo_plan("printed_pattern"), 1.0)
    runs = simulate(plan, 4000, inputs=None, time_spread=0.5)
    assert standard_errors(runs.cost, plan.total_cost) < 3.5 and np.std(runs.cost) > 0


def test_runs_in_blocks_are_as_many_as_asked():
    runs = simulate(pp.plan("printed_metal", small_job(300, 1), demo_rates()), 150)  # 300 batches: two blocks
    assert runs.cost.shape == runs.days.shape == runs.attempts.shape == (150,)
    exact = rework(runs.plan)
    assert simulate(runs.plan, 150, **SURE).cost.mean() == pytest.approx(exact.cost, abs=4 * exact.cost_sd / 150**0.5)


# Deadlines and delay -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def dated():
    return simulate(demo_plan("printed_metal").at(start="2026-11-25T08:00"), 2000)


def test_the_chance_of_a_date_rises_from_never_to_always(dated):
    chances = [dated.chance(days) for days in (1, 20, 30, 40, 60, 400)]
    assert chances == sorted(chances) and chances[0] == 0 and chances[-1] == 1
    assert dated.chance("2026-12-24") == dated.chance(dt.date(2026, 12, 24)) == dated.chance(29 + 16 / 24)


@pytest.mark.parametrize(
    ("share", "said"),
    [(0, "0%"), (0.0001, "under 1%"), (0.005, "under 1%"), (0.5, "50%"), (0.995, "over 99%"), (1, "100%")],
)
def test_a_share_is_said_to_be_all_or_none_only_where_it_is(share, said):
    assert of_runs(share) == said


def test_an_impossible_deadline_is_explained(dated):
    said = dated.answer("2026-11-27")
    assert "cannot deliver" in said and f"{dated.days.min():.0f}" in said and said.endswith(".")
    assert "chance" in dated.answer("2026-12-31")
    assert "within 1 day:" in dated.answer(1) and "within 2 days:" in dated.answer(2)


def test_a_date_before_the_start_is_refused_by_its_own_name(dated):
    too_soon = dated.plan.begin.date() - dt.timedelta(days=3)
    with pytest.raises(InputError, match=f"the deadline, {too_soon:%d %b %Y}, must be after the start"):
        dated.days_until(too_soon)
    assert 0 < dated.days_until(dated.plan.begin.date()) < 1, "the day of the start ends after it"


def test_delay_costs_the_days(dated):
    assert dated.with_delay(100) == pytest.approx(dated.cost + 100 * dated.days)


def test_the_price_of_a_day_at_which_the_answer_flips_is_the_tie_of_the_means():
    runs = simulate_all(pp.plan_all(small_job(2), demo_rates()), 1000)
    table = flips(runs)
    (_, first), (title, second) = list(table.iterrows())[:2]
    a, b = (next(r for r in runs.values() if r.plan.title == name) for name in (table.index[0], title))
    # d* = (C₁ − C₂)/(T₂ − T₁) (exact)
    tie = (b.cost.mean() - a.cost.mean()) / (a.days.mean() - b.days.mean())
    assert first["from_price"] == 0 and second["from_price"] == pytest.approx(tie)
    assert second["low"] <= tie <= second["high"]


def test_the_answer_by_quantity_holds_every_route_at_every_price():
    plans = pp.plan_all(small_job(1, 4), demo_rates())
    table = by_quantity(plans, [1, 8], prices=(0, 500), n=200)
    assert len(table) == 2 * 2 * len(ROUTES)
    assert table["chance_best"].groupby(level=[0, 1]).sum().to_numpy() == pytest.approx(1)
    assert np.all(table["cost_5%"] <= table["cost"]) and np.all(table["days"] <= table["days_95%"])
    alone = simulate(plans["printed_metal"].at(quantity=8), 200)
    assert table.loc[(500, 8, "Printed metal"), "cost"] == pytest.approx(alone.with_delay(500).mean() / 8)


# Spares and design errors ------------------------------------------------------------------------------------


def test_enough_spares_leave_nothing_to_make_again():
    plan = demo_plan("printed_pattern")
    none, some, many = (simulate(plan, 1500, spares=spares, **SURE) for spares in (0, 10, 120))
    assert np.all(none.attempts >= 1) and np.all(some.attempts >= (60 + 10) / 60)
    assert many.days.mean() < some.days.mean() < none.days.mean()
    assert np.mean(many.attempts == (60 + 120) / 60) > 0.95  # begun once and never again


def test_without_failures_spares_are_only_an_expense():
    plan = with_yields(demo_plan("printed_metal"), 1.0)
    runs = simulate(plan, 5, spares=plan.job.kit.nodes, **SURE)
    assert runs.cost == pytest.approx(plan.at(quantity=5).total_cost)  # a fifth kit's worth


def test_a_design_error_costs_the_work_twice_where_nothing_else_fails():
    plan = with_yields(demo_plan("printed_mould", 2), 1.0)
    error = design_error(plan, 10, **SURE)
    assert error.cost == pytest.approx(plan.total_cost)
    report_days = plan.rates["risk.report_time"] / 24
    assert np.all(error.days > 0.9 * plan.lead_time_days + report_days)


def test_design_errors_come_as_often_as_said():
    runs = simulate(pp.plan("printed_metal", small_job(), demo_rates()), 10_000, design_again=0.25)
    assert standard_errors(runs.design_errors, 0.25 / 0.75) < 3.5  # geometric distribution (exact)


# Routes as written --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
def test_every_level_holds_for_a_fraction_of_a_kit(route):
    # Remakes are few pieces: levels must not need whole kits, and never fall as pieces are added.
    plan, nodes = demo_plan(route), demo_kit().nodes
    for s in plan.steps:
        for work in s.work:
            if work.level is not JOB:
                times = np.broadcast_to(work.level.per_batch(np.arange(2 * nodes + 1) / nodes), 2 * nodes + 1)
                assert times[0] == 0 and np.all(times[1:] > 0) and np.all(np.diff(times) >= -1e-9), work.level.name
        assert np.all(np.asarray(s.rounds(np.arange(1, nodes + 1) / nodes)) >= 0)


def test_a_step_without_work_of_its_own_needs_no_special_care():
    plan = toy_plan(step("design", Work(JOB, hands_on_h=2.0)), step("wait", Work(BATCH, wait_h=5.0)))
    assert simulate(plan, 3, **SURE).cost == pytest.approx(plan.total_cost)


def test_a_chance_and_what_it_is_unsure_by_are_counted_by_hand(dated):
    # Of a hundred runs 75 take 10 days, which is within 10 days, and 25 take 30: ± 2·√(0.75·0.25/100) = ± 8.7%.
    runs = replace(dated, cost=np.ones(100), days=np.repeat([10.0, 30.0], [75, 25]))
    assert runs.chance(10) == 0.75 and runs.chance(9.999) == 0 and runs.chance(30) == 1
    assert "75% chance (±8.7%) of delivery within 10 days" in runs.answer(10)


def test_a_step_may_return_work_to_one_before_it_only():
    there = step("there", hands(1.0))
    back = step("back", hands(1.0, PART), returns_to="beyond", first_pass_yield=0.5, spoils="part")
    with pytest.raises(InputError, match="no step before it"):
        rework(toy_plan(there, back, step("beyond", hands(1.0))))
