"""A lighter node: loads spread exactly, the search can be left, sockets stay, and thinner walls are beaten."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

import pourprint as pp
from kept_studies import DEMO_SEARCH
from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import rotated_up
from pourprint.process.strength.lighten import Task, lighten, lightened, search_key, solid_of, spread, thinner
from pourprint.process.strength.verify import verify
from scenes import DEMO, rims


@pytest.fixture(scope="module")
def task():
    frame = pp.Frame.load(DEMO / "rover_frame.toml")
    return Task.of(frame, pp.frame_loads(frame), "rocker_pivot")


@pytest.fixture(scope="module")
def stages(task):
    return list(lighten(task, share=0.75, cell_mm=3.0, iterations=12))


@pytest.fixture(scope="module")
def light(task, stages):
    return solid_of(task, stages[-1])


def test_spread_loads_have_the_force_and_moment_that_they_stand_for(task):
    """Statics: each column's sum is a unit force or moment at its hole's seat, and nothing else."""
    rng = np.random.default_rng(0)
    points = rng.normal(size=(300, 3)) * 30
    loaded = [rng.random(300) < 0.3 for _ in task.holes]
    forces = spread(task, points, loaded)
    for i, hole in enumerate(task.holes):
        own = forces[:, :, 6 * i : 6 * i + 6]
        force = own.sum(0)
        moment = np.cross(points[:, None] - hole.seat_mm, np.moveaxis(own, 2, 1)).sum(0).T
        assert np.vstack([force, moment]) == pytest.approx(np.eye(6), abs=1e-10)
        assert np.all(own[~loaded[i]] == 0)


def test_mixes_of_loads_keep_the_energy(task):
    """The mixes that are left out carry less than a thousandth of what all cases do."""
    mixes, made = task.mixes()
    scale = np.tile([1.0] * 3 + [1 / 30.0] * 3, len(task.holes))[:, None]
    left = (task.loads - mixes @ made) * scale
    assert (left**2).sum() < 1e-3 * ((task.loads * scale) ** 2).sum()
    assert mixes.shape[1] < task.loads.shape[0] == 6 * len(task.holes)


def test_the_search_keeps_the_volume_and_can_be_left(task, stages):
    assert [stage.iteration for stage in stages] == list(range(1, 13))
    assert stages[-1].volume_cm3 == pytest.approx(0.75 * task.plain.volume_cm3, rel=1e-3)
    assert stages[-1].compliance < stages[2].compliance
    going = lighten(task, share=0.85, cell_mm=4.0)
    assert next(going).iteration == 1
    going.close()


def test_the_lighter_node_is_watertight_and_its_sockets_are_exact(task, stages, light):
    assert not rims(light.mesh[1]) and light.bodies == 1
    assert not any("cavit" in note for note in light.notes)
    assert light.volume_cm3 == pytest.approx(stages[-1].volume_cm3, rel=1e-2)
    # Another library, which joins corners at one place in short numbers, finds two facets on every edge too.
    short = trimesh.Trimesh(light.mesh[0].astype(np.float32), light.mesh[1], process=True)
    assert short.is_watertight and short.is_winding_consistent and short.is_volume
    from manifold3d import Manifold, Mesh64

    vertices, faces = light.mesh
    body = Manifold(Mesh64(np.ascontiguousarray(vertices, dtype=float), np.ascontiguousarray(faces, dtype=np.uint64)))
    for hole in task.holes:
        along, across = hole.place(vertices)
        tube = (along > hole.from_mm + 0.1) & (along < hole.to_mm + 30) & (across < hole.radius_mm - 0.1)
        assert not tube.any(), hole.name  # nothing where the tube or the bearing goes
        # A sleeve is left all round: a thin ring at mid-depth is all metal.
        middle = (max(hole.from_mm, 0) + hole.to_mm) / 2 if not hole.through else 0.0
        ring = Manifold.cylinder(0.5, hole.radius_mm + 2.3, -1, 64, True) - Manifold.cylinder(
            2, hole.radius_mm + 0.2, -1, 64, True
        )

        outer, inner = (Manifold.cylinder(h, hole.radius_mm + r, -1, 64, True) for h, r in ((0.5, 2.3), (2.0, 0.2)))
        turn = np.column_stack([rotated_up(np.eye(3), hole.axis), hole.axis * middle])
        ring = (outer - inner).transform(turn)
        assert (body ^ ring).volume() == pytest.approx(ring.volume(), rel=1e-3), hole.name


def test_the_lighter_node_that_comes_with_the_library_is_watertight_to_another_library(task):
    part, _ = lightened(task, **DEMO_SEARCH)
    mesh = trimesh.Trimesh(*part.mesh, process=True)
    assert mesh.is_watertight and mesh.is_volume and part.bodies == 1
    assert mesh.volume / 1000 == pytest.approx(part.volume_cm3, rel=1e-9)


def test_lighter_is_stiffer_than_the_same_mass_by_thinner_walls(task, light):
    """By bricks that the search did not use, at two sizes of cells, with empty and with rigid holes, against walls
    thinned alike and against walls that keep what a smaller ball saves: at least 15% stiffer, as promised."""
    alloy, volume = pp.alloys()["AlSi7Mg"], light.volume_cm3
    thin = thinner(task, volume)
    no_ball = thinner(replace(task, shape={**task.shape, "blend_mm": 0.0}), volume)
    assert [part.volume_cm3 for part in (thin, no_ball)] == pytest.approx([volume] * 2, rel=1e-3)
    shapes, gains = {"plain": task.plain, "thinner": thin, "no ball": no_ball, "lighter": light}, []
    for cell in (2.5, 2.0):
        table = verify(task, shapes, alloy, cell)
        stiffness = table.filter(like="stiffness")
        assert stiffness.loc["plain"].to_numpy() == pytest.approx(1)
        assert (table["margin [-]"] > 0).all()
        gains.append(stiffness.loc["lighter"] / stiffness.loc[["thinner", "no ball"]].max())
    assert np.min(gains) > 1.15
    assert gains[0].to_numpy() == pytest.approx(gains[1].to_numpy(), rel=0.1)
    assert (gains[0].iloc[1] < gains[0].iloc[0]) and (gains[1].iloc[1] < gains[1].iloc[0])  # rigid holes hide a gain


@pytest.mark.parametrize("share", [0.1, 1.01])
def test_no_walls_are_as_thin_or_as_thick_as_that(task, share):
    with pytest.raises(InputError, match=r"volume_cm3=.* must be from .* to "):
        thinner(task, share * task.plain.volume_cm3)


def test_loads_balance_so_that_it_does_not_matter_where_the_node_is_pinned(task):
    """Statics: forces and moments of all holes about the middle are nothing; so pins carry nothing (exact)."""
    force, moment = np.zeros((2, 3, task.loads.shape[1]))
    for i, hole in enumerate(task.holes):
        own = task.loads[6 * i : 6 * i + 6]
        force, moment = force + own[:3], moment + own[3:] + np.cross(hole.seat_mm, own[:3], axisb=0, axisc=0)
    assert np.abs(force).max() < 1e-9 * np.abs(task.loads).max()
    assert np.abs(moment).max() < 1e-9 * np.abs(task.loads).max()


def test_thinner_walls_keep_the_mouths(task):
    thin = thinner(task, 0.8 * task.plain.volume_cm3)
    for hole in task.holes[1:]:
        assert (thin.mesh[0] @ hole.axis).max() == pytest.approx((task.plain.mesh[0] @ hole.axis).max(), abs=0.5)


def test_results_are_kept_until_the_task_changes(task, tmp_path, monkeypatch):
    monkeypatch.setenv("POURPRINT_CACHE", str(tmp_path))
    seen = []
    settings = {"share": 0.85, "cell_mm": 4.0, "iterations": 3}
    first, rows = lightened(task, seen.append, **settings)
    again, same = lightened(task, seen.append, **settings)
    assert len(seen) == 3  # the second time nothing is searched
    assert again.volume_cm3 == first.volume_cm3 and not rims(again.mesh[1])
    assert np.array_equal(rows, same)
    lightened(replace(task, loads=2 * task.loads), seen.append, **settings)
    assert len(seen) == 6


def test_a_search_is_found_again_on_a_machine_that_rounds_otherwise_and_not_for_other_loads_or_settings(task):
    noise = 1 + 1e-13 * np.sin(np.arange(task.loads.size)).reshape(task.loads.shape)
    noisy = task.loads * noise + 1e-13 * np.abs(task.loads).max()
    key = search_key(task, share=0.7, cell_mm=3)
    assert search_key(replace(task, loads=noisy), share=0.7, cell_mm=3.0) == key
    heavier = task.plain.scaled_to(1.001 * task.plain.volume_cm3)
    others = replace(task, loads=1.001 * task.loads), replace(task, plain=heavier)
    assert all(search_key(other, share=0.7, cell_mm=3) != key for other in others)
    assert search_key(task, share=0.71, cell_mm=3) != key


def test_what_cannot_be_is_refused(task):
    with pytest.raises(InputError, match="sleeves alone"):
        next(lighten(task, share=0.3))
    frame = pp.Frame.load(DEMO / "rover_frame.toml")
    with pytest.raises(InputError, match="rocker_pivot"):
        Task.of(frame, pp.frame_loads(frame), "rocker")


def test_rims_are_counted():
    """A box is closed; without one of its facets three edges lead nowhere."""
    faces = trimesh.creation.box().faces
    assert rims(faces) == 0 and rims(faces[1:]) == 3
