"""Pictures of freezing: what is drawn is what was computed, and light enough to turn."""

from functools import cache

import numpy as np
import pytest
import trimesh

import pourprint as pp
from pourprint.figures import freezing as pictures
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.solidification import Melt, Mould, adams_time_s, freeze
from scenes import DEMO


@cache
def frozen(name="mast_foot.stl", alloy="316L", cell_mm=2.0):
    part = pp.Part.from_mesh(DEMO / "nodes" / name)
    return part, freeze(part, Melt.of(pp.alloys()[alloy]), Mould.sand(), cell_mm)


def test_sections_show_the_times_of_the_cells_they_cut():
    part, run = frozen()
    chart = pictures.freezing_slices(run, part.name)
    sections = [trace for trace in chart.figure.data if trace.type == "heatmap"]
    assert len(sections) == 3
    for section in sections:  # each passes through the last metal to freeze
        assert np.nanmax(np.array(section.z, dtype=float)) == pytest.approx(run.latest_s)
    assert f"{run.latest_s:.0f} s" in chart.figure.layout.title.text and len(chart.table) == len(run.spots)


def test_hot_spots_of_a_node_with_three_equal_arms_come_in_threes():
    # The mast foot has arms at 0, 120 and 240 degrees: a steel casting's three junctions freeze together.
    # Cells of 2 mm put their times 2.0 % apart, these 1.6 %, cells of 1 mm 0.3 %.
    _, run = frozen(cell_mm=1.25)
    x, y, _ = np.array([spot.position_mm for spot in run.spots[:3]]).T
    angles = np.sort(np.degrees(np.arctan2(y, x)) % 360)
    assert np.diff(angles) == pytest.approx([120, 120], abs=15)  # cells of 1.25 mm at a radius of 20 mm are 4 degrees
    assert np.ptp([spot.peak for spot in run.spots[:3]]) < 0.02 * run.latest_s


def test_the_last_pool_is_drawn_with_its_volume_and_few_facets():
    part, run = frozen("rocker_pivot.stl", "AlSi7Mg")
    chart = pictures.freezing_picture(run, part)
    body, pool = (trace for trace in chart.figure.data if trace.type == "mesh3d")
    assert len(body.i) + len(pool.i) < 20_000
    mesh = trimesh.Trimesh(np.stack([pool.x, pool.y, pool.z], 1), np.stack([pool.i, pool.j, pool.k], 1))
    # A tenth of the metal; rounding the cells' corners takes up to a fifth of so small a body.
    assert mesh.volume / 1e3 == pytest.approx(0.1 * part.volume_cm3, rel=0.2)


def test_curves_rise_to_the_whole_metal_at_the_latest_time():
    part, run = frozen("rocker_pivot.stl", "AlSi7Mg")
    rule = float(adams_time_s(part.modulus_mm, run.melt, run.mould))
    chart = pictures.freezing_curves({"in sand": run}, {"in sand": rule})
    line = chart.figure.data[0]
    assert (np.diff(line.x) >= 0).all() and line.y[-1] == 100 and line.x[-1] == pytest.approx(run.latest_s)
    assert chart.table.loc["in sand", "rule_s"] == pytest.approx(rule)
    with pytest.raises(InputError, match="runs"):
        pictures.freezing_curves({})


def test_every_chart_has_takeaway_words_and_table():
    part, run = frozen()
    for chart in (
        pictures.freezing_slices(run, part.name),
        pictures.freezing_picture(run, part),
        pictures.freezing_curves({"in sand": run}),
    ):
        assert chart.takeaway and chart.alt and len(chart.table) and "<details>" in chart.words()
