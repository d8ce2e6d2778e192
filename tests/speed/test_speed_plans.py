"""Time budgets of the model; run with `pytest --benchmark-only -s tests/test_speed_plans.py`.

Budgets hold for the fastest round: whatever else the machine does only ever adds time.
"""

import datetime as dt
import subprocess
import sys
import time

import numpy as np
import pytest

import pourprint as pp
from pourprint.panels.compare import QUANTITIES as PANEL
from pourprint.plans.orders import Order, Workshop
from scenes import PRINTED, ROUTES, demo_kit, demo_rates

QUANTITIES = np.arange(1, 1001)
OF_THE_PROCESSOR = pytest.mark.benchmark(timer=time.process_time)  # all runs in one thread: a busy machine is no slower


def costs(quantity):
    plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantity, batch_size=4), demo_rates())
    return [plan.unit_cost for plan in plans.values()]


def milliseconds(benchmark):
    return f"{1e3 * benchmark.stats['min']:.1f} ms (median {1e3 * benchmark.stats['median']:.1f})"


def test_a_thousand_quantities_on_four_routes_take_less_than_10_ms(benchmark):
    one_by_one = time.perf_counter()
    singles = [costs(int(quantity)) for quantity in QUANTITIES]
    one_by_one = time.perf_counter() - one_by_one
    together = benchmark(costs, QUANTITIES)
    assert np.allclose(together, np.transpose(singles))
    said, fastest = milliseconds(benchmark), benchmark.stats["min"]
    print(f"\n1000 quantities together {said}, one by one {one_by_one:.1f} s")
    assert fastest < 0.010 and one_by_one > 100 * benchmark.stats["median"]


def test_four_routes_with_their_days_take_less_than_10_ms(benchmark):
    def days():
        plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4, 4), demo_rates())
        return [plan.lead_time_days + plan.unit_cost for plan in plans.values()]

    assert np.isfinite(benchmark(days)).all()
    print(f"\nfour routes, cost and days: {milliseconds(benchmark)}")
    assert benchmark.stats["min"] < 0.010


@OF_THE_PROCESSOR
@pytest.mark.parametrize(
    ("quantities", "routes", "budget_s"), [(PANEL, PRINTED, 0.040), (QUANTITIES, ROUTES, 0.150)], ids=["panel", "1000"]
)
def test_many_quantities_with_their_days(benchmark, quantities, routes, budget_s):
    def planned():
        plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantities), demo_rates(), routes)
        return {route: (plan.unit_cost, plan.lead_time_days) for route, plan in plans.items()}

    found = benchmark.pedantic(planned, rounds=20, warmup_rounds=2)
    for route, (costs, days) in found.items():  # alone each is led as it is, not compiled
        for i in (0, 6, 99):
            alone = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", int(quantities[i])), demo_rates())
            assert (costs[i], days[i]) == pytest.approx((alone.unit_cost, alone.lead_time_days))
    print(f"\n{quantities.size} quantities × {len(routes)} routes, cost and days: {milliseconds(benchmark)}")
    assert benchmark.stats["min"] < budget_s


@OF_THE_PROCESSOR
def test_a_workshop_of_30_orders_takes_less_than_0_2_s(benchmark):
    begins = [dt.datetime(2026, 11, 2, 8) + dt.timedelta(days=i) for i in range(30)]
    plans = [pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 4, 2), demo_rates()) for route in PRINTED]
    orders = [Order.of(plans[i % 3], begin, str(i)) for i, begin in enumerate(begins)]
    timeline = benchmark.pedantic(Workshop(demo_rates().hours).schedule, (orders,), rounds=5, warmup_rounds=1)
    print(f"\n30 orders: {milliseconds(benchmark)}")
    assert len(timeline.done_h) == 30 and benchmark.stats["min"] < 0.2


def test_importing_takes_less_than_1_s(benchmark):
    def fresh():
        code = "import time; t = time.perf_counter(); import pourprint; print(time.perf_counter() - t)"
        return float(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)

    fresh()  # the first may read the disk
    seconds = []
    benchmark.pedantic(lambda: seconds.append(fresh()), rounds=5)
    print(f"\nimport pourprint: {min(seconds):.2f} to {max(seconds):.2f} s")
    assert min(seconds) < 1
