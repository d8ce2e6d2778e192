"""Learning curves against published tables, repeats against the plan, and when a die pays."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import pourprint as pp
from pourprint.decide.learning import SHARES, Curve, cost_shares, learned_cost, repeats, when_a_die_pays
from pourprint.ledger.errors import InputError
from pourprint.plans.steps import BATCH, JOB, Work
from scenes import DEMO, PART, ROUTES, bracket, demo_kit, hands, small_job, step, toy_plan

DIE = "purchase.die_base"


def test_wrights_table_of_cumulative_averages():
    # Mechanical Engineers' Handbook vol. 3 (published): 80% curve, averages at 1, 2, 4, 8, 16.
    assert 100 * Curve(0.8).mean([1, 2, 4, 8, 16]) == pytest.approx([100, 80, 64, 51.2, 40.96])


def test_the_two_forms_differ_by_a_third_over_sixteen_pieces():
    # 655.36 = 16 × 40.96 (exact); the unit form's sum Σ 100·n^log2(0.8), n = 1…16, is 892 (exact, rounded).
    assert 100 * Curve(0.8, "average").total(16) == pytest.approx(655.36)
    assert 100 * Curve(0.8, "unit").total(16) == pytest.approx(892, abs=0.5)


def test_in_the_unit_form_each_doubling_leaves_the_rate_of_the_piece():
    pieces = np.diff(Curve(0.8, "unit").total(np.arange(1, 17)), prepend=0)
    assert pieces[[0, 1, 3, 7, 15]] == pytest.approx([1, 0.8, 0.64, 0.512, 0.4096])


@given(st.floats(0.5, 1.0), st.sampled_from(["average", "unit"]), st.integers(1, 200))
def test_the_first_piece_takes_the_cards_time_and_none_is_slower_than_the_one_before(rate, form, n):
    pieces = np.diff(Curve(rate, form).total(np.arange(1, n + 1)), prepend=0)
    assert pieces[0] == pytest.approx(1) and np.all(np.diff(pieces) <= 1e-9)


def test_nothing_is_learned_at_a_rate_of_one():
    plan = pp.plan("printed_mould", small_job(np.array([1, 7, 30])))
    assert learned_cost(plan, Curve(1.0)) == pytest.approx(plan.total_cost)


@pytest.mark.parametrize("form", ["average", "unit"])
def test_learning_shortens_repeated_labour_and_nothing_else(form):
    # Worked by hand: 3 h once a job and 2 h a kit at 40 an hour, 16 kits.
    plan = toy_plan(step("plan", hands(3, JOB)), step("make", hands(2, PART)), quantity=16, labour__technician=40.0)
    curve = Curve(0.8, form)
    assert learned_cost(plan, curve) == pytest.approx(3 * 40 + 2 * 40 * curve.total(16))


def test_two_people_learn_side_by_side_and_their_machine_once():
    """2 h a kit of two people at 40 an hour and of one kiln at 10, 16 kits."""
    work = Work(PART, hands_on_h=2.0, people=2)
    prices = {"labour__technician": 40.0, "machine__kiln": 10.0, "power__kiln": 0.0}
    plan = toy_plan(replace(step("pour", work, machine="kiln"), attended=True), quantity=16, **prices)
    assert learned_cost(plan, Curve(0.8)) == pytest.approx(2 * (2 * 40 + 10) * Curve(0.8).total(16))


def test_the_first_kit_costs_what_the_plan_says():
    for route in ROUTES:
        plan = pp.plan(route, small_job(1))
        assert learned_cost(plan, Curve(0.7, "unit")) == pytest.approx(plan.total_cost)


# Repeats and the die --------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES)
def test_the_shares_add_up_to_the_unit_cost(route):
    plan = pp.plan(route, small_job(np.array([1, 5, 40]), 3))
    shares = cost_shares(plan)
    assert tuple(shares) == SHARES
    assert sum(shares.values()) == pytest.approx(plan.unit_cost)


def test_what_is_paid_once_a_batch_is_paid_as_often_as_there_are_batches():
    # Four kits in four batches, in two and in one: what falls due once a batch costs a kit 4, 2 and 1 parts; once a
    # job, one part each time.
    shares = [cost_shares(pp.plan("printed_metal", small_job(4, size))) for size in (1, 2, 4)]
    batch, job = ([each[name] for each in shares] for name in SHARES[1::-1])
    assert batch == pytest.approx([4 * batch[2], 2 * batch[2], batch[2]]) and batch[2] > 0
    assert job == pytest.approx(job[:1] * 3) and job[0] > 0


def test_one_off_work_is_shared_out_as_one_over_the_orders():
    table = repeats(pp.plan("printed_pattern", small_job(4)), 5)
    assert table["once a job"].to_numpy() * np.arange(1, 6) == pytest.approx(table["once a job"].iloc[0] * np.ones(5))
    assert table["each part"].to_numpy() == pytest.approx(table["each part"].iloc[0] * np.ones(5))
    assert list(table["kits"]) == [4, 8, 12, 16, 20]


def test_orders_end_in_batches_of_their_own():
    """By hand: two orders of 4 + 1 kits are two batches of four and two of one, not one of four, four, two."""
    plan = pp.plan("printed_metal", small_job(5, 4))
    table = repeats(plan, 2)
    assert table["unit_cost"].iloc[1] == pytest.approx((2 * plan.total_cost - plan.one_off_cost) / 10)


def test_emptying_a_machine_is_learned_as_other_hands():
    emptied, before = (Work(BATCH, hands_on_h=2.0, unload_h=1.0), Work(BATCH, hands_on_h=3.0))
    costs = [learned_cost(toy_plan(step("load", work), quantity=8), Curve(0.8)) for work in (emptied, before)]
    assert costs[0] == pytest.approx(costs[1])


def test_what_is_ordered_by_the_piece_is_no_share_of_a_load():
    rates = pp.RateCard.load(DEMO / "rates_buying.toml")
    plan = pp.plan("printed_metal", pp.Job(demo_kit(), "AlSi7Mg", 4), rates)
    order = next(step for step in plan.table().itertuples() if step.step.startswith("order and receive printed metal"))
    per_order = rates["buy.relieved_metal.per_order"] / 4
    assert cost_shares(plan)["each part"] > order.material / 4 - per_order - 1e-9


def test_a_die_pays_where_one_off_over_saving_says():
    # N* = F/(c1 − c2) (exact): 6500 + 38 a part against 92 a part (inputs published in a trade article) → 121.
    def costing(one_off, each):
        works = (Work(JOB, materials={DIE: one_off}), Work(PART, materials={DIE: each}))
        return toy_plan(step("pay", *works), purchase__die_base=1.0)

    tooled = replace(costing(6500, 38), title="With a die")
    found = when_a_die_pays(costing(0, 92), tooled, np.arange(1, 301))
    assert found.pays_from == 121
    assert found.intervals.crossings == (121,)


def test_a_die_that_saves_nothing_never_pays():
    plan = pp.plan("printed_pattern", small_job(1))
    dear = pp.plan("tooled_pattern", small_job(1))
    assert when_a_die_pays(plan, dear, [1, 2, 3]).pays_from is None


def test_learning_moves_the_point_at_which_a_die_pays():
    job = pp.Job(bracket(), "AlSi7Mg")
    plans = [pp.plan(route, job) for route in ("printed_pattern", "tooled_pattern")]
    quantities = np.arange(1, 2001)
    plain = when_a_die_pays(*plans, quantities)
    learned = when_a_die_pays(*plans, quantities, Curve(0.85))
    # The printed pattern takes more hands-on work at the pattern, so learning helps it more and the die pays later.
    assert plain.pays_from < learned.pays_from
    assert all(a < b for a, b in itertools.pairwise(plain.quantities))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Curve(1.2), "must not pass 1"),
        (lambda: Curve(0.0), "above 0"),
        # A curve has one rate: by hand, a list of two would give two times for the sixteenth piece.
        (lambda: Curve([0.8, 0.9]), "rate=.*one number"),
        (lambda: Curve(np.array([0.8])), "rate=.*one number"),
        (lambda: Curve(0.8, "log-linear"), "form must be one of"),
        (lambda: Curve(0.8).total(2.5), "whole number"),
        (lambda: Curve(0.8).total(0), "above 0"),
        (lambda: learned_cost(pp.plan("printed_metal", small_job(1)), 0.8), "curve must be a Curve"),
        (lambda: learned_cost("printed_metal", Curve(0.8)), "a plan is needed"),
    ],
)
def test_odd_curves_are_refused(make, said):
    with pytest.raises(InputError, match=said):
        make()
