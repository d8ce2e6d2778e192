"""What failures add to cost and days along the kits: read between and beyond the numbers that were asked."""

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.failures import MANY_PIECES, Again, again_along, shares
from pourprint.ledger.entries import Kind
from scenes import bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


def plan_of(what, route, quantity, size=None):
    return pp.plan(route, pp.Job(what, "AlSi7Mg", quantity, size), demo_rates())


def exact(plan):
    mean = pp.expected(plan, START)
    return mean.cost / plan.total_cost, mean.days / plan.days(START)


@pytest.mark.parametrize("route", ["printed_pattern", "printed_mould", "printed_metal"])
def test_shares_are_exact_where_they_were_asked_and_near_it_between(route):
    plan = plan_of(demo_kit(), route, 3)
    along = again_along(plan, "quantity", START)
    for kits, near in ((1, 1e-9), (3, 1e-9), (10, 1e-9), (4, 0.08), (7, 0.08)):
        assert tuple(along.at(kits, plan.rates)) == pytest.approx(exact(plan.at(quantity=kits)), rel=near), kits
    assert shares(plan, START) == pytest.approx(exact(plan))


@pytest.mark.parametrize("route", ["printed_pattern", "printed_mould", "printed_metal"])
def test_beyond_the_pieces_that_were_asked_the_limits_said_hold(route):
    """Four times as many pieces as are asked for, against the closed form itself."""
    for what, kits in ((demo_kit(), 40), (bracket(), 4 * MANY_PIECES)):
        plan = plan_of(what, route, kits)
        cost, days = shares(plan, START)
        assert (cost, days) == pytest.approx((exact(plan)[0], days), rel=0.03)
        assert days == pytest.approx(exact(plan)[1], rel=0.25 if route == "printed_pattern" else 0.12)


def test_along_the_batch_size_no_more_kits_are_made_together_than_are_wanted():
    plan = plan_of(bracket(), "printed_mould", 6, 2)
    along = again_along(plan, "batch_size", START)
    assert along.kits.tolist() == [1, 2, 5]
    assert tuple(along.at(5, plan.rates)) == pytest.approx(exact(plan.at(batch_size=5)))


def test_what_failures_add_falls_on_as_a_power_of_the_kits():
    """A power law is read exactly; what does not fall stays as it was last."""
    kits = np.array([1.0, 2, 5, 10])
    amounts = {"labour.technician": np.array([kits**0, 1 + kits**-0.5])}
    cost, days = Again(kits, amounts, 1 + 0 * kits + 0.25).at(np.array([10, 40, 1000]), demo_rates())
    assert cost == pytest.approx(1 + np.array([10, 40, 1000]) ** -0.5)
    assert days == pytest.approx(1.25)


@pytest.mark.parametrize("route", [*pp.ROUTES])
@pytest.mark.parametrize(("quantity", "size"), [(1, None), (7, 3), (4, None)])
def test_what_is_done_again_does_not_hang_on_prices_and_is_priced_as_the_closed_form_prices_it(route, quantity, size):
    """Against `rework`, which walks the chain with money; prices of people, machines and materials moved apart."""
    plan, card = plan_of(demo_kit(), route, quantity, size), demo_rates()
    entries = {key: entry for key, entry in card.entries.items() if entry.kind is Kind.PRICE}
    prices = {key: entry.value * (1.5 if "labour" in key else 0.4) for key, entry in entries.items()}
    dear = plan_of(demo_kit(), route, quantity, size).at(rates=card.replace(prices))
    before, after = (again_along(one, "quantity", START) for one in (plan, dear))
    assert {key: table.tolist() for key, table in before.amounts.items()} == {
        key: table.tolist() for key, table in after.amounts.items()
    }
    assert before.days.tolist() == after.days.tolist()
    for one in (plan, dear):
        share = before.at(quantity, one.rates).cost
        assert share * one.total_cost == pytest.approx(pp.rework(one).cost, rel=1e-9)
