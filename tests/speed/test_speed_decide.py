"""Time budgets of the decision; run with `pytest --benchmark-only -s tests/test_speed_decide.py`.

Budgets hold for the fastest round: whatever else the machine does only ever adds time.
"""

import time

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.information import sample_plans, value_of_information
from pourprint.decide.map import decision_map
from pourprint.decide.sensitivity import output_of, sobol
from pourprint.decide.sweep import sweep
from scenes import EachPrinted, catalogue, demo_kit, demo_rates


def demo_plans(quantity=1):
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantity), demo_rates())


@pytest.mark.parametrize(
    "axes",
    [
        {"quantity": np.arange(1, 101), "price_of_day": np.linspace(0, 2000, 100)},
        {"machine.metal_printer": np.linspace(1, 90, 100), "volume_cm3": np.linspace(5, 150, 100)},
        {"quantity": np.arange(1, 101), "shell.coat_interval": np.linspace(1, 24, 100)},
    ],
    ids=" × ".join,
)
def test_a_map_of_100_by_100_with_its_borders_takes_less_than_1_s(benchmark, axes):
    plans = demo_plans(4)

    def drawn():
        chart = decision_map(plans, axes, 225.0)
        return chart.best.size, sum(map(len, chart.borders.values()))

    points, segments = benchmark.pedantic(drawn, rounds=5, warmup_rounds=1)
    print(f"\n{points} points × 4 routes and {segments} pieces of border: {1e3 * benchmark.stats['min']:.0f} ms")
    assert points == 10_000 and benchmark.stats["min"] < 1


def test_three_thousand_draws_and_what_they_are_worth(benchmark):
    plans = demo_plans()

    def known():
        return value_of_information(sample_plans(plans, n=3000), 225.0)

    found = benchmark.pedantic(known, rounds=3, warmup_rounds=1)
    print(f"\n3000 draws × 4 routes, worth of {len(found.inputs)} inputs: {benchmark.stats['min']:.2f} s")
    assert benchmark.stats["min"] < 3


def test_sobol_indices_of_eight_inputs(benchmark):
    found = benchmark.pedantic(sobol, (output_of(demo_plans()["printed_pattern"]), None, 256), rounds=3)
    print(f"\n{256 * 10} plans and 400 resamples: {benchmark.stats['min']:.2f} s")
    assert len(found.entries) == 8 and benchmark.stats["min"] < 3


def test_throughput_of_a_catalogue_alone_and_on_one_and_two_workers(benchmark):
    """Not a budget but a report: two workers must give the same numbers, not twice the speed on a shared machine."""
    from distributed import Client, LocalCluster

    cases, ask = catalogue(800), EachPrinted(demo_rates())
    alone = benchmark.pedantic(sweep, (ask, cases, 50), rounds=2)
    print(f"\none process: {len(cases['volume_cm3']) / benchmark.stats['min']:,.0f} parts/s on one route")
    with (
        LocalCluster(n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0") as cluster,
        Client(cluster) as client,
    ):
        for workers in (1, 2):
            cluster.scale(workers)
            client.wait_for_workers(workers)
            client.run(lambda: bool(__import__("pourprint")))  # what is imported is not what is measured
            begin = time.perf_counter()
            found = sweep(ask, cases, 50, client=client)
            print(f"{workers} workers: {len(cases['volume_cm3']) / (time.perf_counter() - begin):,.0f} parts/s")
            assert all(np.array_equal(found[key], alone[key]) for key in alone)


@pytest.mark.benchmark(timer=time.process_time)  # of this process: others may be at work
def test_a_table_of_turns_takes_less_than_0_6_s(benchmark):
    plans = demo_plans()
    benchmark.pedantic(lambda: pp.turns(plans, price_of_day=100.0), rounds=3, warmup_rounds=1)
    print(f"\nturns of the demo job: {benchmark.stats['min']:.2f} s")
    assert benchmark.stats["min"] < 0.6
