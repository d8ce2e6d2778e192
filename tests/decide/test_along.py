"""The routes along one input: crossings against root finding, limits of a route, days read between points."""

import numpy as np
import pytest
from scipy.optimize import brentq

import pourprint as pp
from pourprint.decide.along import Crossing, crossings, unit_costs
from pourprint.decide.inputs import outcomes_of
from scenes import bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


@pytest.mark.parametrize("grid", [np.linspace(0.5, 30.5, 31), np.linspace(0, 30, 11), np.linspace(0, 30, 4)])
def test_crossings_of_lines_lie_where_they_meet_also_between_whole_numbers(grid):
    """Total cost of machining at 9 + 2 x against 20 + x: they meet at x = 11 (by hand)."""
    assert crossings(grid, {"a": 9 + 2 * grid, "b": 20 + grid}, False) == [Crossing(pytest.approx(11), "a", "b")]


def test_on_whole_numbers_a_crossing_is_the_first_that_another_wins_and_all_are_found():
    grid = np.arange(1, 7)
    costs = {"a": np.array([1, 3, 1, 1, 9, 9.0]), "b": np.array([2, 2, 2, 2, 2, np.nan])}
    assert [(c.at, c.to) for c in crossings(grid, costs, True)] == [(2, "b"), (3, "a"), (5, "b"), (6, "a")]


def test_a_rate_at_which_another_route_wins_is_the_root_of_the_difference():
    """Hours of the metal printer at which printed pattern overtakes, against Brent's method on single plans."""
    job, routes = pp.Job(bracket(), "AlSi7Mg", 1), ("printed_pattern", "printed_metal")

    def difference(price):
        plans = pp.plan_all(job, demo_rates().replace({"machine.metal_printer": price}), routes)
        return plans["printed_pattern"].unit_cost - plans["printed_metal"].unit_cost

    grid, plans = np.linspace(0, 90, 41), pp.plan_all(job, demo_rates(), routes)
    totals, days = outcomes_of(plans, {"machine.metal_printer": grid}, clock=False)
    costs = unit_costs(totals, 1, 0.0, days)
    (turn,) = crossings(grid, costs, False)
    assert turn.at == pytest.approx(brentq(difference, 0.0, 90.0), rel=1e-6)  # cost is linear in a price


def test_where_no_route_can_none_wins():
    costs = {"a": np.array([1.0, 2, np.nan, np.nan, 9]), "b": np.array([3.0, 3, 3, np.nan, 5])}
    for counted in (True, False):
        assert [(c.at, c.to) for c in crossings(np.arange(5.0), costs, counted)] == [(2, "b")]


def test_beyond_its_limit_a_route_has_no_cost():
    volumes = np.geomspace(20, 1000, 30)
    plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg"), demo_rates(), ("printed_pattern", "printed_metal"))
    totals, days = outcomes_of(plans, {"volume_cm3": volumes}, clock=False)
    costs = unit_costs(totals, 1, 0.0, days)
    for route, line in costs.items():
        for volume, cost in zip(volumes, line, strict=True):
            alone = pp.plan_all(pp.Job(demo_kit().scaled_to(volume), "AlSi7Mg"), demo_rates(), (route,))[route]
            assert np.isnan(cost) == (not alone.feasible)
            assert not alone.feasible or cost == pytest.approx(alone.unit_cost, rel=1e-9)
        assert np.isfinite(line).any()


def test_days_along_are_those_of_each_plan():
    plans = pp.plan_all(pp.Job(bracket(), "AlSi7Mg", start=START), demo_rates(), ("printed_mould",))
    exact = outcomes_of(plans, {"quantity": np.arange(1, 61)})[1]["printed_mould"]
    for quantity in (1, 13, 60):
        plan = pp.plan("printed_mould", pp.Job(bracket(), "AlSi7Mg", quantity), demo_rates())
        assert exact[quantity - 1] == pytest.approx(pp.lead_time(plan, START).days)
