"""A part of one's own on the panel: dropped as a mesh in inches or typed as numbers, it is measured and compared."""

import datetime as dt
from pathlib import Path

import pytest
import trimesh

from pourprint.ledger.errors import InputError
from pourprint.panels import compare_panel
from pourprint.panels.own import measured
from scenes import demo_kit, demo_rates

NODE = Path(__file__).parents[2] / "data_demo" / "nodes" / "axle_carrier.stl"


def inches():
    """The demo node as a file whose numbers are inches."""
    mesh = trimesh.load(NODE)
    mesh.apply_scale(1 / 25.4)
    return mesh.export(file_type="stl")


def box_of(panel):
    """The widgets of the box: (mesh, unit, words, volume, area, box, count, button, status, found)."""
    page = panel.widget.children[0].children[0]
    return page.children[0].children[-3].children[1].children


def test_a_mesh_in_inches_is_guessed_by_its_size():
    (in_mm, unit), (guessed, other) = measured("node.stl", NODE.read_bytes()), measured("node.stl", inches())
    assert (unit, other) == ("mm", "inch")
    assert guessed.volume_cm3 == pytest.approx(in_mm.volume_cm3, rel=1e-4)  # an STL file holds single precision
    assert guessed.box_mm == pytest.approx(in_mm.box_mm, rel=1e-4)


def test_what_is_no_mesh_is_refused_in_a_sentence():
    for name, content in (("node.txt", b"text"), ("node.stl", b"no facets"), ("node.stl", bytes(41_000_000))):
        with pytest.raises(InputError):
            measured(name, content)


def test_a_dropped_mesh_is_compared_at_its_own_size():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    drop, *_, count, button, status, found = box_of(panel)
    drop.value = [{"name": "node.stl", "type": "", "size": 1, "content": inches(), "last_modified": dt.datetime.now()}]
    count.value = "6"
    button.click()
    assert panel.controls["kit"].value == "6 × node" and "></div>" in status.value and found.children
    assert panel.controls["volume"].value == pytest.approx(measured("node.stl", inches())[0].volume_cm3, abs=0.05)
    assert any("and 6 × node" in name for name in panel.controls["kit"].source.options)


def test_three_numbers_make_a_part_and_a_slip_is_said():
    panel = compare_panel(demo_kit(), demo_rates(), "2027-01-11T08:00")
    *_, volume, area, sides, _, button, status, _ = box_of(panel)
    volume.value, area.value, sides.value = "60,5", "210", "90 × 70 x 60"
    button.click()
    assert panel.controls["kit"].value == "1 × own part" and panel.controls["volume"].value == 60.5
    volume.value = "much"
    button.click()
    assert "cannot be read as a number" in status.value
