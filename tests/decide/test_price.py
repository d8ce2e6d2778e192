"""Price beside cost, and from how many hours a year a machine of one's own pays: both by hand."""

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.price import OwnOrBuy
from pourprint.ledger.errors import InputError
from scenes import DEMO, demo_kit, demo_rates


def buying_plans(quantity=4):
    rates = pp.RateCard.load(DEMO / "rates_buying.toml")
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantity), rates)


def test_a_price_is_the_cost_with_its_shares_one_upon_the_other():
    plan = buying_plans()["printed_mould"]
    lines, cost = pp.price_of(plan), plan.total_cost
    # 15% overhead of the cost, 5% risk of both, no margin (the card).
    assert lines["overhead"] == pytest.approx(0.15 * cost) and lines["risk"] == pytest.approx(0.05 * 1.15 * cost)
    assert lines["margin"] == 0 and lines["price"] == pytest.approx(1.15 * 1.05 * cost)
    dearer = plan.at(rates=plan.rates.replace({"price.margin": 0.1}))
    assert pp.price_of(dearer)["price"] == pytest.approx(1.15 * 1.05 * 1.1 * cost)
    assert dearer.total_cost == cost and dearer.table()["cost"].sum() == pytest.approx(cost)  # never inside a step


def test_without_shares_a_price_is_the_cost():
    plan = pp.plan("printed_metal", pp.Job(demo_kit(), "AlSi7Mg", np.array([1, 4])), demo_rates())
    assert pp.price_of(plan)["price"] == pytest.approx(plan.total_cost)


def test_the_table_of_prices_has_one_row_a_route_cheapest_first():
    table = pp.prices(buying_plans(5))
    assert table["price"].is_monotonic_increasing and len(table) == 4
    assert table["price a kit"].to_numpy() == pytest.approx(table["price"].to_numpy() / 5)
    assert table["cost"].to_numpy() * 1.15 * 1.05 == pytest.approx(table["price"].to_numpy())


def test_own_or_buy_by_hand():
    # 500 000 over 8 years at 6% is 80 517.97 a year (annuity, exact), and 10 000 of upkeep.
    rates = pp.RateCard.load(DEMO / "rates_buying.toml")
    job = pp.Job(demo_kit(), "AlSi7Mg", 4)
    made, bought = (pp.plan("printed_mould", job, card) for card in (rates.making("printed_mould"), rates))
    found = pp.own_or_buy(made, bought, "sand_printer", 500_000, years=8, interest=0.06, upkeep=10_000)
    hours = sum(row.get("machine.sand_printer", 0.0) for row in made.amounts)
    own_job = made.total_cost - hours * rates["machine.sand_printer"]
    jobs = (80_517.97 + 10_000) / (bought.total_cost - own_job)
    assert found.pays_from_h == pytest.approx(jobs * hours, rel=1e-6)
    own, buy = found.costs([0.0, found.pays_from_h])
    assert own[1] == pytest.approx(buy[1]) and own[0] == pytest.approx(90_517.97, abs=0.01) and buy[0] == 0
    assert f"pays from {found.pays_from_h:,.0f} hours a year" in str(found)


@pytest.mark.parametrize(("own", "hours"), [(50.0, np.inf), (49.5, 20_000.0), (30.0, 500.0)])
def test_what_a_job_saves_pays_the_year_off(own, hours):
    # By hand: 1000 a year over what a job saves, times its 10 h; nothing saved never pays.
    assert OwnOrBuy(None, "saw", 1000.0, own, 50.0, 10.0).pays_from_h == hours


def test_a_machine_that_would_run_longer_than_a_year_has_hours_does_not_pay():
    plan = pp.plan("printed_mould", pp.Job(demo_kit(), "AlSi7Mg", 1), demo_rates())
    assert "8,000 hours a year" in str(OwnOrBuy(plan, "saw", 1000.0, 48.75, 50.0, 10.0))
    assert "does not pay" in str(OwnOrBuy(plan, "saw", 1100.0, 48.75, 50.0, 10.0))


def test_a_machine_that_costs_more_to_run_than_to_buy_never_pays():
    rates = pp.RateCard.load(DEMO / "rates_buying.toml")
    cheap = rates.replace({f"buy.printed_mould.{key}": 0.0 for key in ("per_order", "per_litre", "least_order")})
    job = pp.Job(demo_kit(), "AlSi7Mg", 4)
    made, bought = (pp.plan("printed_mould", job, card) for card in (rates.making("printed_mould"), cheap))
    found = pp.own_or_buy(made, bought, "sand_printer", 500_000, 8, 0.06)
    assert np.isinf(found.pays_from_h) and "does not pay" in str(found)
    with pytest.raises(InputError, match="must be held"):
        pp.own_or_buy(made, bought, "metal_printer", 500_000, 8, 0.06)
    with pytest.raises(InputError, match=r"upkeep=.* must be one number"):
        pp.own_or_buy(made, bought, "sand_printer", 500_000, 8, 0.06, upkeep=[10_000, 20_000])


def test_a_machine_that_buying_does_not_replace_pays_nothing():
    card, job = pp.RateCard.load(DEMO / "rates_buying.toml"), pp.Job(demo_kit(), "AlSi7Mg", 4)
    made, bought = (pp.plan("printed_mould", job, rates) for rates in (card.making(), card))
    with pytest.raises(InputError, match="not by the one that buys"):
        pp.own_or_buy(made, bought, "melting_furnace", 100_000, 8, 0.06)
