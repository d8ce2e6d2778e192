"""What failures add to cost and days: in the mean, and read between and beyond the numbers of kits that were asked."""

from dataclasses import replace

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.failures import MOST_EXACT, Again, again_along, shares
from pourprint.ledger.entries import Kind
from scenes import ROUTES, bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


def plan_of(what, route, quantity, size=None):
    return pp.plan(route, pp.Job(what, "AlSi7Mg", quantity, size, start=START), demo_rates())


def exact(plan):
    mean = pp.expected(plan)
    return mean.cost / plan.total_cost, mean.days / plan.lead_time_days


def runs_of(plan, n):
    return pp.simulate(plan, n, seed=77, inputs=None, time_spread=0.0)


def some_plan(draw):
    """A plan of some part or kit in any alloy, number, batches and route, from any start."""
    kit, kind = demo_kit(), draw.integers(3)
    parts = tuple(replace(item, count=int(draw.integers(1, 5))) for item in kit.parts if draw.random() < 0.5)
    what = (bracket(), kit, pp.Kit("some", parts or kit.parts[:1]))[kind]
    quantity = int(np.exp(draw.uniform(0, np.log(30))))
    size = None if draw.random() < 0.5 else int(draw.integers(1, quantity + 1))
    alloy = str(draw.choice(sorted(pp.alloys())))
    start = f"2027-{draw.integers(1, 13):02d}-{draw.integers(1, 28):02d}T{draw.integers(8, 16):02d}:30"
    job = pp.Job(what, alloy, quantity, size, start=start)
    route = str(draw.choice(ROUTES))
    return pp.plan_all(job, demo_rates(), (route,))[route]


def test_mean_days_are_within_a_twentieth_of_thousands_of_runs_for_any_job():
    """Few runs against many of another seed; the simulation itself is held to the shop floor. One seed serves all
    jobs, so what they are off by goes together a little: their mean need not be nothing."""
    draw, off = np.random.default_rng(5), []
    while len(off) < 60:
        plan = some_plan(draw)
        if plan.feasible:
            off.append(pp.expected(plan).days / runs_of(plan, 2000).days.mean() - 1)
    assert max(np.abs(off)) < 0.05 and np.std(off) < 0.015 and abs(np.mean(off)) < 0.01


@pytest.mark.parametrize("route", ROUTES[:3])
def test_beyond_what_is_exact_and_beyond_many_batches_the_mean_is_that_of_runs(route):
    for plan in (
        plan_of(demo_kit(), route, 40),
        plan_of(bracket(), route, 4 * MOST_EXACT),
        plan_of(bracket(), route, 240, 2),
    ):
        mean, runs = pp.expected(plan), runs_of(plan, 300)
        assert mean.cost == pytest.approx(runs.cost.mean(), rel=0.02)
        assert mean.days == pytest.approx(runs.days.mean(), rel=0.05)


def test_the_cost_of_many_batches_is_exact():
    plan = plan_of(bracket(), "printed_mould", 250, 2)
    assert pp.expected(plan).cost == pytest.approx(pp.rework(plan).cost, rel=1e-9)


@pytest.mark.parametrize("route", ROUTES[:3])
def test_shares_are_those_of_the_mean_where_they_were_asked_and_near_it_between_and_beyond(route):
    plan = plan_of(demo_kit(), route, 3)
    along = again_along(plan, "quantity")
    for kits, near in ((1, 1e-9), (3, 1e-9), (4, 1e-9), (7, 0.08), (12, 0.08), (80, 0.15)):
        asked = plan.at(quantity=kits)
        found = tuple(along.at(kits, asked.lead_time_days, plan.rates))
        assert found == pytest.approx(exact(asked), rel=near), kits
    assert shares(plan) == pytest.approx(exact(plan))


def test_along_the_batch_size_no_more_kits_are_made_together_than_are_wanted():
    plan = plan_of(bracket(), "printed_mould", 6, 2)
    along = again_along(plan, "batch_size")
    assert along.kits.tolist() == [1, 2, 4]
    asked = plan.at(batch_size=4)
    assert tuple(along.at(4, asked.lead_time_days, plan.rates)) == pytest.approx(exact(asked))


@pytest.mark.parametrize("route", ROUTES[:3])
def test_days_that_failures_add_do_not_jump_with_a_plan_over_closed_days(route):
    """A plan that ends just before closed weeks, and one just behind, have about the same failures: against plans that
    are asked each alone. Shares of the days, read between, were off by a half here."""
    plan = pp.plan(route, pp.Job(bracket(), "AlSi7Mg", 20, start="2026-12-01T08:00"), demo_rates())
    along, kits = again_along(plan, "quantity"), [13, 30, 45, 61]
    days = np.array([plan.at(quantity=n).lead_time_days for n in kits])
    read = along.at(np.array(kits), days, plan.rates).days * days
    asked = [pp.expected(plan.at(quantity=n)).days for n in kits]
    assert read == pytest.approx(asked, rel=0.26)


def test_what_failures_add_falls_on_as_a_power_of_the_kits():
    """Powers are read exactly, between and beyond; a share of the cost never grows, days no faster than the kits."""
    kits, asked = np.array([1.0, 2, 5, 10]), np.array([3, 10, 40, 1000])

    def read(cost, days):
        amounts = {"labour.technician": np.array([kits**0, 1 + kits**cost])}
        return Again(kits, amounts, kits**days).at(asked, 100.0, demo_rates())

    assert read(-0.5, 0.5).cost == pytest.approx(1 + asked**-0.5)
    assert read(-0.5, 0.5).days == pytest.approx(1 + asked**0.5 / 100)
    assert read(0.5, 2).cost[2:] == pytest.approx(1 + 10**0.5)
    assert read(0.5, 2).days[2:] == pytest.approx(1 + np.array([400, 10_000]) / 100)


@pytest.mark.parametrize("route", [*pp.ROUTES])
@pytest.mark.parametrize(("quantity", "size"), [(1, None), (7, 3), (4, None)])
def test_what_is_done_again_does_not_hang_on_prices_and_is_priced_as_the_closed_form_prices_it(route, quantity, size):
    """Against `rework`, which walks the chain with money; prices of people, machines and materials moved apart."""
    plan, card = plan_of(demo_kit(), route, quantity, size), demo_rates()
    entries = {key: entry for key, entry in card.entries.items() if entry.kind is Kind.PRICE}
    prices = {key: entry.value * (1.5 if "labour" in key else 0.4) for key, entry in entries.items()}
    dear = plan_of(demo_kit(), route, quantity, size).at(rates=card.replace(prices))
    before, after = (again_along(one, "quantity") for one in (plan, dear))
    assert {key: table.tolist() for key, table in before.amounts.items()} == {
        key: table.tolist() for key, table in after.amounts.items()
    }
    assert before.added.tolist() == after.added.tolist()
    for one in (plan, dear):
        share = before.at(quantity, one.lead_time_days, one.rates).cost
        assert share * one.total_cost == pytest.approx(pp.rework(one).cost, rel=1e-9)
