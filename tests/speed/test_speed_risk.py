"""Speed of the simulation; run with `pytest --benchmark-only -s tests/test_speed_risk.py`."""

import time

import pourprint as pp
from pourprint.risk.simulation import simulate, simulate_all
from scenes import PRINTED, demo_kit, demo_rates
from shop_floor import Floor


def plans():
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4, 4), demo_rates(), PRINTED)


def test_ten_thousand_runs_of_three_routes_take_less_than_half_a_second(benchmark):
    three = plans()
    runs = benchmark(simulate_all, three, 10_000)
    assert all(run.n == 10_000 for run in runs.values())
    fastest, median = benchmark.stats["min"], benchmark.stats["median"]
    print(f"\n3 routes × 10 000 runs: {fastest:.2f} s (median {median:.2f} s)")
    assert fastest < 0.5


def test_a_run_is_a_hundred_times_faster_than_a_loop_in_simpy(benchmark):
    """Both draw failures and hands-on times at fixed inputs; measured side by side, route by route."""
    loops = {}
    for route, plan in plans().items():
        begun = time.perf_counter()
        for seed in range(30):
            Floor(plan, seed=seed, time_spread=0.2).run()
        loops[route] = (time.perf_counter() - begun) / 30

    def together():
        for plan in plans().values():
            simulate(plan, 10_000, inputs=None, time_spread=0.2)

    benchmark(together)
    ratio = sum(loops.values()) / (benchmark.stats["min"] / 10_000)
    said = ", ".join(f"{route} {1e3 * seconds:.1f} ms" for route, seconds in loops.items())
    print(f"\nSimPy loop a run: {said}; {ratio:.0f} times the vectorised run")
    assert ratio > 100
