"""Nodes made from tubes: closed forms where they exist, and the demo files against their recipes."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.parts.frame import Frame
from pourprint.parts.meshes import rotated_up, sections
from pourprint.parts.nodes import Boss, Tube, make_node
from pourprint.parts.part import Part

DEMO = Path(__file__).parents[2] / "data_demo"


def test_one_tube_is_a_cup_on_a_ball():
    # Exact: half ball below, cylinder above, socket cut out; the ball is as wide as the arm (no blend).
    r, wall, depth = 12.5 + 0.2, 4.0, 40.0
    cup = make_node((Tube((0, 0, 1), 25, depth),), wall_mm=wall, blend_mm=0)
    outer, length = r + wall, wall + depth
    expected = 2 / 3 * np.pi * outer**3 + np.pi * outer**2 * length - np.pi * r**2 * depth
    # Polygons and ball are scaled to the true area and volume. Left over is the rim where ball and arm, whose
    # corners differ by at most 1 - cos(pi/64), do not meet flush: a skin on the half ball of that thickness.
    skin = 2 * np.pi * outer**2 * outer * (1 - np.cos(np.pi / 64))
    assert cup.volume_cm3 * 1000 == pytest.approx(expected, abs=skin)


def test_straight_joint_with_a_bore_crossing():
    straight = make_node((Tube((1, 0, 0), 20, 30), Tube((-1, 0, 0), 20, 30)), blend_mm=0)
    # Exact: a rod of two arms, without sockets; the septum is one wall on each side of the centre.
    outer, r = 14.2, 10.2
    assert straight.volume_cm3 * 1000 == pytest.approx(np.pi * (outer**2 * 68 - r**2 * 60), rel=2e-3)
    assert straight.box_mm[0] == pytest.approx(68)


def test_socket_has_the_circle_area_of_tube_and_gap():
    cup = make_node((Tube((0, 0, 1), 25, 40),), segments=16)
    vertices, faces = cup.mesh
    near_mouth = np.ptp(vertices[:, 2]) - 5
    area, _ = sections(vertices, faces, [near_mouth])
    assert area[0] == pytest.approx(np.pi * (16.7**2 - 12.7**2), rel=1e-9)


def test_arm_is_the_same_tube_shaped_ring_from_its_mouth_inward():
    part = make_node((Tube((1, 0, 0), 25), Tube((0, 1, 1), 25), Tube((-1, 0.4, 0), 30)))
    vertices, faces = rotated_up(part.mesh[0], (1, 0, 0)), part.mesh[1]
    areas, _ = sections(vertices, faces, np.ptp(vertices[:, 2]) - [0.1, 10, 20])
    assert areas == pytest.approx(np.pi * (16.7**2 - 12.7**2), rel=1e-9)


def test_coarse_nodes_weigh_what_fine_nodes_weigh():
    tubes = (Tube((1, 0, 0.3), 30), Tube((-0.5, 1, 0), 25), Tube((-0.5, -1, 0.2), 25))
    volumes = [make_node(tubes, segments=n).volume_cm3 for n in (32, 64, 192)]
    # Where arms, ball and sockets meet, polygons leave second-order differences: (2 pi / 32)^2 / 6 = 0.6%.
    assert volumes[0] == pytest.approx(volumes[2], rel=6.5e-3)
    assert volumes[1] == pytest.approx(volumes[2], rel=1.7e-3)


def test_hollow_hub_saves_metal_and_can_be_emptied():
    tubes = (Tube((0, 0, 1), 40, 50), Tube((1, 0, 0), 25), Tube((-1, 1, 0), 25), Tube((-1, -1, 0), 25))
    solid = make_node(tubes, wall_mm=5, blend_mm=4)
    hollow = make_node(tubes, wall_mm=5, blend_mm=4, hub_shell_mm=5)
    assert hollow.volume_cm3 < 0.8 * solid.volume_cm3
    assert hollow.notes == ()  # no closed cavity


def test_sockets_keep_a_wall_between_them():
    # Two tubes at 40 degrees come nearest at the bottoms of their sockets: a slab of almost one wall, midway
    # between them there, must be metal.
    from manifold3d import Manifold, Mesh64

    half = np.radians(20)
    tubes = (Tube((np.cos(half), np.sin(half), 0), 25), Tube((np.cos(half), -np.sin(half), 0), 25))
    part = make_node(tubes, wall_mm=4)
    vertices, faces = part.mesh
    node = Manifold(Mesh64(np.array(vertices), faces.astype(np.uint64)))
    start = (12.7 * np.cos(half) + 2) / np.sin(half)
    nearest = start * np.cos(half) + 12.7 * np.sin(half)
    assert (Manifold.cube((6, 5, 6), True).translate((nearest, 0, 0)) - node).volume() > 1  # a wider one is not
    slab = Manifold.cube((6, 3.9, 6), True).translate((nearest, 0, 0))
    assert (slab - node).volume() < 1e-6


@settings(max_examples=25)
@given(
    wall=st.floats(2, 8),
    bend=st.floats(25, 150),
    diameter=st.floats(12, 45),
    shell=st.none() | st.floats(2, 4),
)
def test_random_nodes_are_one_watertight_body(wall, bend, diameter, shell):
    angle = np.radians(bend)
    tubes = (Tube((1, 0, 0), diameter), Tube((np.cos(angle), np.sin(angle), 0), diameter), Tube((0, 0, 1), 20))
    bosses = (Boss((0, 0.2, -1), 15, 50),) if shell is None and 60 < bend < 120 else ()
    try:
        part = make_node(tubes, wall, bosses, shell)
    except InputError as error:
        # The only refusal such shapes can earn.
        assert "slid into its socket" in str(error) or "20 are needed" in str(error)
        return
    edges = np.sort(part.mesh[1][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] % 2 == 0).all()
    assert part.bodies == 1 and part.volume_cm3 > 0


def test_a_processor_whose_last_digits_differ_makes_the_same_mesh(monkeypatch):
    # Or what was studied on one machine, and ships, would not be found on another.
    frame, last_digits = Frame.load(DEMO / "rover_frame.toml"), np.random.default_rng(1)
    ours = [entry.part.mesh for entry in frame.kit().parts]

    def turned(vertices, up):
        return rotated_up(vertices, up) * (1 + np.finfo(float).eps * last_digits.integers(-1, 2, (3, 3)))

    monkeypatch.setattr("pourprint.parts.nodes.rotated_up", turned)
    theirs = [entry.part.mesh for entry in frame.kit().parts]
    assert len(ours) == len(theirs) == 7
    for (vertices, faces), (their_vertices, their_faces) in zip(ours, theirs, strict=True):
        assert np.array_equal(vertices, their_vertices) and np.array_equal(faces, their_faces)


def test_a_made_node_can_be_saved_and_read_again(tmp_path):
    part = make_node((Tube((1, 0, 0), 25), Tube((0, 1, 0), 25)))
    part.write_mesh(tmp_path / "mine.stl")
    assert Part.from_mesh(tmp_path / "mine.stl").volume_cm3 == pytest.approx(part.volume_cm3, rel=1e-6)
