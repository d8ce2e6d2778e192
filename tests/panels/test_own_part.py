"""A part of one's own on the panel: dropped as a mesh in inches or typed as numbers, it is measured and compared."""

import datetime as dt
import time
from contextlib import suppress
from pathlib import Path

import pytest
import trimesh

from malformed_parts import threemf
from pourprint.ledger.errors import InputError
from pourprint.panels import compare_panel, four_questions, own_part
from pourprint.panels.own_part import DROP, measured, within
from scenes import demo_kit, demo_rates

NODE = Path(__file__).parents[2] / "data_demo" / "nodes" / "axle_carrier.stl"


def inches():
    """The demo node as a file whose numbers are inches."""
    mesh = trimesh.load(NODE)
    mesh.apply_scale(1 / 25.4)
    return mesh.export(file_type="stl")


def box_of(panel):
    """The widgets of the box: (mesh, unit, pieces, typed numbers, status, found)."""
    return panel.beside[0].children[1].children


def dropped(box, name, content, piece=1000):
    """The file's pieces as the browser sends them."""
    for first in range(0, len(content), piece):
        message = {"name": name, "first": first == 0, "last": first + piece >= len(content)}
        box[0]._handle_custom_msg(message, [memoryview(content[first : first + piece])])


def test_a_mesh_in_inches_is_guessed_by_its_size():
    (in_mm, unit), (guessed, other) = measured("node.stl", NODE.read_bytes()), measured("node.stl", inches())
    assert (unit, other) == ("mm", "inch")
    assert guessed.volume_cm3 == pytest.approx(in_mm.volume_cm3, rel=1e-4)  # an STL file holds single precision
    assert guessed.box_mm == pytest.approx(in_mm.box_mm, rel=1e-4)


@pytest.mark.parametrize(("stated", "longest_mm"), [("inch", 76.2), ("centimeter", 30.0), ("millimeter", 3.0)])
def test_a_3mf_is_read_in_the_unit_that_it_states_and_no_other_is_guessed(stated, longest_mm):
    """By hand: 3 × 2 × 1.5 inches of 25.4 mm, cm of 10 mm; 3 mm is no node, and the words do not ask for inches."""
    content = threemf(trimesh.creation.box((3, 2, 1.5)), stated)
    if stated == "millimeter":
        with pytest.raises(InputError, match="size of a node in none"):
            measured("block.3mf", content)
    part, unit = measured("block.3mf", content, "mm" if stated == "millimeter" else "guess")
    assert unit == {"inch": "inch", "centimeter": "cm", "millimeter": "mm"}[stated]
    assert part.box_mm == pytest.approx([longest_mm, longest_mm * 2 / 3, longest_mm / 2])
    assert part.volume_cm3 == pytest.approx(0.009 * (longest_mm / 3) ** 3)


def test_a_part_of_a_name_that_the_kit_has_keeps_the_kits_own_part_and_gets_a_name_of_its_own():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    dropped(box_of(panel), "axle_carrier.stl", NODE.read_bytes())
    options = panel.controls["kit"].source.options
    assert panel.controls["kit"].value == "1 × own axle carrier"
    assert "field rover frame and 1 × own axle carrier" in options and "one axle carrier" in options


def test_what_is_no_mesh_is_refused_in_a_sentence():
    for name, content in (("node.txt", b"text"), ("node.stl", b"no facets"), ("node.stl", bytes(41_000_000))):
        with pytest.raises(InputError):
            measured(name, content)


def test_a_dropped_mesh_is_measured_and_compared_at_once_at_its_own_size():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    drop, unit, count, _, status, found = box = box_of(panel)
    said = []
    drop.told.observe(lambda change: said.append(change["new"]), "news")
    dropped(box, "node.stl", inches())
    assert panel.controls["kit"].value == "1 × node" and "></div>" in status.value and found.children
    assert panel.controls["volume"].value == pytest.approx(measured("node.stl", inches())[0].volume_cm3, abs=0.05)
    assert any("and 1 × node" in name for name in panel.controls["kit"].source.options)
    assert [text.partition(":")[0] for text in said] == ["node.stl, 1 of 2", "node.stl, 2 of 2", DROP]
    unit.value = "cm"  # the same file, read otherwise
    assert panel.controls["volume"].value == pytest.approx(measured("node.stl", inches(), "cm")[0].volume_cm3, abs=0.05)
    count.value, unit.value = "six", "inch"
    assert "cannot be read as a number" in status.value


def test_a_part_that_cannot_be_poured_says_why_and_what_to_change_and_its_picture_shows_where():
    """By hand: a fin of 0.3 mm in the plane x = 0, 30 mm tall, stands on a block whose top is at z = 10 mm. Every
    printed route finds that wall, two refuse it, and metal only watches it: it is marked once, as refused."""
    block, fin = trimesh.creation.box((60, 40, 20)), trimesh.creation.box((0.3, 40, 30))
    both = trimesh.util.concatenate([block, fin.apply_translation((0, 0, 25))])
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    box = box_of(panel)
    dropped(box, "fin.stl", both.export(file_type="stl"))
    said, picture = box[-1].children
    assert "refused in AlSi7Mg: fin: wall 0.3 mm at (0, " in said.value
    assert "; thicken it, or take another route." in said.value
    assert "Printed metal" in panel.answer.value and "no route" not in panel.answer.value
    names = {name.text: (name.x, name.y, name.z) for name in picture.figure.layout.scene.annotations}
    assert len(names) == len(picture.figure.layout.scene.annotations) == 2
    x, y, z = names.pop("refused: wall")
    assert abs(x) <= 0.15 and abs(y) <= 20 and 10 <= z <= 40
    ((words, (x, y, z)),) = names.items()  # where the fin meets the block, 40 mm on either side
    assert words.replace("<br>", " ") == "watch: sharp inner corners" and z == pytest.approx(10)
    assert picture.figure.layout.title.text == "fin: 1 refused, 1 to watch"


def test_what_no_route_can_make_is_one_sentence_however_many_routes_say_it():
    """Two blocks 100 mm apart are two parts, to every route alike."""
    block = trimesh.creation.box((80, 60, 20))
    both = trimesh.util.concatenate([block, block.copy().apply_translation((100, 0, 0))])
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    dropped(box_of(panel), "two.stl", both.export(file_type="stl"))
    assert "no route can make this" in panel.answer.value and panel.answer.value.count("2 separate bodies") == 1


def test_what_takes_too_long_or_fails_is_refused_and_the_button_waits_again(monkeypatch):
    monkeypatch.setattr(own_part, "MOST_S", 0.05)
    monkeypatch.setattr(own_part, "measured", lambda *file: time.sleep(2))
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    box = box_of(panel)
    before, begun = panel.controls["kit"].value, time.monotonic()
    dropped(box, "node.stl", inches())
    assert time.monotonic() - begun < 1 and "takes more than 0.05 s to measure" in box[-2].value
    assert panel.controls["kit"].value == before and box[0].told.news == DROP


def test_three_numbers_make_a_part_and_a_slip_is_said():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    *_, typed, status, _ = box_of(panel)
    volume, area, sides, button = typed.children[1].children
    volume.value, area.value, sides.value = "60,5", "210", "90 × 70 x 60"
    button.click()
    assert panel.controls["kit"].value == "1 × own part" and panel.controls["volume"].value == 60.5
    volume.value = "much"
    button.click()
    assert "cannot be read as a number" in status.value


def test_four_questions_lead_to_the_answer_of_the_whole_panel():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    page = four_questions(panel).children[0].children[0]
    questions, answer = page.children
    assert [box.children[0].value[4:6] for box in questions.children] == ["1.", "2.", "3.", "4."]
    dropped(box_of(panel), "node.stl", inches())
    panel.controls["quantity"].source.value = 6
    panel.controls["deadline"].source.value = dt.date(2027, 2, 26)
    assert (
        "failures in the mean" in answer.children[1].value and "in time by Fri 26 Feb 2027" in answer.children[1].value
    )


def test_no_study_takes_the_clock_for_an_answer_of_its_own():
    """One that catches every fault, to go on with a usual value, is stopped all the same."""
    with pytest.raises(InputError, match=r"rock takes more than 0\.1 s to measure"), within(0.1, "rock"):
        while True:
            with suppress(Exception):
                time.sleep(0.01)
