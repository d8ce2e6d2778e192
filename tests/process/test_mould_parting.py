"""Undercuts, cores and the parting plane, against volumes worked out by hand."""

import numpy as np
import pytest
from scipy.integrate import quad

import pourprint as pp
from pourprint.process.freezing.voxels import columns
from pourprint.process.sand.parting import PartingStudy, candidates, flat_parting, hidden_of
from scenes import demo_kit

ROUND = 256  # corners of a circle: its area is 1e-4 short
# Round shadows are counted in squares: 20 mm wide ones come out within 1.5% at 1 mm, within 0.3% at a quarter.
QUARTER = 0.25


def rod(radius, height, at=(0, 0, 0), turn=(0, 0, 0)):
    from manifold3d import Manifold

    return Manifold.cylinder(height, radius, -1, ROUND, True).rotate(turn).translate(at)


def ball(radius, at):
    from manifold3d import Manifold

    return Manifold.sphere(radius, ROUND).translate(at)


def mesh(solid):
    found = solid.to_mesh64()
    return found.vert_properties[:, :3], np.asarray(found.tri_verts).astype(int)


def part(solid):
    return pp.Part.from_arrays("shape", *mesh(solid))


def hidden(solid, direction, spacing_mm=1.0):
    return hidden_of(columns(*mesh(solid), spacing_mm, direction))[1]


def cup():
    """Outside 60 mm wide and 50 high, inside 40 wide and 40 deep, open on top."""
    return rod(30, 50) - rod(20, 41, (0, 0, 5.5))


def test_a_cup_hides_nothing_from_above_and_all_its_inside_from_the_side():
    assert hidden(cup(), (0, 0, 1)).sum() == 0
    inside = np.pi / 4 * 4.0**2 * 4.0  # cm3
    # 0.3%: what sampling at 1 mm and 256 corners leave together.
    for direction in ((1, 0, 0), (0.6, 0.8, 0)):
        assert hidden(cup(), direction) == pytest.approx([inside], rel=3e-3)


def test_a_tube_with_a_side_hole_hides_the_hole_along_its_axis_and_the_bore_across_it():
    outer, inner, hole = 30.0, 20.0, 8.0
    solid = rod(outer, 80) - rod(inner, 82) - rod(hole, 40, (30, 0, 0), (0, 90, 0))
    # Along the axis: the hole through one wall, over the hole's round area the wall's thickness there.
    through, _ = quad(
        lambda y: 2 * np.sqrt(hole**2 - y**2) * (np.sqrt(outer**2 - y**2) - np.sqrt(inner**2 - y**2)), -hole, hole
    )
    assert hidden(solid, (0, 0, 1), QUARTER) == pytest.approx([through / 1000], rel=3e-3)
    # Across, along the hole: the bore but for the rays that leave through the hole.
    seen, _ = quad(lambda y: 2 * np.sqrt(hole**2 - y**2) * 2 * np.sqrt(inner**2 - y**2), -hole, hole)
    bore = np.pi * inner**2 * 80
    assert hidden(solid, (1, 0, 0), QUARTER).sum() == pytest.approx((bore - seen) / 1000, rel=3e-3)


def test_a_dumb_bell_hides_the_room_between_its_balls_along_its_axis_only():
    big, thin, half = 20.0, 6.0, 30.0
    solid = ball(big, (0, 0, half)) + ball(big, (0, 0, -half)) + rod(thin, 2 * half)
    rest = big**2 - thin**2
    between = 2 * np.pi * (half * rest - 2 / 3 * rest**1.5)  # rings of radius thin to big, 2(half − √(R² − ρ²)) tall
    assert hidden(solid, (0, 0, 1), QUARTER) == pytest.approx([between / 1000], rel=3e-3)
    assert hidden(solid, (0, 0, 1)) == pytest.approx([between / 1000], rel=15e-3)
    assert hidden(solid, (1, 0, 0)).sum() == pytest.approx(0, abs=1e-3)


def test_hidden_room_converges_on_the_exact_volume():
    inside = np.pi / 4 * 4.0**2 * 4.0
    errors = [abs(hidden(cup(), (0.6, 0.8, 0), h).sum() / inside - 1) for h in (4.0, 0.5)]
    assert errors[1] < errors[0] / 4


def test_the_best_way_to_open_a_cup_is_along_its_axis_and_needs_no_core():
    found = part(cup()).study(PartingStudy)
    assert abs(found.frame[2]) == pytest.approx([0, 0, 1], abs=1e-6)
    count, volume = found.cores(0.5)
    assert (count, volume) == (0, 0)
    assert found.frame[2][2] < 0  # the closed, heavier end up, where the feeder stands


def test_two_blind_holes_from_the_sides_are_two_cores_and_a_passage_between_them_makes_them_one():
    block = part(_block() - _pocket(30) - _pocket(-30))
    assert block.study(PartingStudy).cores(0.5)[0] == 0  # both open to ± x: no core along x
    along_z = hidden(_block() - _pocket(30) - _pocket(-30), (0, 0, 1), QUARTER)
    assert len(along_z) == 2 and along_z.sum() == pytest.approx(2 * np.pi * 1.0**2 * 2.0, rel=3e-3)
    joined = hidden(_block() - _pocket(30) - _pocket(-30) - rod(4, 70, turn=(0, 90, 0)), (0, 0, 1))
    assert len(joined) == 1


def _block():
    from manifold3d import Manifold

    return Manifold.cube((80, 50, 40), True)


def _pocket(x):
    return rod(10, 22, (x + np.sign(x), 0, 0), (0, 90, 0))  # 20 deep from ±40, and 2 beyond


def test_three_crossing_holes_leave_cores_whichever_way_the_mould_opens():
    solid = _block() - rod(8, 90, turn=(0, 90, 0)) - rod(8, 60, turn=(90, 0, 0)) - rod(8, 50)
    found = part(solid).study(PartingStudy)
    assert found.cores(0.1)[0] >= 1 and found.tried_cm3.min() > 0


def test_the_flat_parting_plane_of_a_ball_is_its_equator_and_of_a_slanted_rod_a_compromise():
    shares = {}
    for solid in (ball(20, (0, 0, 7)), rod(10, 60, turn=(0, 45, 0))):
        seen = columns(*mesh(solid), 0.5)
        plane = flat_parting(seen)
        shares[plane] = ((seen.enter_mm < plane) & (seen.exit_mm > plane)).mean()  # of rays, each one stretch long
    (equator, whole), (_, most) = shares.items()
    assert equator == pytest.approx(7, abs=0.5) and whole == 1.0 and most < 0.9


def test_turning_the_part_turns_the_parting_and_changes_no_core():
    corner = demo_kit().parts[3].part
    other = corner.turned((0.3, -0.5, 0.8))
    one, two = corner.study(PartingStudy), other.study(PartingStudy)
    assert one.cores(0.5)[0] == two.cores(0.5)[0]
    assert two.cores(0.5)[1] == pytest.approx(one.cores(0.5)[1], rel=0.02)  # other rays of the same fine grid


def sides_of(study):
    return study.high_mm - study.low_mm


def test_a_mirror_image_opens_alike():
    left, right = (
        next(e.part for e in demo_kit().parts if e.part.name == f"corner_{side}") for side in ("left", "right")
    )
    one, two = left.study(PartingStudy), right.study(PartingStudy)
    assert np.sort(sides_of(one)) == pytest.approx(np.sort(sides_of(two)), rel=1e-3)
    assert one.cores(0.5) == pytest.approx(two.cores(0.5), rel=1e-3)


def test_a_scaled_part_is_not_measured_again_and_scales_as_lengths_do():
    node = demo_kit().parts[0].part
    one = node.study(PartingStudy)
    factors = np.array([1.0, 1.5])
    many = node.scaled_to(node.volume_cm3 * factors**3).study(PartingStudy)
    assert sides_of(many) == pytest.approx(sides_of(one) * factors[:, None])
    assert many.cores(0.5)[1] == pytest.approx(one.cores(0.5)[1] * factors**3)
    # A threshold is a volume: what is below it on a small part is a core on a large one.
    small, large = (node.scaled_to(node.volume_cm3 * f**3).study(PartingStudy).cores(30.0)[0] for f in (0.9, 1.2))
    assert small == 0 and large == 2


def test_of_a_part_by_numbers_no_cavity_is_known():
    found = pp.Part.from_numbers("bracket", 60, 210, (90, 70, 60)).study(PartingStudy)
    assert not found.known and found.cores(0.5)[0] == 0
    assert sides_of(found).tolist() == [90, 70, 60] and found.parting_mm - found.low_mm[2] == 30


def test_directions_tried_are_unit_half_sphere_and_hold_the_parts_own():
    node = demo_kit().parts[0].part
    tried = candidates(*node.mesh)
    assert np.linalg.norm(tried, axis=1) == pytest.approx(1)
    assert (tried[:, 2] >= 0).all()
    for socket in ((0.94, 0, -0.34), (-0.87, 0, -0.5), (0, 1, 0)):  # mouths and bore faces, from the node's recipe
        unit = np.array(socket) / np.linalg.norm(socket)
        assert np.abs(tried @ unit).max() > 0.9999


@pytest.mark.parametrize("entry", demo_kit().parts, ids=lambda entry: entry.part.name)
def test_every_kit_part_is_studied_in_less_than_four_tenths_of_a_second(benchmark, entry):
    benchmark.pedantic(PartingStudy.measured, entry.part.mesh, rounds=5)
    print(f"\n{entry.part.name}: {1e3 * benchmark.stats['min']:.0f} ms")
    assert benchmark.stats["min"] < 0.4
