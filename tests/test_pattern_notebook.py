"""Notebook 02 on other meshes than the one it is written with: other demo nodes, and solids it has never seen."""

import json
from pathlib import Path

import pytest

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"


def run(mesh, monkeypatch):
    """Run the notebook's code with another mesh; return its names. Cells hold asserts."""
    text = (NOTEBOOKS / "02_print_the_pattern.ipynb").read_text(encoding="utf-8")
    cells = ["".join(cell["source"]) for cell in json.loads(text)["cells"] if cell["cell_type"] == "code"]
    assert cells[0].startswith("mesh = ")
    monkeypatch.chdir(NOTEBOOKS)
    names = {"mesh": str(mesh), "unit": "mm"}
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
