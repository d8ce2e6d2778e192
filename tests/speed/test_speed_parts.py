"""Time budgets; run with `pytest --benchmark-only tests/test_speed_parts.py`."""

import time

import numpy as np
import trimesh

import pourprint as pp
from pourprint.parts.meshes import sections
from pourprint.parts.part import Part

BODY = trimesh.creation.torus(40, 12, 400, 125)  # 100 000 facets


def test_reading_and_measuring_100_000_facets_takes_less_than_2_s(benchmark, tmp_path):
    BODY.export(tmp_path / "body.stl")
    part = benchmark.pedantic(Part.from_mesh, (tmp_path / "body.stl",), rounds=3, warmup_rounds=1)
    assert len(part.mesh[1]) == 100_000
    assert benchmark.stats["max"] < 2


def test_3300_sections_of_100_000_facets_take_less_than_1_s(benchmark):
    upright = BODY.vertices[:, [1, 2, 0]]
    heights = (np.arange(3300) + 0.5) * np.ptp(upright[:, 2]) / 3300
    areas, _ = benchmark.pedantic(sections, (upright, BODY.faces, heights), rounds=3, warmup_rounds=1)
    assert areas.shape == (3300,)
    assert benchmark.stats["max"] < 1


def test_1_300_000_facets_are_read_and_planned_in_less_than_15_s(benchmark, tmp_path):
    """Seconds of the processor: a busy machine is no slower."""
    ball = trimesh.creation.icosphere(subdivisions=8).apply_scale((40, 30, 25))
    ball.export(tmp_path / "ball.stl")

    def read_and_plan():
        start = time.process_time()
        plans = pp.plan_all(pp.Job(Part.from_mesh(tmp_path / "ball.stl"), "AlSi7Mg", 4))
        return plans, time.process_time() - start

    plans, took_s = benchmark.pedantic(read_and_plan, rounds=1)
    assert all(plan.feasible for plan in plans.values())
    assert took_s < 15
