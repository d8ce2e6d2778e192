"""Pictures and panel of the printed mould: drawn to the model's sizes, of few facets; sliders move what they should."""

import re

import numpy as np
import pytest

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.panels import mould_panel
from pourprint.panels.panel import SLIDERS
from pourprint.routes.printed_mould import moulds_of
from scenes import bracket, demo_kit, demo_rates

KIT = demo_kit()


def mould_of(entry, alloy="AlSi7Mg"):
    return moulds_of(pp.Job(pp.Kit("one", (entry,)), alloy), demo_rates())[0]


def traces(chart, kind):
    return [trace for trace in chart.figure.data if trace.type == kind]


def sides(trace):
    return np.ptp(np.array([trace.x, trace.y, trace.z], dtype=float), axis=1)


@pytest.mark.parametrize("entry", KIT.parts, ids=lambda entry: entry.part.name)
def test_the_opened_mould_stays_light_and_to_scale(entry):
    one = mould_of(entry)
    chart = pp.figures.opened_mould(one)
    assert sum(len(trace.i) for trace in traces(chart, "mesh3d")) <= 20_000
    drawn = {trace.name: trace for trace in traces(chart, "mesh3d")}
    assert sides(drawn["casting"]) == pytest.approx(one.study.high_mm - one.study.low_mm)
    assert sides(drawn["sand"])[:2] == pytest.approx(one.block_mm[:2])
    lift = sides(drawn["sand"])[2] - one.block_mm[2]
    assert lift == pytest.approx(0.45 * one.block_mm[2])
    assert chart.takeaway and chart.alt and len(chart.table)


@pytest.mark.parametrize("entry", KIT.parts, ids=lambda entry: entry.part.name)
def test_everything_that_holds_metal_lies_inside_its_half_of_the_sand(entry):
    one = mould_of(entry)
    drawn = {trace.name: trace for trace in traces(pp.figures.opened_mould(one), "mesh3d")}
    sand = np.array([drawn["sand"].x, drawn["sand"].y, drawn["sand"].z])
    for name in ("casting", "feeder, sprue and gate", "cores"):
        inside = np.array([drawn[name].x, drawn[name].y, drawn[name].z])
        assert (inside.min(1) >= sand.min(1) - 1e-6).all() and (inside.max(1) <= sand.max(1) + 1e-6).all(), name


def test_the_cores_drawn_have_the_volume_that_the_plan_counts():
    for entry in KIT.parts[:4]:
        one = mould_of(entry)
        (cores,) = (t for t in traces(pp.figures.opened_mould(one), "mesh3d") if t.name == "cores")
        corners = np.array([cores.x, cores.y, cores.z]).T[np.array([cores.i, cores.j, cores.k]).T]
        drawn = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6 / 1000
        assert drawn == pytest.approx(one.core_cm3, rel=0.05)  # coarser rays than the study's


def test_a_part_without_cores_is_drawn_without_them_and_a_fine_mesh_with_fewer_columns():
    from manifold3d import Manifold

    def part(solid):
        mesh = solid.to_mesh64()
        return pp.Part.from_arrays("shape", mesh.vert_properties[:, :3], np.asarray(mesh.tri_verts).astype(int))

    plain = pp.figures.opened_mould(mould_of(pp.KitPart(part(Manifold.cube((60, 50, 40))))))
    assert "no core" in plain.figure.layout.title.text
    ball = Manifold.sphere(30, 180) - Manifold.cylinder(70, 8, -1, 180, True).rotate((90, 0, 0))
    fine = part(ball - Manifold.cylinder(70, 8, -1, 180, True))
    assert 15_000 < len(fine.mesh[1]) < 19_000
    drawn = pp.figures.opened_mould(mould_of(pp.KitPart(fine)))
    assert sum(len(trace.i) for trace in traces(drawn, "mesh3d")) <= 20_000
    with pytest.raises(InputError, match="coarser"):
        pp.figures.opened_mould(mould_of(pp.KitPart(part(Manifold.sphere(30, 256)))))


def test_a_part_without_a_mesh_has_no_picture_but_a_mould():
    one = mould_of(pp.KitPart(bracket()))
    for picture in (pp.figures.opened_mould, pp.figures.parting_map):
        with pytest.raises(InputError, match="mesh"):
            picture(one)
    assert pp.figures.gating_sketch(one).takeaway


def test_the_parting_map_stars_the_way_that_the_mould_opens():
    one = mould_of(KIT.parts[0])
    chart = pp.figures.parting_map(one)
    dots, star = chart.figure.data[:2]
    assert len(dots.x) == len(one.study.tried) and star.marker.symbol == "star"
    (at,) = np.flatnonzero((np.array(dots.x) == star.x[0]) & (np.array(dots.y) == star.y[0]))
    assert one.study.tried_cm3[at] <= 1.09 * one.study.tried_cm3.min() + 1e-9


def test_the_gating_sketch_shows_the_plans_numbers():
    one = mould_of(KIT.parts[2])
    chart = pp.figures.gating_sketch(one)
    assert chart.table.loc["ingate [mm²]"].item() == pytest.approx(float(one.gating.ingate_mm2), abs=0.005)
    sand = next(trace for trace in chart.figure.data if trace.name == "sand")
    assert np.ptp(sand.x) == pytest.approx(one.block_mm[1])
    assert np.ptp(sand.y) == pytest.approx(one.block_mm[2])


def test_sand_bars_and_job_boxes_hold_every_piece():
    job = pp.Job(KIT, "AlSi7Mg", 2)
    moulds = moulds_of(job, demo_rates())
    bars = pp.figures.sand_bars(moulds)
    by_part = dict(zip(bars.figure.data[0].y, bars.figure.data[0].x, strict=True))
    assert by_part == {one.part.name.replace("_", " "): pytest.approx(float(one.sand_kg)) for one in moulds}
    boxes = pp.figures.job_boxes(job, demo_rates())
    assert boxes.table.to_numpy().sum() == 2 * KIT.nodes
    solids = traces(boxes, "mesh3d")
    volume = sum(len(trace.x) // 8 for trace in solids)
    assert volume == 2 * KIT.nodes


# The panel --------------------------------------------------------------------------------------------


def built():
    return mould_panel(pp.Kit("one", (KIT.parts[0],)), demo_rates().replace({"handling.magnesium": 1.0}), 4)


def now(shown):
    """{step: cost beside its bar}."""
    return dict(re.findall(r"<div><span>([^<]+)</span>.*?<b>([\d.,]+)</b>", shown.bars.value))


def at_first(shown):
    """The costs that the strokes mark, in the order of the steps."""
    return re.findall(r"'at first: ([\d.,]+)'", shown.bars.value)


def test_at_first_bars_and_strokes_agree_with_the_plan():
    shown = built()
    found = pp.plan("printed_mould", pp.Job(pp.Kit("one", (KIT.parts[0],)), "AlSi7Mg", 4), demo_rates())
    costs = {step.name: f"{cost / 4:,.1f}" for step, cost in zip(found.steps, found.step_costs, strict=True)}
    assert {name: cost for name, cost in now(shown).items() if name in costs or cost != "0.0"} == costs
    assert list(now(shown).values()) == at_first(shown)
    assert f"{found.unit_cost:,.0f} EUR" in shown.answer.value


@pytest.mark.parametrize("name", SLIDERS["mould"])
def test_every_slider_of_the_mould_moves_a_step_and_leaves_the_strokes(name):
    shown = built()
    if name == "feeding.modulus_ratio":  # thin aluminium is ruled by the metal a feeder must give; steel by time
        shown.controls["alloy"].source.value = "316L"
    first, before = at_first(shown), now(shown)
    row = shown.controls[name]
    row.source.value = row.source.high
    assert not shown.status.value.count("Please") and now(shown) != before
    assert at_first(shown) == first


def test_wall_and_alloy_move_every_step_that_depends_on_them():
    shown = built()

    def moved():
        return {name for (name, cost), first in zip(now(shown).items(), at_first(shown), strict=True) if cost != first}

    shown.controls["printed_mould.wall"].source.value = 60
    assert {"print moulds and cores", "melt and pour", "cut off feeders and gates"} <= moved()
    shown.controls["printed_mould.wall"].source.value = 30
    assert not moved()
    shown.controls["alloy"].source.value = "AZ91D"
    machined = "machine bores, faces and tight sockets"
    assert {"print moulds and cores", "melt and pour", "cut off feeders and gates", machined} <= moved()


def test_a_feeder_that_cannot_feed_is_said_in_a_sentence_and_the_picture_stays():
    shown = built()
    rates = demo_rates().replace({"feeding.efficiency": 0.07})
    shown = mould_panel(pp.Kit("one", (KIT.parts[0],)), rates, 4)
    before = now(shown)
    shown.controls["printed_mould.wall"].source.value = 80
    shown.controls["volume"].source.value = 500
    assert "status" in shown.status.value and now(shown).keys() == before.keys()


@pytest.mark.parametrize("bad", [None, "rover", 3])
def test_a_panel_of_something_else_is_refused(bad):
    with pytest.raises(InputError, match="kit"):
        mould_panel(bad, demo_rates())
    with pytest.raises(InputError, match="rates"):
        mould_panel(KIT, bad)
