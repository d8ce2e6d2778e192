"""Speed of the simulation; run with `pytest --benchmark-only -s tests/test_speed_risk.py`."""

import time

import pytest

import pourprint as pp
from pourprint.risk.simulation import simulate, simulate_all
from scenes import PRINTED, demo_kit, demo_rates
from shop_floor import Floor

OF_THE_PROCESSOR = pytest.mark.benchmark(timer=time.process_time)  # of all cores together


def plans():
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4, 4), demo_rates(), PRINTED)


@OF_THE_PROCESSOR
def test_ten_thousand_runs_of_three_routes_take_less_than_half_a_second(benchmark):
    three = plans()
    runs = benchmark(simulate_all, three, 10_000)
    assert all(run.n == 10_000 for run in runs.values())
    fastest, median = benchmark.stats["min"], benchmark.stats["median"]
    print(f"\n3 routes × 10 000 runs: {fastest:.2f} s (median {median:.2f} s)")
    assert fastest < 0.5


@OF_THE_PROCESSOR
def test_ten_thousand_runs_of_three_routes_of_twenty_batches_take_less_than_5_s(benchmark):
    three = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 20, 1), demo_rates(), PRINTED)
    simulate_all(three, 100)
    begun = time.perf_counter()
    runs = benchmark.pedantic(simulate_all, (three, 10_000), rounds=2)
    clock = (time.perf_counter() - begun) / 2
    assert all(run.n == 10_000 for run in runs.values())
    fastest = benchmark.stats["min"]
    print(f"\n3 routes × 10 000 runs of 20 batches: {fastest:.2f} s of the processor, {clock:.2f} s by the clock")
    assert fastest < 5


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
