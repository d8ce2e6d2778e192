"""Rays through meshes and voxel grids against solids whose volume, gaps and faces are known."""

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns, voxels
from pourprint.process.geometry import frame_along
from scenes import DEMO

few = settings(max_examples=40)
direction = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda d: np.linalg.norm(d) > 0.1)


def solid(body):
    return np.asarray(body.vertices), np.asarray(body.faces)


def demo_node(name):
    return pp.Part.from_mesh(DEMO / "nodes" / name).mesh


def held_mm3(found):
    """Volume of the columns: exact along the rays, sampled across them."""
    return (found.exit_mm - found.enter_mm).sum() * found.spacing_mm**2


def test_a_box_on_the_grid_is_exact_though_rays_run_through_its_edges_and_diagonals():
    # Rays half a millimetre apart meet the box's diagonals; each must be counted once.
    for spacing in (0.5, 1.0, 2.0):
        found = columns(*solid(trimesh.creation.box((10, 8, 6))), spacing)
        assert held_mm3(found) == pytest.approx(480, rel=1e-12) and (found.count == 1).all()


@few
@given(direction, st.floats(0.4, 3.0))
def test_every_ray_enters_as_often_as_it_leaves_and_never_backwards(direction, spacing):
    vertices, faces = demo_node("rocker_pivot.stl")
    found = columns(vertices, faces, spacing, direction)
    assert len(found.column) == len(found.enter_mm) == len(found.exit_mm)
    assert (found.exit_mm >= found.enter_mm).all()
    _, start, end = found.gaps
    assert (end >= start - 1e-9).all()
    span = vertices @ frame_along(direction)[2]
    assert span.min() - 1e-9 <= found.enter_mm.min() and found.exit_mm.max() <= span.max() + 1e-9


@pytest.mark.parametrize("name", ["mast_foot.stl", "corner_left.stl", "spreader.3mf"])
def test_columns_and_voxels_hold_the_volume_of_the_mesh(name):
    mesh = demo_node(name)
    volume = trimesh.Trimesh(*mesh).volume
    # Sampled across the rays: measured 1e-4 for a slanted view at 0.5 mm, 8e-4 for 65 rays a cell of 3 mm.
    assert held_mm3(columns(*mesh, 0.5, (1, 2, 3))) == pytest.approx(volume, rel=1e-3)
    for cell in (1.0, 2.0, 3.0):
        assert voxels(*mesh, cell).fraction.sum() * cell**3 == pytest.approx(volume, rel=1e-3)


def test_a_tube_seen_from_the_side_has_its_bore_as_the_gap():
    tube = trimesh.creation.annulus(10, 14, 30, sections=256)
    found = columns(*solid(tube), 0.25, (1, 0, 0))
    ray, start, end = found.gaps
    # The bore's section is a chord over the width: its area is π·10², but for the polygon (1e-4) and the sampling.
    assert (end - start).sum() * 0.25**2 == pytest.approx(np.pi * 100 * 30, rel=5e-3)
    assert found.count.max() == 2 and len(ray) == (found.count == 2).sum()


@few
@given(st.floats(3, 15), st.floats(1.0, 2.5))
@example(12.972090355403106, 1.6057780517941334)  # rays on the cells' borders, which rounding gave to either cell
def test_a_wall_keeps_its_thickness_on_any_grid(thickness, cell):
    grid = voxels(*solid(trimesh.creation.box((thickness, 12, 12))), cell)
    middle = grid.fraction[:, grid.fraction.shape[1] // 2, grid.fraction.shape[2] // 2]
    assert middle.sum() * cell == pytest.approx(
        thickness, abs=2 / 65 * cell
    )  # rays a 65th of a cell apart, at either face


def test_the_grid_lies_where_the_mesh_does():
    body = trimesh.creation.box((4, 4, 4))
    body.apply_translation((100, -20, 7))
    grid = voxels(*solid(body), 1.0, pad_mm=3)
    full = np.argwhere(grid.fraction > 0.5)
    assert grid.centres_mm(full).mean(0) == pytest.approx([100, -20, 7])
    assert grid.fraction.shape == (10, 10, 10) and len(full) == 64


def test_bad_arguments_are_named():
    mesh = solid(trimesh.creation.box((4, 4, 4)))
    for call, name in (
        (lambda: columns(*mesh, 0), "spacing_mm"),
        (lambda: columns(*mesh, 1e-5), "spacing_mm"),
        (lambda: columns(*mesh, 1, (0, 0, 0)), "direction"),
        (lambda: voxels(*mesh, -1), "cell_mm"),
        (lambda: voxels(*mesh, 1, -1), "pad_mm"),
    ):
        with pytest.raises(InputError, match=name):
            call()
