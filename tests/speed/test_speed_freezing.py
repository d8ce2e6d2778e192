"""Time budgets; run with `pytest --benchmark-only tests/test_speed_freezing.py`.

The clock is the processor's: all this runs in one thread, and so takes as long on a computer with nothing else to do.
"""

import time

import numpy as np
import pytest
import trimesh

import pourprint as pp
from pourprint.process.freezing.section_modulus import METALS, section_in
from pourprint.process.freezing.solidification import Melt, Mould
from pourprint.process.freezing.voxels import columns, voxels
from scenes import DEMO, freeze

pytestmark = pytest.mark.benchmark(timer=time.process_time)
BALL = trimesh.creation.icosphere(5, radius=50)  # 20 480 facets


def node():
    return pp.Part.from_mesh(DEMO / "nodes" / "mast_foot.stl")


def test_rays_through_20_000_facets_at_half_a_millimetre_take_less_than_0_2_s(benchmark):
    found = benchmark.pedantic(columns, (BALL.vertices, BALL.faces, 0.5, (1, 2, 3)), rounds=3, warmup_rounds=1)
    assert (found.exit_mm - found.enter_mm).sum() * 0.5**2 == pytest.approx(BALL.volume, rel=1e-3)
    assert benchmark.stats["min"] < 0.2


def test_voxels_of_2_mm_take_less_than_1_s(benchmark):
    grid = benchmark.pedantic(voxels, (*node().mesh, 2.0, 20.0), rounds=3, warmup_rounds=1)
    assert grid.fraction.sum() > 0
    assert benchmark.stats["min"] < 1


@pytest.mark.parametrize(("cell_mm", "budget_s"), [(None, 5), (2.0, 1)])
def test_freezing_a_node_takes_less_than_5_s_and_1_s_at_2_mm(benchmark, cell_mm, budget_s):
    part, melt = node(), Melt.of(pp.alloys()["AlSi7Mg"])
    run = benchmark.pedantic(freeze, (part, melt, Mould.sand(), cell_mm), rounds=3, warmup_rounds=1)
    assert np.isfinite(run.latest_s)
    assert benchmark.stats["min"] < budget_s


def test_the_section_study_of_a_node_takes_less_than_0_3_s(benchmark):
    mesh = node().mesh
    found = benchmark.pedantic(
        lambda: [section_in(metal).measured(*mesh) for metal in range(len(METALS))], rounds=3, warmup_rounds=1
    )
    assert len(found) == 3
    assert benchmark.stats["min"] < 0.3
