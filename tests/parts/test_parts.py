"""Parts and kits: what the numbers mean, how they scale, and that bad input is refused with one sentence."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from malformed_parts import BALL, BY_NUMBERS, MALFORMED, stl
from pourprint.ledger.errors import InputError
from pourprint.parts.kits import Bore, Face, Kit, KitPart, Socket
from pourprint.parts.part import Part

DEMO_KIT = Path(__file__).parents[2] / "data_demo" / "rover_kit.toml"


def bracket(**changed):
    return Part.from_numbers("bracket", **{"volume_cm3": 60, "area_cm2": 210, "box_mm": (90, 70, 60)} | changed)


@pytest.mark.parametrize("attempt", [a for _, a in MALFORMED], ids=[name for name, _ in MALFORMED])
def test_bad_input_is_refused_with_one_readable_message(attempt, tmp_path):
    with pytest.raises(InputError) as caught:
        attempt(tmp_path)
    message = str(caught.value)
    assert len(message) > 15 and "Traceback" not in message
    assert message.endswith((".", "?"))


def test_the_names_of_bad_inputs_differ():
    assert len({name for name, _ in MALFORMED}) == len(MALFORMED) >= 30


def test_derived_numbers_of_a_cube():
    # Exact: cube of 60 mm, V/A = a/6.
    cube = Part.from_numbers("cube", volume_cm3=216, area_cm2=216, box_mm=(60, 60, 60))
    assert cube.modulus_mm == pytest.approx(10)
    assert cube.wall_mm == pytest.approx(20)
    assert cube.height_mm == 60
    assert cube.solidity == pytest.approx(1)
    assert cube.support_cm3 == 0  # its box is full


def test_wall_of_a_thin_plate():
    # Exact: plate a x a x t has 2 V/A = t / (1 + 2 t/a); with t/a = 1/100 within 2% of t.
    plate = Part.from_numbers("plate", volume_cm3=20, area_cm2=208, box_mm=(100, 100, 2))
    assert plate.wall_mm == pytest.approx(2 / (1 + 0.04), rel=1e-12)


def test_estimates_are_named_as_such_and_given_values_are_not():
    guessed, known = bracket(), bracket(overhang_cm2=5, support_cm3=7)
    assert len(guessed.notes) == 2 and all("estimate" in note for note in guessed.notes)
    assert guessed.overhang_cm2 == pytest.approx(0.25 * 63)
    assert guessed.support_cm3 == pytest.approx(0.15 * (378 - 60))
    assert known.notes == () and (known.overhang_cm2, known.support_cm3) == (5, 7)


@given(factor=st.floats(0.01, 100))
def test_scaling_keeps_the_shape(factor):
    part, scaled = bracket(), bracket().scaled_to(60 * factor)
    s = factor ** (1 / 3)
    assert scaled.volume_cm3 == pytest.approx(60 * factor)
    assert scaled.area_cm2 == pytest.approx(210 * s**2)
    assert scaled.modulus_mm == pytest.approx(part.modulus_mm * s)
    assert scaled.box_mm == pytest.approx(part.box_mm * s)
    assert scaled.overhang_cm2 == pytest.approx(part.overhang_cm2 * s**2)
    assert scaled.support_cm3 == pytest.approx(part.support_cm3 * factor)
    assert scaled.solidity == pytest.approx(part.solidity)


def test_arrays_give_what_single_numbers_give():
    volumes = np.array([[20.0, 40.0, 80.0]])
    many = bracket().scaled_to(volumes)
    given = bracket(volume_cm3=volumes, box_mm=(90, 70, np.array([[60], [80]])))
    assert many.box_mm.shape == (1, 3, 3) and given.height_mm.shape == (2, 1)
    assert given.solidity.shape == given.support_cm3.shape == (2, 3)
    for i, volume in enumerate(volumes[0]):
        one = bracket().scaled_to(volume)
        assert many.area_cm2[0, i] == pytest.approx(one.area_cm2)
        assert many.height_mm[0, i] == pytest.approx(one.height_mm)
        assert given.support_cm3[1, i] == pytest.approx(bracket(volume_cm3=volume, box_mm=(90, 70, 80)).support_cm3)


def test_a_scaled_mesh_measures_as_the_scaled_part():
    part = Part.from_arrays("ball", BALL.vertices, BALL.faces).scaled_to(100)
    again = Part.from_arrays("ball", *part.mesh)
    for key in ("volume_cm3", "area_cm2", "overhang_cm2", "support_cm3"):
        assert getattr(again, key) == pytest.approx(getattr(part, key), rel=1e-9)
    assert Part.from_arrays("ball", BALL.vertices, BALL.faces).scaled_to(np.array([1.0])).mesh is None


@settings(max_examples=30)
@given(up=st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_turning_changes_neither_volume_nor_area(up):
    wedge = trimesh.creation.box((20, 30, 50))
    part = Part.from_arrays("wedge", wedge.vertices, wedge.faces)
    turned = part.turned(up)
    assert turned.volume_cm3 == pytest.approx(part.volume_cm3, rel=1e-9)
    assert turned.area_cm2 == pytest.approx(part.area_cm2, rel=1e-9)
    # Exact: height of a box along a unit direction u is sum of |u_i| a_i.
    assert turned.height_mm == pytest.approx(np.abs(up / np.linalg.norm(up)) @ (20, 30, 50), rel=1e-9)


def test_up_of_a_file_is_turned_to_z(tmp_path):
    box = trimesh.creation.box((20, 30, 50))
    (tmp_path / "box.stl").write_bytes(stl(box.vertices, box.faces))
    assert Part.from_mesh(tmp_path / "box.stl", up=(1, 0, 0)).height_mm == pytest.approx(20)
    assert Part.from_mesh(tmp_path / "box.stl", up=(0, -1, 0)).height_mm == pytest.approx(30)
    part = Part.from_mesh(tmp_path / "box.stl", unit="cm", name="my box")
    assert part.name == "my box" and part.volume_cm3 == pytest.approx(30_000)


def test_layers_of_a_part():
    box = trimesh.creation.box((20, 30, 50))
    heights, areas, perimeters = Part.from_arrays("box", box.vertices, box.faces).sections(0.5)
    assert len(heights) == 100 and heights[0] == 0.25 and heights[-1] == 49.75
    assert areas == pytest.approx(600) and perimeters == pytest.approx(100)


def test_kit_sums_over_all_pieces():
    kit = Kit("k", (KitPart(bracket(), 3), KitPart(replace(bracket(volume_cm3=30), name="small"), 2)))
    assert kit.nodes == 5
    assert kit.volume_cm3 == pytest.approx(240)
    assert Kit.of(bracket()).nodes == 1 and Kit.of(bracket()).volume_cm3 == 60
    assert Kit.of(bracket()).noun == "piece" and Kit("two", (KitPart(bracket(), 2),)).noun == "kit"


def test_scaling_a_kit_scales_every_part_alike_and_leaves_sockets_and_bores():
    kit = Kit.load(DEMO_KIT)
    bigger = kit.scaled_to(np.array([40.0, 120.0]))
    assert bigger.volume_cm3 / kit.nodes == pytest.approx([40, 120])
    shares = [a.part.volume_cm3 / b.part.volume_cm3 for a, b in zip(bigger.parts, kit.parts, strict=True)]
    assert np.ptp(shares, axis=0) == pytest.approx(0, abs=1e-12)
    assert [e.sockets for e in bigger.parts] == [e.sockets for e in kit.parts]
    assert kit.scaled_to(50).parts[0].part.mesh is not None


def test_demo_kit():
    kit = Kit.load(DEMO_KIT)
    assert "invented" in kit.pedigree.lower()
    assert len(kit.parts) >= 6 and 10 <= kit.nodes <= 16
    assert all(15 <= e.part.volume_cm3 <= 250 and e.part.bodies == 1 and not e.part.notes for e in kit.parts)
    table = kit.table()
    assert (table["count"] * table["volume_cm3"]).sum() == pytest.approx(kit.volume_cm3)
    assert table.loc["rocker_pivot", ["count", "sockets", "bores", "faces"]].tolist() == [2, 2, 2, 2]


def test_kit_file_may_give_numbers(tmp_path):
    details = (
        'bores = [{ diameter_mm = 22, depth_mm = 7, fit = "N7" }]\nsockets = [{ diameter_mm = 25, depth_mm = 35 }]\n'
    )
    path = tmp_path / "kit.toml"
    path.write_text(f'name = "k"\n[[part]]\n{BY_NUMBERS}{details}faces = [{{ area_cm2 = 4 }}]\noverhang_cm2 = 3\n')
    (entry,) = Kit.load(path).parts
    assert entry.part.volume_cm3 == 60 and entry.part.overhang_cm2 == 3 and len(entry.part.notes) == 1
    assert (entry.bores, entry.sockets, entry.faces) == ((Bore(22, 7, "N7"),), (Socket(25, 35),), (Face(4),))


def test_a_kit_knows_its_parts_by_name_and_its_features_by_kind():
    part = Part.from_numbers("lug", 60, 210, (90, 70, 60))
    with pytest.raises(InputError, match="'lug' is given to more than one part"):
        Kit("two", (KitPart(part), KitPart(part)))
    for bores in (Bore(20, 60), ({"diameter_mm": 3},)):
        with pytest.raises(InputError, match="must be a tuple of Bore"):
            KitPart(part, bores=bores)


@pytest.mark.parametrize(
    ("feature", "said"),
    [
        ("bores = [{ diameter_mm = 120, depth_mm = 20 }]", "120 mm is wider than the part is long, 90 mm"),
        ("faces = [{ area_cm2 = 640 }]", "faces of 640 cm² are more than the part's whole surface, 210 cm²"),
    ],
)
def test_a_feature_that_the_part_has_no_room_for_is_a_slip_of_the_file(tmp_path, feature, said):
    numbers = 'name = "lug"\ncount = 1\nvolume_cm3 = 60.0\narea_cm2 = 210.0\nbox_mm = [90.0, 70.0, 60.0]'
    (tmp_path / "kit.toml").write_text(f'name = "one"\n[[part]]\n{numbers}\n{feature}\n', encoding="utf-8")
    with pytest.raises(InputError, match=said):
        Kit.load(tmp_path / "kit.toml")


def test_all_faults_of_a_kit_file_come_in_one_message(tmp_path):
    path = tmp_path / "kit.toml"
    path.write_text(
        'name = "k"\ncolour = "red"\n'
        '[[part]]\nname = "one"\ncount = 0\nmesh = "one.stl"\n'
        '[[part]]\nname = "two"\ncount = 1\nmesh = "two.stl"\n'
        f"[[part]]\n{BY_NUMBERS}bores = [{{ diameter_mm = -1, depth_mm = 'deep' }}]\nweight = 1\n"
    )
    with pytest.raises(InputError) as caught:
        Kit.load(path)
    message = str(caught.value)
    for expected in ("kit.toml", "colour", "count=0", "two.stl", "bores 1", "depth_mm", "'deep'", "weight"):
        assert expected in message


@pytest.mark.parametrize("fit", ["H7", "N7", "JS6", "P9", "ZA8", "H01"])
def test_iso_hole_fits_are_accepted(fit):
    assert Bore(25, 10, fit).fit == fit


# Meshes of another kind


def test_loose_beads_are_said_and_make_a_kit():
    beads = [
        trimesh.creation.icosphere(1, 3.0).apply_translation((8 * i, 8 * j, 0)) for i in range(20) for j in range(20)
    ]
    beads[7] = trimesh.creation.box((4, 4, 4)).apply_translation(beads[7].centroid)
    whole = trimesh.util.concatenate(beads)
    part = Part.from_arrays("beads", whole.vertices, whole.faces)
    assert part.bodies == 400 and "400 separate bodies" in " ".join(part.notes)
    kit = Kit.of_bodies(part)
    assert sorted(kit.counts.tolist()) == [1, 399]
    assert kit.volume_cm3 == pytest.approx(part.volume_cm3)


def test_a_huge_mesh_is_measured_whole_and_studied_on_a_copy(monkeypatch):
    monkeypatch.setattr("pourprint.parts.part.MOST_STUDIED", 10_000)
    monkeypatch.setattr("pourprint.parts.part.DETAIL", 800)
    ball = trimesh.creation.icosphere(5, 20.0)
    part = Part.from_arrays("ball", ball.vertices, ball.faces)
    assert part.volume_cm3 == pytest.approx(ball.volume / 1e3) and len(part.mesh[1]) == len(ball.faces)
    assert len(part.shape.faces) < len(ball.faces)
    assert f"{len(part.shape.faces)} of {len(ball.faces)} facets" in " ".join(part.notes)


def test_a_mesh_of_a_kit_stands_as_it_is_drawn_unless_its_table_turns_it(tmp_path):
    box = trimesh.creation.box((60, 40, 30))
    box.export(tmp_path / "box.stl")
    table = 'name = "k"\n[[part]]\nname = "box"\ncount = 1\nmesh = "box.stl"\n'
    for more, height_mm in (("", 30), ("up = [1.0, 0.0, 0.0]\n", 60)):
        (tmp_path / "kit.toml").write_text(table + more)
        assert Kit.load(tmp_path / "kit.toml").parts[0].part.height_mm == pytest.approx(height_mm)


def test_one_piece_of_a_part_is_bored_and_bonded_as_the_kit_says_of_that_name():
    kit = Kit.load(DEMO_KIT)
    rocker = next(entry for entry in kit.parts if entry.part.name == "rocker_pivot")
    alone = kit.piece(rocker.part.scaled_to(80))
    assert alone.name == "rocker_pivot" and alone.nodes == 1 and alone.parts[0].part.volume_cm3 == pytest.approx(80)
    assert (alone.parts[0].bores, alone.parts[0].sockets, alone.parts[0].faces) == (
        rocker.bores, rocker.sockets, rocker.faces,
    )  # fmt: skip
    own = kit.piece(bracket())
    assert own.parts == (KitPart(own.parts[0].part),) and rocker.part.title == "rocker pivot"
