"""Freezing as it is drawn: late where three arms meet, and the surface round what is still liquid."""

from functools import cache

import numpy as np
import pytest
import trimesh

import pourprint as pp
from pourprint.figures.pouring import surface_round
from pourprint.process.freezing.solidification import Melt, Mould
from scenes import DEMO, freeze


@cache
def frozen(name="mast_foot.stl", alloy="316L", cell_mm=2.0):
    part = pp.Part.from_mesh(DEMO / "nodes" / name)
    return part, freeze(part, Melt.of(pp.alloys()[alloy]), Mould.sand(), cell_mm)


def test_the_last_metal_of_a_node_with_three_equal_arms_comes_in_threes():
    # The mast foot has arms at 0, 120 and 240 degrees: a steel casting's three junctions freeze together.
    # Cells of 2 mm put their times 2.0% apart, these 1.6%, cells of 1 mm 0.3%.
    _, run = frozen(cell_mm=1.25)
    metal = np.argwhere(~np.isnan(run.time_s))
    x, y, _ = run.grid.centres_mm(metal).T
    third = (np.degrees(np.arctan2(y, x)) % 360 // 120).astype(int)
    last_s = [run.time_s[tuple(metal[third == k].T)].max() for k in range(3)]
    assert max(last_s) == run.latest_s and np.ptp(last_s) < 0.02 * run.latest_s


def test_the_surface_round_the_last_metal_holds_its_volume():
    part, run = frozen("rocker_pivot.stl", "AlSi7Mg")
    late = np.nan_to_num(run.time_s) > np.nanquantile(run.time_s, 0.9)
    mesh = trimesh.Trimesh(*surface_round(late, run.grid))
    # A tenth of the metal; rounding the cells' corners takes up to a fifth of so small a body.
    assert mesh.volume / 1e3 == pytest.approx(0.1 * part.volume_cm3, rel=0.2)
