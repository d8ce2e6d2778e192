"""Walls that stand between the rays of every study: each thin part is planned, none ends in an error of ours."""

import pytest
from trimesh.creation import annulus, box, cylinder, torus

import pourprint as pp
from pourprint.process.freezing.voxels import columns


def box_tube(length, width, height, wall):
    return box((length, width, height)).difference(box((2 * length, width - 2 * wall, height - 2 * wall)))


THIN = {
    "box tube": box_tube(200, 30, 30, 0.5),
    "flat box tube": box_tube(300, 40, 20, 0.3),
    "ring": annulus(99, 100, 1),
    "round tube": annulus(9.7, 10, 150),
    "wire ring": torus(50, 0.4),
    "sheet": box((100, 80, 0.3)),
    "wire": cylinder(0.3, 200),
}


@pytest.mark.parametrize("name", THIN)
def test_a_thin_part_has_plans_or_a_reason(name):
    part = pp.Part.from_arrays(name, THIN[name].vertices, THIN[name].faces)
    plans = pp.plan_all(pp.Job(part, "316L", 4))
    assert all(plan.unit_cost > 0 if plan.feasible else len(plan.reason) > 20 for plan in plans.values())


def test_rays_are_laid_closer_until_they_meet_metal():
    tube = THIN["box tube"]
    seen = columns(tube.vertices, tube.faces, 7.0, (1, 0, 0))
    assert seen.spacing_mm < 7.0 and len(seen.column) > 0
    assert seen.exit_mm - seen.enter_mm == pytest.approx(200)
