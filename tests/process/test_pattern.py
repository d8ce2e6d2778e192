"""The pattern route's arithmetic: contraction, burn-out, clusters and shells against geometry and published numbers."""

from itertools import combinations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.entries import library
from pourprint.ledger.errors import InputError
from pourprint.process.contraction import cast_bore_mm, casting_mm, pattern_mm
from pourprint.process.shell import burn_out, clusters, coats
from scenes import DEMO, demo_kit, demo_rates

few = settings(max_examples=60)


# Contraction ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("alloy", "least", "most"),
    [("AlSi7Mg", 1.3, 1.6), ("AlSi10Mg", 1.3, 1.6), ("AZ91D", 1.8, 1.8), ("316L", 2.0, 2.0), ("17-4PH", 2.0, 2.0)],
)
def test_contractions_are_the_published_ones(alloy, least, most):
    # Foundry allowances (common practice): aluminium 1.3 to 1.6%, magnesium 1.8%, steel 2.0%, linear.
    assert least <= pp.alloys()[alloy]["contraction"] <= most


@given(st.floats(1, 500), st.floats(0, 3))
@few
def test_a_pattern_contracts_to_the_casting_that_was_wanted(size, contraction):
    assert pattern_mm(100, 1.45) == pytest.approx(101.45)
    assert casting_mm(pattern_mm(size, contraction), contraction) == pytest.approx(size)


def test_a_bore_is_cast_small_enough_to_clean_up():
    # ISO 8062-3 (published): F − 2·RMA − CT/2; 28 mm, RMA 0.7, DCTG 5 of 25 to 40 mm is 0.46.
    assert cast_bore_mm(28, 0.7, 0.46) == pytest.approx(26.37)
    assert cast_bore_mm(28, 0.7, 0.46) + 0.46 / 2 + 2 * 0.7 == pytest.approx(28)  # the largest casting still cleans up


# Burn-out ---------------------------------------------------------------------------------------------


def test_a_skin_and_a_lattice_make_up_the_polymer():
    # A plate of 4 mm (V/A 2) with skins of 0.8 mm on both faces: 40% skin, the rest a tenth filled (exact).
    assert burn_out.polymer_share(2.0, 0.8, 0.1) == pytest.approx(0.4 + 0.6 * 0.1)
    assert burn_out.polymer_share(0.7, 0.8, 0.1) == 1  # thinner than two skins: solid
    ball = 1 - (1 - 0.8 / 30) ** 3  # skin of a ball of radius 30 mm, V/A 10 (exact)
    assert burn_out.polymer_share(10, 0.8, 0) == pytest.approx(ball, abs=(0.8 / 10) ** 2 / 3)


def test_air_that_burns_a_pattern_by_stoichiometry():
    # C5H8O2 + 6 O2 → 5 CO2 + 4 H2O with atomic masses 12.011, 1.008, 15.999 and 23.2% oxygen in air (exact).
    fuel, oxygen = 5 * 12.011 + 8 * 1.008 + 2 * 15.999, 12 * 15.999
    assert pytest.approx(oxygen / fuel / 0.232, rel=1e-4) == burn_out.AIR_KG_PER_KG
    assert burn_out.burning_h(2.0, 10.0, 1.5) == pytest.approx(2 * oxygen / fuel / 0.232 * 1.5 / 12, rel=1e-4)
    with pytest.raises(InputError, match="air"):
        burn_out.burning_h(1.0, 0.0, 2)


def crack(**changes):
    """The ledger's section crack, with some values changed, as `shell_stress_mpa` reads it."""
    values = {key.removeprefix("crack."): entry.value for key, entry in library().items() if key.startswith("crack.")}
    return (values | changes).__getitem__


def test_a_stiff_shell_round_a_solid_ball_takes_the_stress_of_the_exact_pressure():
    """A thick shell of a hard material, nearly rigid: the ball's pressure is its bulk modulus × 3 α ΔT (exact)."""
    hard = burn_out.shell_stress_mpa(20, 5, 0.8, 1.0, crack(shell_modulus=1e9))
    bulk_mpa = 2500 / (3 * (1 - 2 * 0.38))
    assert hard == pytest.approx(bulk_mpa * 3 * 80e-6 * 40 * 20 / (2 * 5))


def test_a_hollow_ball_presses_with_its_skin_alone():
    """A thin sphere held back by ε everywhere: membrane stress Eε/(1 − ν), pressure 2s/r times that (exact)."""
    hard = burn_out.shell_stress_mpa(20, 5, 0.8, 0.0, crack(shell_modulus=1e9))
    assert hard == pytest.approx(2500 * 80e-6 * 40 / (1 - 0.38) * 2 * 0.8 / 20 * 20 / (2 * 5))


@given(st.floats(0.02, 0.99), st.floats(3, 12), st.floats(8, 40))
@few
def test_sparser_patterns_and_thicker_shells_are_stressed_less(infill, thickness, radius):
    one = burn_out.shell_stress_mpa(radius, thickness, 0.8, infill, crack())
    assert one < burn_out.shell_stress_mpa(radius, thickness, 0.8, infill * 1.01, crack())
    assert burn_out.shell_stress_mpa(radius, thickness * 1.01, 0.8, infill, crack()) < one


def test_shells_round_solid_half_filled_and_sparse_patterns():
    # Worked out by hand from the ledger's values (exact): a solid ball presses with 2500/(1 − 0.76) = 10 417 MPa a unit
    # of strain, the shell gives way with 2·7·6000/(20·0.8) = 5250; strain 40 K · 80e-6; stress p·20/(2·7).
    solid = 40 * 80e-6 * 10_417 * 5250 / (10_417 + 5250) * 20 / 14
    stress = [burn_out.shell_stress_mpa(20, 7, 0.8, infill, crack()) for infill in (1.0, 0.35, 0.12)]
    assert stress[0] == pytest.approx(solid, rel=1e-4) and stress == pytest.approx([16.0, 5.5, 2.0], abs=0.06)


@pytest.mark.parametrize("key", [key for key in library() if key.startswith("crack.")])
def test_every_number_of_the_stress_moves_what_the_chart_shows(key):
    def shown(value):
        sizes = pp.ShellSizes(pp.Job(demo_kit(), "AlSi7Mg"), demo_rates().replace({key: value}))
        chart = pp.figures.crack_chart(sizes, demo_kit().parts[0])
        return [*chart.table["stress_mpa"], chart.figure.layout.shapes[0].y1]

    assert shown(library()[key].value) != shown(library()[key].high * 2 if key != "crack.polymer_poisson" else 0.45)


# Clusters ---------------------------------------------------------------------------------------------


def corners_of(sides, angle, start):
    """Plan view of a box in its ring: (4, 2) corners, from its sides alone."""
    out, width = sides[0], sides[1]
    square = np.array([(start, -width / 2), (start + out, -width / 2), (start + out, width / 2), (start, width / 2)])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return square @ turn.T


def apart(one, other):
    """Distance between two convex outlines, 0 where they overlap: by separating axes, then corner to edge."""
    for outline in (one, other):
        for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            normal = np.array([b[1] - a[1], a[0] - b[0]])
            if (one @ normal).max() < (other @ normal).min() or (other @ normal).max() < (one @ normal).min():
                break
        else:
            continue
        break
    else:
        return 0.0
    best = np.inf
    for points, outline in ((one, other), (other, one)):
        for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
            best = min(best, np.linalg.norm(points - a - share[:, None] * (b - a), axis=1).min())
    return best


side = st.floats(10, 150)
kits = st.lists(st.tuples(side, side, side, st.integers(1, 9), st.floats(0.01, 0.6)), min_size=1, max_size=5)


@given(kits, st.floats(10, 40), st.floats(0, 25), st.floats(5, 25))
@settings(max_examples=150)
def test_parts_on_a_cluster_never_touch_and_stay_in_the_tank_and_within_every_limit(kit, runner, gate, gap):
    rack = clusters.Rack(runner, 300.0, gate, gap, 500.0)
    stances = clusters.stance([piece[:3] for piece in kit], rack)
    counts = [piece[3] for piece in kit]
    loads = [(piece[4], 0.3) for piece in kit]
    assert (stances.ring * stances.tiers >= 1).all()  # these boxes all fit this tank
    heights = stances.sides_mm[:, 2]
    hung = clusters.hang(counts, stances.wedge_rad.tolist(), heights.tolist(), loads, 300.0, gap)
    found = [0] * len(kit)
    for cluster in hung:
        boxes = []
        for kind, angle, foot in clusters.places(cluster):
            outline = corners_of(stances.sides_mm[kind], angle, rack.start_mm)
            assert np.hypot(*outline.T).max() <= 250 + 1e-6
            assert foot >= 0 and foot + heights[kind] <= 300 + 1e-6
            boxes.append((outline, foot, foot + heights[kind]))
            found[kind] += 1
        for (one, low, high), (other, low_2, high_2) in combinations(boxes, 2):
            along = max(low_2 - high, low - high_2)  # distance along the runner
            assert along >= gap - 1e-6 or apart(one, other) >= gap - 1e-6
        taken = np.sum([np.multiply(loads[ring.kind], ring.count) for ring in cluster], axis=0)
        assert (taken <= 1 + 1e-6).all()
    assert found == counts


def test_a_ring_counted_by_hand():
    """40 mm wide, beginning 30 mm from the axis, 15 mm apart: atan(20/30) + asin(7.5/36.06) = 33.69° + 12.01°."""
    rack = clusters.Rack(30, 300, 15, 15, 420)
    assert np.degrees(clusters.wedge_rad(40, 30, 15)) == pytest.approx(45.69, abs=0.01)  # three in 360°
    cube = clusters.stance((40, 40, 40), rack)
    assert (cube.ring, cube.tiers) == (3, 5)  # (300 + 15)/(40 + 15) = 5.7 tiers


def test_a_longer_gate_hangs_more_parts_in_a_ring_until_the_tank_ends():
    count = [int(clusters.stance((60, 40, 20), clusters.Rack(30, 300, g, 15, 230)).ring) for g in (0, 15, 30, 60, 80)]
    assert count == sorted(count) and count[-1] > count[0]
    assert clusters.stance((60, 60, 60), clusters.Rack(30, 300, 60, 15, 230)).tiers == 0


def test_a_part_hangs_the_same_however_its_box_lies():
    rack = clusters.Rack(30, 300, 15, 15, 420)
    ways = [clusters.stance(box, rack) for box in ((90, 70, 50), (50, 90, 70), (70, 50, 90))]
    assert len({(float(w.ring), float(w.tiers), *map(float, w.sides_mm)) for w in ways}) == 1


@given(kits)
@few
def test_the_share_of_a_kit_is_that_of_many_kits_hung_together(kit):
    """Not of one: a few kits waste the last cluster. Within 25% of the mean of 30 kits."""
    rack = clusters.Rack(30, 300, 15, 15, 500)
    stances = clusters.stance([piece[:3] for piece in kit], rack)
    counts, loads = [piece[3] for piece in kit], [(piece[4], 0.3) for piece in kit]
    alone = np.minimum(stances.ring * stances.tiers, [int(1 / max(load)) for load in loads])
    args = (stances.wedge_rad, stances.sides_mm[:, 2], np.array(loads))
    share = clusters.clusters_per_kit(counts, *args, alone, 300.0, 15.0)
    many = clusters.hang([30 * n for n in counts], *(a.tolist() for a in args), 300.0, 15.0)
    assert share == pytest.approx(len(many) / 30, rel=0.25, abs=1 / 30)


def test_a_kit_of_one_part_fills_clusters_by_the_count_of_one():
    rack = clusters.Rack(30, 300, 15, 15, 420)
    one = clusters.stance([(60, 40, 30)], rack)
    alone = one.ring * one.tiers
    share = clusters.clusters_per_kit([1], one.wedge_rad, one.sides_mm[:, 2], [(0.001, 0.001)], alone, 300, 15)
    assert 1 / share == pytest.approx(alone[0], rel=1e-12)


# Shells -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("interval", "hours"), [(1, 17), (8, 52), (24, 132)])
def test_the_calendar_of_the_published_drying_trial(interval, hours):
    # Published drying trial at 50% humidity: dips 1, 8 or 24 h apart, five intervals, then 12 h. Six coats, no holes.
    found = coats.intervals_h(6, 7.0, [], [], interval, 50.0, 0.25, 4.0)
    assert len(found) == 5 and coats.drying_h(len(found), found.mean(), 12) == hours


def test_damp_air_dries_in_proportion_to_its_dryness():
    # Dalton's law (textbook): 75% humidity leaves half the dryness of 50%.
    assert (
        coats.damp_factor(75.0) == 2
        and coats.damp_factor(50.0) == 1
        and coats.damp_factor(30.0) == pytest.approx(5 / 7)
    )
    with pytest.raises(InputError, match="100"):
        coats.damp_factor(100.0)


def test_a_blind_hole_dries_slower_coat_by_coat_as_it_narrows():
    hours = coats.intervals_h(6, 6.0, [40], [30], 3.0, 50.0, 0.25, 4.0)
    # After coat k the hole of 30 × 40 mm is lined with k mm: (40 − k)/(30 − 2k), a quarter of it added (exact).
    assert hours == pytest.approx([3 * (1 + 0.25 * (40 - k) / (30 - 2 * k)) for k in range(1, 6)])
    assert (np.diff(hours) > 0).all()


def test_a_narrow_hole_closes_and_takes_no_more_slurry():
    # 10 mm wide, 1 mm a coat, slurry enters down to 4 mm: after three coats 4 mm are left, the fourth closes it.
    assert coats.closing_coat(1.0, 10.0, 4.0) == 4
    assert coats.slenderness(4.9, 30.0, 10.0, 4.0) == pytest.approx(25.1 / 4)


def test_shells_of_many_sizes_at_once_equal_those_one_by_one():
    dips, thickness = np.array([5.0, 8.0, 12.0]), np.array([5.0, 8.0, 16.0])
    together = coats.intervals_h(dips, thickness, [40, 20], [30, 16], 3.0, 60.0, 0.25, 4.0)
    for i in range(3):
        alone = coats.intervals_h(dips[i], thickness[i], [40, 20], [30, 16], 3.0, 60.0, 0.25, 4.0)
        assert together[: len(alone), i] == pytest.approx(alone) and (together[len(alone) :, i] == 0).all()


def test_shell_thickness_and_coats_grow_with_size_between_the_published_ends():
    # Foundry guides (published): 8 to 12 dips, 4.8 to 16 mm.
    assert coats.by_size([60, 180, 300], 60, 300, 4.8, 16).tolist() == pytest.approx([4.8, 10.4, 16])
    assert coats.by_size([10, 1000], 60, 300, 8, 12).tolist() == [8, 12]
    with pytest.raises(InputError):
        coats.by_size(100, 200, 200, 8, 12)


def box_mesh(x, y, z):
    import trimesh

    return trimesh.creation.box((x, y, z))


@given(st.floats(5, 80), st.floats(5, 80), st.floats(5, 80), st.floats(1, 20))
@few
def test_the_shell_of_a_box_by_steiners_formula(x, y, z, t):
    """Six slabs, twelve quarter cylinders, a ball in eight parts (exact)."""
    mesh = box_mesh(x, y, z)
    bend = coats.Bend.measured(mesh.vertices, mesh.faces)
    exact = 2 * (x * y + y * z + z * x) * t + np.pi * (x + y + z) * t**2 + 4 / 3 * np.pi * t**3
    assert coats.shell_cm3(mesh.area / 100, t, bend) == pytest.approx(exact / 1000, rel=1e-9)


def test_the_shell_of_a_ring_by_pappus():
    """A torus of radii 30 and 8 mm grown by 5 mm: 2π²·30·(13² − 8²) (exact); facets cost 0.1%."""
    import trimesh

    mesh = trimesh.creation.torus(30, 8, major_sections=192, minor_sections=96)
    bend = coats.Bend.measured(mesh.vertices, mesh.faces)
    assert bend.euler == 0
    assert coats.shell_cm3(mesh.area / 100, 5, bend) == pytest.approx(
        2 * np.pi**2 * 30 * (13**2 - 8**2) / 1000, rel=1e-3
    )


def test_the_bend_of_a_node_agrees_with_another_library():
    import trimesh

    part = pp.Part.from_mesh(DEMO / "nodes" / "rocker_pivot.stl")
    mesh = trimesh.Trimesh(*part.mesh, process=False)
    bend = part.study(coats.Bend)
    assert bend.curvature_mm == pytest.approx(mesh.integral_mean_curvature, rel=1e-6)
    assert bend.euler == mesh.euler_number


def test_a_scaled_part_has_the_bend_of_its_scaled_mesh():
    part = pp.Part.from_mesh(DEMO / "nodes" / "spreader.3mf")
    larger = part.scaled_to(8 * part.volume_cm3)
    assert larger.study(coats.Bend).curvature_mm == pytest.approx(coats.Bend.measured(*larger.mesh).curvature_mm)
    several = part.scaled_to(part.volume_cm3 * np.array([1, 8])).study(coats.Bend)
    assert several.curvature_mm == pytest.approx(part.study(coats.Bend).curvature_mm * np.array([1, 2]))


def test_a_dimension_is_off_by_what_the_metal_contracts_more_or_less():
    """By hand, 100 mm of AlSi7Mg, 1.45% (1.25 to 1.6): 101.45 mm printed; 101.45/1.016 and 101.45/1.0125 mm cast."""
    kit = pp.Kit.of(pp.Part.from_numbers("bar", 100, 260, (100, 50, 40)))
    row = pp.ShellSizes(pp.Job(kit, "AlSi7Mg"), demo_rates()).dimensions(kit.parts[0]).loc["box along x"]
    assert row["pattern_mm"] == pytest.approx(101.45)
    assert row[["smallest_mm", "largest_mm"]].tolist() == pytest.approx([-0.1476, 0.1975], abs=1e-4)


def test_the_places_where_a_part_rests_grow_with_it():
    """By hand: a bar of 60 × 30 × 20 mm rests in the middle of its sides; twice as large, twice as far out."""
    seat = pp.Part.from_numbers("bar", 30, 70, (60, 30, 20)).study(clusters.Seat).scaled(2.0)
    assert seat.lands_mm[0].tolist() == [[0, 30, 20], [120, 30, 20]]


def test_a_gate_lands_where_a_side_is_nearest_to_the_middle():
    """By hand: of a prism over (0, 0), (0, 30), (60, 30), (60, 25) the middle is at (22.9, 19.8): its side x = 0 takes
    a gate at y = 30, 10.2 mm from there, not at y = 0, and its side y = 30 at x = 0, not at x = 60."""
    outline = (0, 0), (0, 30), (60, 30), (60, 25)
    prism = trimesh.PointCloud([(*point, z) for point in outline for z in (0, 10)]).convex_hull
    seat = clusters.Seat.measured(np.asarray(prism.vertices), np.asarray(prism.faces))
    low = (prism.vertices @ seat.frame.T).min(axis=0)
    for side, place in ((0, 0.0), (1, 30.0)):
        axis = int(np.abs(seat.frame[:, side]).argmax())
        lands = (seat.lands_mm[axis] + low) @ seat.frame  # at both ends, as drawn
        (land,) = lands[np.abs(lands[:, side] - place) < 1.01]
        assert land[:2] == pytest.approx((0, 30), abs=1e-6)
