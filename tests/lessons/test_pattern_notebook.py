"""The notebooks of the routes on other meshes than theirs: other demo nodes, and solids they have never seen."""

import json
from pathlib import Path

import numpy as np
import pytest

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


def run(mesh, monkeypatch, unit="mm", name="02_print_the_pattern"):
    """Run a notebook's code with another mesh; return its names. Cells hold asserts."""
    text = (NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8")
    cells = ["".join(cell["source"]) for cell in json.loads(text)["cells"] if cell["cell_type"] == "code"]
    assert cells[0].startswith("mesh = ")
    monkeypatch.chdir(NOTEBOOKS)
    names = {"mesh": str(mesh), "unit": unit}
    for cell in cells[1:]:
        exec(compile(cell, "cell", "exec"), names)  # no kernel: ten times as fast
    return names


def unseen(kind, folder):
    """A solid that no recipe of the project makes, as a file."""
    import trimesh

    path = folder / f"{kind}.stl"
    if kind == "ring":
        trimesh.creation.torus(40, 9).export(path)
    else:
        ball = trimesh.creation.icosphere(6, 1.0)  # 81 920 facets, more than a picture can turn
        ball.apply_scale((30, 22, 18))
        ball.export(path)
    return path


@pytest.mark.parametrize("kind", ["ring", "ball of many facets", "spreader", "mast_foot"])
def test_the_notebook_runs_on_another_part(kind, monkeypatch, tmp_path):
    nodes = {"spreader": "spreader.3mf", "mast_foot": "mast_foot.stl"}
    mesh = NOTEBOOKS.parent / "data_demo" / "nodes" / nodes[kind] if kind in nodes else unseen(kind, tmp_path)
    names = run(mesh, monkeypatch)
    assert names["plan"].feasible and len(names["plan"].stages) == 10
    assert names["part"].name == mesh.stem


def skew_bracket(folder):
    """A plate, a wall, a hub with a skew hole and three ribs of 1.8 mm, as an OBJ file in inches: (path, cm³)."""
    import trimesh

    plate, wall, hub, hole = (
        trimesh.creation.box((80, 50, 8)),
        trimesh.creation.box((8, 50, 60)),
        trimesh.creation.cylinder(16, 30, sections=64),
        trimesh.creation.cylinder(9, 80, sections=64),
    )
    skew = trimesh.transformations.rotation_matrix(np.radians(32), (1, 0.4, 0))
    for solid in (hub, hole):
        solid.apply_transform(skew)
    for solid, to in ((plate, (0, 0, 4)), (wall, (-36, 0, 30)), (hub, (18, 0, 16)), (hole, (18, 0, 16))):
        solid.apply_translation(to)
    corners = [(x, y, z) for y in (-1.8, 1.8) for x, z in ((-34, 6), (-34, 52), (-6, 6))]
    ribs = [trimesh.convex.convex_hull(np.add(corners, (0, y, 0))) for y in (-20, 0, 20)]
    bracket = trimesh.boolean.difference([trimesh.boolean.union([plate, wall, hub, *ribs]), hole])
    volume_cm3 = bracket.volume / 1000
    bracket.apply_scale(1 / 25.4)
    path = folder / "skew_bracket.obj"
    bracket.export(path)
    return path, volume_cm3


@pytest.mark.parametrize(
    ("name", "stages"), [("02_print_the_pattern", 10), ("03_print_the_mould", 7), ("04_print_the_metal", 5)]
)
def test_every_route_runs_on_a_bracket_in_inches(name, stages, monkeypatch, tmp_path):
    mesh, volume_cm3 = skew_bracket(tmp_path)
    names = run(mesh, monkeypatch, "inch", name)
    assert names["plan"].feasible and len(names["plan"].stages) == stages
    assert names["part"].volume_cm3 == pytest.approx(volume_cm3, rel=1e-6)  # an OBJ file keeps eight digits
