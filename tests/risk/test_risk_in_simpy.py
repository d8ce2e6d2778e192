"""The simulation against an independent model of the same steps in SimPy, in distribution."""

import numpy as np
import pytest
from scipy.stats import ks_2samp

import pourprint as pp
from pourprint.risk.simulation import simulate
from scenes import PRINTED, demo_kit, demo_rates
from shop_floor import Floor

RUNS = 250


def plan_of(route, quantity=1):
    return pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", quantity), demo_rates())


@pytest.mark.parametrize("time_spread", [0.0, 0.3])
@pytest.mark.parametrize("route", PRINTED)
def test_cost_and_days_are_distributed_as_on_the_shop_floor(route, time_spread):
    plan = plan_of(route)
    floor = np.array([Floor(plan, seed=seed, time_spread=time_spread).run() for seed in range(RUNS)])
    runs = simulate(plan, 5000, seed=2, inputs=None, time_spread=time_spread)
    for ours, theirs in ((runs.cost, floor[:, 0]), (runs.days, floor[:, 1])):
        # Equal outcomes differ in their last digits between the two: rounded, so that they tie. Twelve comparisons
        # at one in a thousand each: by chance alone one in eighty such sets would fail; the seeds are fixed.
        assert ks_2samp(np.round(ours, 6), np.round(theirs, 6)).pvalue > 0.001


def test_without_failures_the_shop_floor_is_the_plan():
    for route in PRINTED:
        plan = plan_of(route)
        sure = plan.at(rates=plan.rates.replace({key: 1.0 for key in plan.rates.entries if ".yield_" in key}))
        assert Floor(sure, seed=1).run() == pytest.approx((sure.total_cost, sure.lead_time_days))


def test_the_comparison_can_fail():
    # Yields two thirds of the way to one are told apart by as many runs on the floor.
    plan = plan_of("printed_pattern")
    better = {key: 1 - (1 - entry.value) / 3 for key, entry in plan.rates.entries.items() if ".yield_" in key}
    floor = np.array([Floor(plan, seed=seed).run() for seed in range(RUNS)])
    runs = simulate(plan.at(rates=plan.rates.replace(better)), 5000, inputs=None, time_spread=0)
    assert ks_2samp(runs.days, floor[:, 1]).pvalue < 1e-6 and ks_2samp(runs.cost, floor[:, 0]).pvalue < 1e-6
