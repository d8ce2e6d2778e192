"""Pictures and panel of printed metal: what they draw is what the route computes."""

import re
from dataclasses import replace

import numpy as np
import pytest
import trimesh

import pourprint as pp
from pourprint.figures import printed_metal as printing
from pourprint.figures.solids import MOST_FACETS, coarser
from pourprint.ledger.entries import library
from pourprint.ledger.errors import InputError
from pourprint.panels import metal_panel
from pourprint.routes import printed_metal as route
from scenes import bracket, demo_kit, demo_rates

JOB = pp.Job(demo_kit(), "AlSi10Mg", 1)
CHARTS = {
    "plate": lambda: printing.plate_picture(JOB, demo_rates()),
    "directions": lambda: printing.orientation_map(JOB, demo_rates()),
    "layers": lambda: printing.layer_chart(JOB, demo_rates()),
    "roughness": lambda: printing.roughness_chart(JOB, demo_rates()),
}


@pytest.mark.parametrize("name", CHARTS)
def test_a_chart_carries_its_message_words_and_table(name):
    chart = CHARTS[name]()
    assert chart.figure.layout.title.text and len(chart.takeaway) > 30 and len(chart.alt) > 60 and len(chart.table)


def test_the_plate_stays_light_enough_to_turn_and_holds_every_piece_once():
    picture = printing.plate_picture(JOB, demo_rates())
    meshes = [trace for trace in picture.figure.data if trace.type == "mesh3d" and trace.name != "plate"]
    assert 5_000 < sum(len(trace.i) for trace in meshes) <= MOST_FACETS
    second = printing.plate_picture(JOB, demo_rates(), 2)
    assert (picture.table["pieces here"] + second.table["pieces here"]).tolist() == [e.count for e in demo_kit().parts]
    for trace in meshes:  # drawn where the layout puts them: on the plate, over it, and no taller than planned
        assert trace.x.min() >= 0 and trace.x.max() <= 250 and trace.y.min() >= 0 and trace.y.max() <= 250
        assert trace.z.min() >= 3 and trace.z.max() <= route.lay_out(JOB, demo_rates()).height_mm + 1e-6
    (supports,) = [trace for trace in picture.figure.data if trace.type == "scatter3d"]
    assert np.nanmin(np.array(supports.z, dtype=float)) == 0


def test_a_plate_that_is_not_there_is_named():
    with pytest.raises(InputError, match="from 1 to 2"):
        printing.plate_picture(JOB, demo_rates(), 3)
    with pytest.raises(InputError, match="no mesh"):
        printing.plate_picture(pp.Job(bracket(), "AlSi10Mg"), demo_rates())


def test_a_coarser_mesh_keeps_its_shape():
    vertices, faces = demo_kit().parts[2].part.mesh
    few, kept = coarser(vertices, faces, 1500)
    assert len(kept) <= 1500 and kept.max() < len(few)
    size = np.ptp(vertices, axis=0)
    assert np.ptp(few, axis=0) == pytest.approx(size, rel=0.05)
    assert trimesh.Trimesh(few, kept).volume == pytest.approx(trimesh.Trimesh(vertices, faces).volume, rel=0.02)


def test_a_mesh_that_does_not_close_is_drawn_as_it_is():
    ball = trimesh.creation.icosphere(4, 20)
    vertices, faces = coarser(np.asfortranarray(ball.vertices), ball.faces[:-9], 500)
    assert len(faces) == len(ball.faces) - 9 and np.array_equal(vertices, ball.vertices)


def test_layers_take_the_laser_hours_of_the_route():
    """The sections of a part add up to its hatching and its outlines; the supports are hatched besides."""
    for item in demo_kit().parts:
        job = JOB.with_(kit=replace(demo_kit(), parts=(item,)))
        (piece,) = route.lay_out(job, demo_rates()).pieces
        _, inside, outline, _ = printing.layer_times(job, demo_rates())
        assert outline.sum() / 3600 == pytest.approx(piece.hours.contour, rel=2e-3)
        part_only = piece.hours.hatch * item.part.volume_cm3 / piece.melted_cm3
        assert inside.sum() / 3600 == pytest.approx(part_only, rel=2e-3)


def test_the_panel_answers_every_control():
    panel = metal_panel(JOB, demo_rates())
    assert panel.controls["alloy"].value == "AlSi10Mg"
    seen = {panel.answer.value}
    changes = {"layer_scale": 0.5, "recoat": 15.0, "turning": 0.0}
    changes = {f"{route.NAME}.{key}": value for key, value in changes.items()}
    for name, value in {**changes, "quantity": 4.0, "alloy": "316L"}.items():
        before = panel.bars.value, panel.answer.value
        panel.controls[name].source.value = value
        assert (panel.bars.value, panel.answer.value) != before, name
        seen.add(panel.answer.value + panel.table.value)
    assert len(seen) == 6 and "role='status'></div>" in panel.status.value
    wanted = pp.Job(demo_kit(), "316L", 4)
    card = demo_rates().replace(changes)
    assert f"{pp.plan(route.NAME, wanted, card).unit_cost:,.0f}" in panel.answer.value
    hours = printing.hours_of_a_kit(pp.plan(route.NAME, wanted, card))
    assert re.findall(r"<b>([\d.,]+)</b>", panel.bars.value) == [f"{h:,.1f}" for h in hours.values()]


@pytest.mark.parametrize(
    "job", [demo_kit(), pp.Job(demo_kit(), "AlSi10Mg", [1, 2])], ids=["a kit", "several quantities"]
)
def test_the_panel_wants_one_job(job):
    with pytest.raises(InputError, match="one quantity"):
        metal_panel(job, demo_rates())


def test_a_stage_shows_its_own_cautions():
    plan = pp.plan(route.NAME, pp.Job(bracket(), "Ti-6Al-4V"), demo_rates())
    finish, printing_box = (pp.figures.caution_box(plan, stage) for stage in (pp.Stage.FINISH, pp.Stage.MOULD))
    assert "100 MPa" in finish and "NFPA 660" in printing_box and "IEC 60825-1" in printing_box
    assert "IEC 60825-1" not in finish


@pytest.mark.parametrize("key", [key for key in library() if key.startswith("roughness.")])
def test_every_number_of_the_roughness_moves_its_chart(key):
    charts = (printing.roughness_chart(JOB, demo_rates().replace({key: value})) for value in (5.0, 10.0))
    low, high = (chart.table["Ra_um"] for chart in charts)
    assert (high >= low).all() and (high > low).any()
