"""Time budgets of the model; run with `pytest --benchmark-only -s tests/test_speed_plans.py`.

Budgets hold for the fastest round: whatever else the machine does only ever adds time.
"""

import subprocess
import sys
import time

import numpy as np

import pourprint as pp
from scenes import demo_kit, demo_rates

QUANTITIES = np.arange(1, 1001)


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


def test_importing_takes_less_than_1_s(benchmark):
    def fresh():
        code = "import time; t = time.perf_counter(); import pourprint; print(time.perf_counter() - t)"
        return float(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)

    fresh()  # the first may read the disk
    seconds = []
    benchmark.pedantic(lambda: seconds.append(fresh()), rounds=5)
    print(f"\nimport pourprint: {min(seconds):.2f} to {max(seconds):.2f} s")
    assert min(seconds) < 1
