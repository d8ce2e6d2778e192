"""Weak places of parts against exact ones: plate, tube, hollow ball, wedge, slot, step."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from trimesh.creation import annulus, box, cylinder, icosphere

import pourprint as pp
from pourprint.process.walls import LOW, Walls


def walls(mesh):
    return Walls.measured(np.array(mesh.vertices), np.array(mesh.faces))


def hollow(outer, inner, opening=0):
    inside = icosphere(4, inner)
    inside.invert()
    return trimesh.util.concatenate([icosphere(4, outer), inside])


def test_a_plate_is_as_thin_as_it_is():
    found = walls(box((100, 80, 3)))
    assert found.thin_mm == pytest.approx(3, rel=1e-9)
    assert abs(found.thin_at[2]) < 1e-9  # half-way through
    assert found.narrow_mm == np.inf and found.sealed == 0 and found.sharp_mm == 0


def test_a_cube_has_no_thin_edges():
    assert walls(box((40, 40, 40))).thin_mm == pytest.approx(40)


def test_a_tube_has_its_wall_and_its_bore():
    # Of a polygon of 64 corners: wall and bore between flats, cos(π/64) of the round ones.
    found, flat = walls(annulus(17, 20, 100, sections=64)), np.cos(np.pi / 64)
    assert found.thin_mm == pytest.approx(3 * flat, rel=1e-6)
    assert found.narrow_mm == pytest.approx(34 * flat, rel=1e-6)


def test_a_hollow_ball_has_its_wall_and_is_sealed():
    found = walls(hollow(20, 17))
    assert found.thin_mm == pytest.approx(3, rel=2e-3)  # of facets
    assert found.sealed == 1 and found.sealed_cm3 == pytest.approx(icosphere(4, 17).volume / 1e3)
    assert found.sealed_at == pytest.approx([0, 0, 0], abs=1e-6)


def test_a_wedge_is_thin_towards_its_edge():
    # 100 long, 50 wide, 10 high at its back: x·tan α up from the floor, and x·sin α down from the slope, α = 5.71°.
    corners = np.array([[0, 0, 0], [100, 0, 0], [100, 0, 10], [0, 50, 0], [100, 50, 0], [100, 50, 10]], dtype=float)
    faces = [[0, 1, 2], [3, 5, 4], [0, 3, 4], [0, 4, 1], [1, 4, 5], [1, 5, 2], [0, 2, 5], [0, 5, 3]]
    wedge = trimesh.Trimesh(corners, faces)
    share = LOW * wedge.area / (50 * 100 + 50 * np.hypot(100, 10))
    assert walls(wedge).thin_mm == pytest.approx(10 * share, rel=0.05)


def test_a_slot_is_as_narrow_as_it_is():
    block = box((60, 60, 40)).difference(box((2.5, 80, 60)).apply_translation((0, 0, 25)))
    assert walls(block).narrow_mm == pytest.approx(2.5)


@pytest.mark.parametrize(("diameter", "depth"), [(8.0, 30.0), (10.0, 30.0), (20.0, 30.0)])
def test_a_blind_hole_is_as_deep_as_it_is_and_a_bore_through_is_none(diameter, depth):
    def drilled(length):
        return box((80, 60, 40)).difference(cylinder(diameter / 2, 2 * length).apply_translation((10, 5, 20)))

    found = walls(drilled(depth))
    assert found.deep == pytest.approx(depth / diameter, rel=0.1)
    assert found.deep_at == pytest.approx([10, 5, 20 - depth / 2], abs=0.1 * diameter)
    assert walls(drilled(60)).deep == 0


def test_only_what_no_straight_line_leads_to_is_out_of_reach():
    ball = icosphere(3, 20.0)
    bottle = ball.difference(icosphere(3, 15.0)).difference(cylinder(2.0, 30).apply_translation((0, 0, 20)))
    assert walls(bottle).hidden_cm2 == pytest.approx(icosphere(3, 15.0).area / 100, rel=0.33)
    assert walls(annulus(17, 20, 100)).hidden_cm2 == walls(box((40, 40, 40))).hidden_cm2 == 0


def test_a_step_turns_inward_along_its_edge():
    step = box((60, 40, 10)).union(box((30, 40, 30)).apply_translation((-15, 0, 10)))
    found = walls(step)
    assert found.sharp_mm == pytest.approx(40)
    assert found.sharp_at == pytest.approx([0, 0, 5])


@given(st.floats(0.2, 5.0))
@settings(max_examples=10)
def test_weak_places_scale_with_the_part(factor):
    mesh = annulus(17, 20, 100, sections=32)
    one, larger = walls(mesh), walls(mesh.copy().apply_scale(factor))
    for name, value in vars(one.scaled(factor)).items():
        if not name.endswith("_at"):  # of places that are equally weak any may be named
            assert value == pytest.approx(getattr(larger, name), rel=1e-6), name


def test_a_part_by_numbers_has_its_typical_wall():
    part = pp.Part.from_numbers("sheet", 1.5, 100.0, (70, 70, 0.31))
    assert part.study(Walls).thin_mm == pytest.approx(0.3) and not part.study(Walls).known


def test_of_several_cavities_the_largest_is_named():
    holes = [icosphere(2, radius).apply_translation((x, 0, 0)) for radius, x in ((3.0, -20), (6.0, 18))]
    for hole in holes:
        hole.invert()
    found = walls(trimesh.util.concatenate([box((80, 30, 30)), *holes]))
    assert found.sealed == 2 and found.sealed_cm3 == pytest.approx(-holes[1].volume / 1e3)
    assert found.sealed_at == pytest.approx([18, 0, 0], abs=1e-6)
