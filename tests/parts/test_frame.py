"""A frame of tubes: its nodes follow from what meets where; alike ones are found; faults are named together."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from pourprint.ledger.errors import InputError
from pourprint.parts.frame import Frame, FrameTube, Pivot, Point
from pourprint.parts.meshes import measure
from pourprint.parts.nodes import Tube, make_node
from scenes import DEMO, demo_kit

ROVER = DEMO / "rover_frame.toml"


@pytest.fixture(scope="module")
def rover():
    return Frame.load(ROVER)


@pytest.fixture(scope="module")
def kit(rover):
    return rover.kit()


def test_a_whole_kit_comes_from_one_file(rover, kit):
    ends = sum(2 for _ in rover.tubes)
    pivoting = sum(bool(tube.pivots_at) for tube in rover.tubes.values())
    free = sum(not rover.has_node(point) for point in rover.points)
    # Every tube has two ends: each is a socket, turns in a boss, or is free.
    assert sum(entry.count * len(entry.sockets) for entry in kit.parts) == ends - pivoting - free
    assert kit.nodes == len(rover.points) - free == 15
    assert all(trimesh.Trimesh(*entry.part.mesh).is_watertight and entry.part.bodies == 1 for entry in kit.parts)


def test_the_demo_kit_is_the_frames_kit_part_by_part(kit):
    demo = demo_kit()
    assert kit.name == demo.name
    for ours, theirs in zip(kit.parts, demo.parts, strict=True):
        name = theirs.part.name
        assert (ours.part.name, ours.count) == (name, theirs.count)
        assert (ours.sockets, ours.bores) == (theirs.sockets, theirs.bores), name
        assert [f.area_cm2 for f in ours.faces] == pytest.approx([f.area_cm2 for f in theirs.faces], abs=0.05)
        # The frame's nodes are turned as they stand: boxes differ, what is measured on the shape does not.
        assert ours.part.volume_cm3 == pytest.approx(theirs.part.volume_cm3, rel=2e-5), name
        assert ours.part.area_cm2 == pytest.approx(theirs.part.area_cm2, rel=2e-5), name
    files = [path for path in (DEMO / "nodes").iterdir() if path.suffix in (".stl", ".3mf")]
    assert {path.stem for path in files} == {item.part.name for item in kit.parts}
    assert all(path.stat().st_size < 1_000_000 for path in files)


def test_left_and_right_corner_are_mirror_images(kit):
    left, right = (item.part for item in kit.parts if item.part.name.startswith("corner"))
    assert left.volume_cm3 == pytest.approx(right.volume_cm3, rel=1e-5)
    assert left.area_cm2 == pytest.approx(right.area_cm2, rel=1e-5)


def test_sockets_stand_where_the_mouths_are_said_to_be(rover, kit):
    for kind, entry in zip(rover.node_kinds, kit.parts, strict=True):
        vertices, point = entry.part.mesh[0], kind.points[0]
        for name, mouth in rover.mouths_mm(point).items():
            along = vertices @ rover.direction(rover.tubes[name], point)
            radius = np.linalg.norm(vertices - np.outer(along, rover.direction(rover.tubes[name], point)), axis=1)
            wide = rover.tubes[name].socket_at(point).diameter_mm
            rim = np.abs(along - mouth) < 1e-3
            assert radius[rim].min() == pytest.approx(wide / 2 + 0.2, rel=5e-3)


def test_alike_nodes_are_one_mesh_turned(rover):
    for kind in rover.node_kinds:
        first = rover.shape_at(kind.points[0])
        base = np.array([t.direction for t in first["tubes"]])
        for point, turn, names in zip(kind.points, kind.turns, kind.tubes, strict=True):
            there = [rover.direction(rover.tubes[name], point) for name in names]
            assert np.allclose(base @ turn.T, there, atol=2e-3)
            assert np.linalg.det(turn) == pytest.approx(1)


def frame_of(directions_a, directions_b):
    """Two separate nodes of three tubes with free ends."""
    points, tubes = {}, {}
    for label, directions, at in (("a", directions_a, (0, 0, 0)), ("b", directions_b, (5000, 0, 0))):
        points[label] = Point(label, at)
        for i, direction in enumerate(directions):
            end = f"{label}{i}"
            points[end] = Point(end, tuple(np.add(at, 500 * np.array(direction))))
            tubes[end] = FrameTube(end, (label, end), "carbon", 20.0 + 5 * i, 1.5)
    return Frame("two nodes", points, tubes, {})


CORNER = np.array([(1, 0, 0), (0.3, 1, 0), (-0.4, 0.2, 1)])


def test_turned_nodes_are_alike_and_mirrored_ones_are_not():
    turned = CORNER @ Rotation.from_rotvec((0.3, -1.2, 0.7)).as_matrix().T
    assert len(frame_of(CORNER, turned).node_kinds) == 1
    mirrored = CORNER * (1, -1, 1)
    assert len(frame_of(CORNER, mirrored).node_kinds) == 2
    # What is alike has the same volume, whichever of the two is built.
    volumes = [make_node(tuple(Tube(tuple(d), 20 + 5 * i) for i, d in enumerate(ds))) for ds in (CORNER, turned)]
    assert measure(*volumes[0].mesh)[0] == pytest.approx(measure(*volumes[1].mesh)[0], rel=2e-3)


def test_the_corners_of_a_box_are_one_kind(tmp_path):
    """Twelve tubes, eight nodes, no pivot, no wheel."""
    corners = [(x, y, z) for z in (0, 400) for x in (0, 500) for y in (0, 600)]
    edges = [(i, j) for i in range(8) for j in range(i) if bin(i ^ j).count("1") == 1]
    text = ROVER.read_text().split("# Points")[0]
    for i, at in enumerate(corners):
        text += f'[[point]]\nname = "p{i}"\nat = [{at[0]}.0, {at[1]}.0, {at[2]}.0]\n'
    for i, j in edges:
        text += f'[[tube]]\nname = "t{i}{j}"\nbetween = ["p{i}", "p{j}"]\ntubing = "carbon"\n'
        text += "diameter_mm = 22.0\nwall_mm = 1.5\nbond_mm = 30.0\n"
    (tmp_path / "box.toml").write_text(text)
    kit = Frame.load(tmp_path / "box.toml").kit(segments=32)
    # A corner of three alike tubes at right angles is its own mirror image: one kind, eight times.
    assert [(entry.count, len(entry.sockets)) for entry in kit.parts] == [(8, 3)]


def test_all_faults_of_a_file_are_told_together(tmp_path):
    text = ROVER.read_text().replace('["rocker_left", "axle_front_left"]', '["rocker_lift", "axle_front_left"]')
    text = text.replace('point = "axle_rear_left"', 'point = "axel_rear_left"')
    (tmp_path / "f.toml").write_text(text)
    with pytest.raises(InputError, match=r"(?s)2 faults.*rocker_lift.*rocker_left.*axel_rear_left"):
        Frame.load(tmp_path / "f.toml")


def test_a_tube_that_tapers_has_a_socket_of_its_own_at_each_end(rover):
    leg = rover.tubes["front_leg_left"]
    sockets = [(s.diameter_mm, s.depth_mm) for s in map(leg.socket_at, leg.between)]
    assert sockets == [(30.0, 40.0), (25.0, 35.0)]
    assert leg.thin_mm == 25.0


def test_a_tube_that_cannot_be_is_refused():
    with pytest.raises(InputError, match="needs wall_mm below half"):
        FrameTube("t", ("a", "b"), "carbon", 20.0, 10.0)
    with pytest.raises(InputError, match="mass_kg"):
        Point("p", (0, 0, 0), mass_kg=-1)


def test_pivots_at_must_be_an_end_with_a_pivot(tmp_path):
    text = ROVER.read_text().replace('pivots_at = "rocker_left"', 'pivots_at = "corner_left"')
    (tmp_path / "f.toml").write_text(text)
    with pytest.raises(InputError, match="rocker_shaft_left: pivots_at must be an end"):
        Frame.load(tmp_path / "f.toml")


def test_a_node_that_cannot_be_is_told_by_its_point(rover):
    tight = replace(rover.points["mast_foot"], pivot=Pivot((0.0, 0.05, 1.0), 20.0, 40.0))
    frame = replace(rover, points={**rover.points, "mast_foot": tight})
    with pytest.raises(InputError, match=r"point mast_foot, where the tubes mast, .*: tube 1 and the axis of boss 1"):
        frame.kit()
