"""Time budgets of printed metal; run with `pytest --benchmark-only -s tests/test_speed_metal.py`."""

import numpy as np
import pytest
from trimesh.creation import torus

import pourprint as pp
from pourprint.process.geometry import facets, sphere
from pourprint.process.powder.orientation import Orientations, projected
from pourprint.routes import printed_metal
from scenes import demo_kit, demo_rates

BODY = torus(40, 12, 400, 125)  # 100 000 facets


def test_a_hundred_directions_of_100_000_facets_take_less_than_3_s(benchmark):
    given = BODY.vertices, facets(BODY.vertices, BODY.faces), sphere(100)
    found = benchmark.pedantic(projected, given, rounds=3, warmup_rounds=1)
    print(f"\n100 directions of 100 000 facets: {benchmark.stats['min']:.2f} s")
    assert found.height_mm.shape == (100,)
    assert benchmark.stats["min"] < 3


def test_the_candidates_of_100_000_facets_take_less_than_5_s(benchmark):
    benchmark.pedantic(Orientations.measured, (BODY.vertices, BODY.faces), rounds=2, warmup_rounds=1)
    print(f"\ncandidates of 100 000 facets: {benchmark.stats['min']:.2f} s")
    assert benchmark.stats["min"] < 5  # once a part, ten directions by columns included


@pytest.mark.parametrize("item", demo_kit().parts, ids=lambda item: item.part.name)
def test_a_demo_node_is_turned_in_less_than_0_4_s(benchmark, item):
    benchmark.pedantic(Orientations.measured, item.part.mesh, rounds=3, warmup_rounds=1)
    print(f"\n{item.part.name}: {benchmark.stats['min']:.2f} s")
    assert benchmark.stats["min"] < 0.4


def test_steps_of_a_measured_kit_take_less_than_10_ms_at_every_size(benchmark):
    sizes = iter(np.linspace(30, 60, 10_000))
    rates = demo_rates()

    def slide():
        return printed_metal.steps(pp.Job(demo_kit().scaled_to(float(next(sizes))), "AlSi7Mg", 4), rates)

    slide()
    benchmark(slide)
    print(f"\nsteps of a scaled kit: {1e3 * benchmark.stats['min']:.1f} ms")
    assert benchmark.stats["min"] < 0.010
