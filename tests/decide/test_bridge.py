"""From one setting to another: each step against plans made by hand, and sums that are exact."""

from dataclasses import replace

import pytest

import pourprint as pp
from pourprint.decide.bridge import bridge, bridge_table
from scenes import DEMO, bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


def setting(name="before", kit=None, rates=None, **job):
    given = {"alloy": "AlSi7Mg", "quantity": 2, "start": START, "price_of_day": 100.0} | job
    return pp.Setting(name, kit or bracket(), rates or demo_rates(), **given)


def by_hand(route, rates, quantity, price):
    """Cost of a kit and days with failures, from the plan and its closed form alone."""
    plan = pp.plan(route, pp.Job(bracket(), "AlSi7Mg", quantity, start=START), rates)
    mean = pp.expected(plan)
    return (mean.cost + price * mean.days) / quantity, mean.days


def test_a_bridge_of_three_steps_worked_by_hand():
    """Quantity, then a rate, then the price of a day: after each the answer is that of a plan with all so far."""
    dear = demo_rates().replace({"labour.technician": 57.0})
    piers = bridge(setting(), setting("after", rates=dear, quantity=5, price_of_day=250.0), "printed_mould")
    cards = [(demo_rates(), 2, 100), (demo_rates(), 5, 100), (dear, 5, 100), (dear, 5, 250)]
    for pier, given in zip(piers, cards, strict=True):
        assert (pier.cost, pier.days) == pytest.approx(by_hand("printed_mould", *given), rel=1e-12)
    said = ["before", "quantity 2 → 5", "technician (labour) 38 → 57 EUR/h", "price of day 100 → 250"]
    assert [pier.what for pier in piers] == said
    rows = bridge_table(piers, "EUR", "kit")
    assert rows["moved by [EUR]"].sum() == pytest.approx(piers[-1].cost - piers[0].cost, abs=1e-9)
    assert rows["moved by [d]"].sum() == pytest.approx(piers[-1].days - piers[0].days, abs=1e-9)
    assert rows["moved by [d]"].iloc[-1] == pytest.approx(0, abs=1e-12), "a price moves no days"


def test_the_answer_may_change_its_route_and_ends_are_those_of_the_settings_alone():
    before = setting(kit=demo_kit(), quantity=1, price_of_day=0.0)
    after = setting("after", demo_kit(), quantity=1, price_of_day=1000.0, volume_cm3=30.0)
    piers = bridge(before, after)
    assert len({pier.route for pier in piers}) > 1
    for pier, end in ((piers[0], before), (piers[-1], after)):
        alone = bridge(end, end)
        assert len(alone) == 1 and replace(alone[0], what=pier.what) == pier


def test_buying_and_making_is_one_step_either_way_and_a_date_moves_nothing():
    buying = pp.RateCard.load(DEMO / "rates_buying.toml")
    ware = buying.bought[0]
    bought, made = setting("bought", rates=buying), setting("made", rates=buying.making(ware), deadline="2027-03-01")
    there, back = bridge(bought, made), bridge(made, bought)
    assert there[1].what == f"{ware.replace('_', ' ')}: made here" and back[1].what.endswith("bought")
    assert there[2].what == "deadline no date → 01 Mar 2027"
    assert (there[2].cost, there[2].days) == (there[1].cost, there[1].days)
    assert (there[0].cost, there[-1].cost) == (back[-1].cost, back[0].cost)


def test_a_step_that_nobody_can_take_is_taken_with_the_next():
    """Steel is not poured from a furnace that reaches 900 °C: alloy and furnace count as one step."""
    cold = demo_rates().replace({"foundry.furnace_limit": 900.0})
    piers = bridge(setting(rates=cold), setting(alloy="316L", quantity=3), "printed_pattern")
    assert [pier.what.count(" → ") for pier in piers] == [0, 3]
    assert "alloy AlSi7Mg → 316L and quantity 2 → 3 and furnace limit" in piers[1].what


def test_other_money_and_what_no_route_can_make_are_refused():
    with pytest.raises(pp.InputError, match="one currency"):
        bridge(setting(), replace(setting(), rates=replace(demo_rates(), currency="CHF")))
    with pytest.raises(pp.InputError, match=r"before: .*magnesium"):
        bridge(setting(alloy="AZ91D"), setting(), "printed_metal")
    with pytest.raises(pp.InputError, match="after: no route"):
        bridge(setting(), setting("after", alloy="AZ91D"), "printed_metal")
