"""Meshes against closed forms, and the mending that may be done without asking.

Where facets only approach a curved solid, the tolerance is computed from the facets: a convex mesh inscribed in
a solid and circumscribed about a smaller one has a volume, area, section and perimeter between the two.
"""

import re

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from trimesh.creation import box, cone, icosphere, revolve, torus

from malformed_parts import BALL, BALL_STL, BOX, ascii_stl, stl, threemf
from pourprint.ledger.errors import InputError
from pourprint.parts.mending import UNITS_MM, mended, read_mesh
from pourprint.parts.meshes import (
    bodies_of,
    counted,
    facets_of,
    loosened,
    measure,
    merged,
    miscounted,
    overhang,
    rotated_up,
    sections,
    simplified,
)

DIRECTIONS = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1)


def circle_loss(corners):
    """Area of a regular polygon over that of its circumscribed circle [-]; exact."""
    return np.sin(2 * np.pi / corners) / (2 * np.pi / corners)


def frustum(r1, r2, h, corners):
    return revolve([[0, 0], [r1, 0], [r2, h], [0, h]], sections=corners)


def brute_sections(vertices, faces, heights):
    """Section by section from the definition: cut each facet, add lengths, and area by Green's theorem."""
    corners = vertices[faces] - [0, 0, vertices[:, 2].min()]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area, perimeter = np.zeros((2, len(heights)))
    for k, h in enumerate(heights):
        for triangle, normal in zip(corners, normals, strict=True):
            cut = []
            for p, q in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
                if (p[2] > h) != (q[2] > h):
                    cut.append((p + (q - p) * (h - p[2]) / (q[2] - p[2]))[:2])
            if cut:
                p, q = cut
                if (q - p) @ (-normal[1], normal[0]) < 0:  # metal lies to the left
                    p, q = q, p
                area[k] += (p[0] * q[1] - p[1] * q[0]) / 2
                perimeter[k] += np.linalg.norm(q - p)
    return area, perimeter


# Closed forms


def test_box():
    volume, area, size = measure(BOX.vertices, BOX.faces)
    bodies, cavities = counted(BOX.vertices, BOX.faces)
    assert volume == pytest.approx(24_000, rel=1e-12)
    assert area == pytest.approx(5200, rel=1e-12)
    assert size == pytest.approx([20, 30, 40])
    assert (bodies, cavities) == (1, 0)
    areas, perimeters = sections(BOX.vertices, BOX.faces, [0, 10, 39.9, 40, 50])
    assert areas == pytest.approx([600, 600, 600, 0, 0])
    assert perimeters == pytest.approx([100, 100, 100, 0, 0])


def test_sphere():
    radius = 50
    ball = icosphere(5, radius)
    inner = np.abs(np.vecdot(ball.face_normals, ball.triangles[:, 0])).min()  # nearest facet plane
    volume, area, _ = measure(ball.vertices, ball.faces)
    assert 4 / 3 * np.pi * inner**3 < volume < 4 / 3 * np.pi * radius**3
    assert 4 * np.pi * inner**2 < area < 4 * np.pi * radius**2
    assert inner / radius > 0.999  # so the brackets are narrow
    z = np.linspace(-0.95, 0.95, 40) * radius
    areas, perimeters = sections(ball.vertices, ball.faces, z + radius)
    assert (np.pi * (inner**2 - z**2) < areas).all() and (areas < np.pi * (radius**2 - z**2)).all()
    rim = 2 * np.pi * np.sqrt(np.array([inner**2 - z**2, radius**2 - z**2]))
    assert (rim[0] < perimeters).all() and (perimeters < rim[1]).all()


def test_cone():
    # A pyramid on a regular polygon is exact: V = A_base h / 3, section shrinks with (1 - z/h)^2.
    radius, height, corners = 20.0, 45.0, 90
    body = cone(radius, height, sections=corners)
    base = np.pi * radius**2 * circle_loss(corners)
    volume, area, *_ = measure(body.vertices, body.faces)
    slant = np.hypot(height, radius * np.cos(np.pi / corners))  # height of a side triangle
    side = 2 * radius * np.sin(np.pi / corners)
    assert volume == pytest.approx(base * height / 3, rel=1e-9)
    assert area == pytest.approx(base + corners * side * slant / 2, rel=1e-9)
    z = np.linspace(0, 44, 23)
    areas, perimeters = sections(body.vertices, body.faces, z)
    assert areas == pytest.approx(base * (1 - z / height) ** 2, rel=1e-9)
    assert perimeters == pytest.approx(corners * side * (1 - z / height), rel=1e-9)
    assert volume == pytest.approx(np.pi * radius**2 * height / 3, rel=(2 * np.pi / corners) ** 2 / 6)


def test_frustum():
    r1, r2, height, corners = 30.0, 18.0, 40.0, 64
    body = frustum(r1, r2, height, corners)
    volume, area, *_ = measure(body.vertices, body.faces)
    loss = circle_loss(corners)
    assert volume == pytest.approx(loss * np.pi * height / 3 * (r1**2 + r1 * r2 + r2**2), rel=1e-9)
    slant = np.hypot(height, (r1 - r2) * np.cos(np.pi / corners))
    sides = corners * np.sin(np.pi / corners) * (r1 + r2) * slant
    assert area == pytest.approx(loss * np.pi * (r1**2 + r2**2) + sides, rel=1e-9)


def test_torus():
    # Pappus: V = 2 pi^2 R r^2, A = 4 pi^2 R r. Both circles are polygons, which lose at most x^2/6 each.
    big, small, n, m = 40.0, 12.0, 128, 64
    body = torus(big, small, n, m)
    loss = ((2 * np.pi / n) ** 2 + (2 * np.pi / m) ** 2) / 6
    volume, area, *_ = measure(body.vertices, body.faces)
    assert volume == pytest.approx(2 * np.pi**2 * big * small**2, rel=loss)
    assert area == pytest.approx(4 * np.pi**2 * big * small, rel=loss)
    # The middle section is the ring between R - r and R + r, cut where the mesh has corners: polygons of n.
    areas, perimeters = sections(body.vertices, body.faces, [np.ptp(body.vertices[:, 2]) / 2])
    assert areas[0] == pytest.approx(4 * np.pi * big * small, rel=loss)
    assert perimeters[0] == pytest.approx(4 * np.pi * big, rel=loss)


# Sections


@settings(max_examples=15)
@given(up=DIRECTIONS)
def test_sections_equal_brute_force_slicing(up):
    body = torus(30, 10, 16, 12)
    vertices = rotated_up(body.vertices, up)
    heights = np.random.default_rng(3).uniform(0, np.ptp(vertices[:, 2]), 25)  # in no order
    areas, perimeters = sections(vertices, body.faces, heights)
    expected = brute_sections(vertices, body.faces, heights)
    # Rounding: coefficients hold for pieces of at least 1/1000 of the height, so 1e-16 grows by 1e6 at most.
    assert areas == pytest.approx(expected[0], rel=1e-9, abs=1e-6)
    assert perimeters == pytest.approx(expected[1], rel=1e-9, abs=1e-6)


def test_nearly_flat_facets_do_not_spoil_sections():
    # Steps with treads 1e-9 and 1e-7 mm high: naive summing of their coefficients would lose every digit.
    steps = [[0, 0], [20, 0], [20, 10], [10, 10 + 1e-9], [10, 30], [15, 30 + 1e-7], [15, 40], [0, 40]]
    body = revolve(steps, sections=32)
    heights = np.array([5.0, 10 + 5e-10, 20, 30 + 5e-8, 35])
    areas, _ = sections(body.vertices, body.faces, heights)
    radii = np.array([20, 15, 10, 12.5, 15])
    # Halfway up a sliver the radius is halfway; the height itself is known to 1e-15 of 40 mm only.
    assert areas == pytest.approx(circle_loss(32) * np.pi * radii**2, rel=1e-4)
    assert areas[[0, 2, 4]] == pytest.approx(circle_loss(32) * np.pi * radii[[0, 2, 4]] ** 2, rel=1e-12)


@pytest.mark.parametrize("body", [BALL, torus(30, 10, 32, 24), cone(20, 45, sections=48)])
def test_sections_sum_to_the_volume(body):
    volume, *_ = measure(body.vertices, body.faces)
    vertices = rotated_up(body.vertices, (0.3, 0.5, 0.8))
    height = np.ptp(vertices[:, 2])
    heights = (np.arange(3000) + 0.5) * height / 3000
    areas, _ = sections(vertices, body.faces, heights)
    # Midpoint rule: error h^2/24 times the range of dA/dz, which is below 20 A_max/height here.
    allowed = (height / 3000) ** 2 / 24 * 20 * areas.max() / height
    assert areas.sum() * height / 3000 == pytest.approx(volume, abs=allowed)


# Overhang


def test_overhang_of_an_upturned_l():
    # Post 10 x 10 x 30 with an arm 40 x 10 x 10 on top: the arm hangs 30 x 10 over the plate at 30 mm.
    post, arm = box((10, 10, 30)), box((40, 10, 10))
    post.apply_translation((5, 5, 15))
    arm.apply_translation((20, 5, 35))
    both = trimesh.util.concatenate([post, arm])
    vertices, faces, notes = mended(both.vertices, both.faces)
    assert overhang(vertices, faces) == pytest.approx((300, 9000))
    assert "united" in notes[0]


def test_what_lies_on_the_plate_or_stands_steep_enough_needs_no_support():
    assert overhang(BOX.vertices, BOX.faces) == (0, 0)
    for slope, hangs in ((46, False), (45, False), (44, True)):
        rise = np.tan(np.radians(slope)) * 20
        top_wide = cone(20, rise, sections=360)
        vertices = rotated_up(top_wide.vertices, (0, 0, -1))
        area, space = overhang(vertices, top_wide.faces)
        base = np.pi * 400 * circle_loss(360)
        # Under a cone on its tip lies two thirds of the cylinder.
        expected = (base, base * rise * 2 / 3) if hangs else (0, 0)
        assert (area, space) == pytest.approx(expected, rel=1e-9)


def test_facets_that_lie_apart_by_a_rounding_share_their_corners():
    """Against NumPy's own search for equal rows; on a grid, where many differences of places are alike."""
    rng = np.random.default_rng(3)
    places = rng.integers(-40, 40, (20_000, 3)) * 2.0**-7
    soup = places + rng.uniform(-4e-10, 4e-10, places.shape)
    vertices, faces = merged(soup, np.arange(len(soup) - 2).reshape(-1, 3))
    assert len(vertices) == len(np.unique(places[:-2], axis=0))
    assert np.allclose(vertices[faces.ravel()], places[:-2], atol=1e-9)
    assert faces[0].tolist() == [0, 1, 2]  # in the order in which they come


# Invariants


@settings(max_examples=25)
@given(up=DIRECTIONS, scale=st.floats(0.1, 10))
def test_turning_and_scaling(up, scale):
    volume, area, *_ = measure(BALL.vertices, BALL.faces)
    turned = rotated_up(BALL.vertices, up) * scale
    again = measure(turned, BALL.faces)
    assert again[0] == pytest.approx(volume * scale**3, rel=1e-9)
    assert again[1] == pytest.approx(area * scale**2, rel=1e-9)


@given(up=DIRECTIONS)
def test_rotated_up_is_a_rotation_that_lifts_the_direction_to_z(up):
    rotation = rotated_up(np.eye(3), up).T
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1)
    assert rotated_up(np.array([up]), up)[0] / np.linalg.norm(up) == pytest.approx([0, 0, 1], abs=1e-9)


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 0, -5), (1e-15, 0, -1)])
def test_rotated_up_straight_up_and_down(up):
    assert rotated_up(np.array([up], float), up)[0] == pytest.approx([0, 0, np.linalg.norm(up)])


# Files


@pytest.mark.parametrize("unit", UNITS_MM)
@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "3mf"])
def test_every_format_in_every_unit(kind, unit, tmp_path):
    mesh = BALL.copy()
    mesh.vertices /= UNITS_MM[unit]
    path = tmp_path / f"ball.{kind.removesuffix('_ascii')}"
    if kind == "stl_ascii":
        path.write_text(ascii_stl(mesh))
    elif kind == "3mf":
        stated = {"mm": "millimeter", "cm": "centimeter", "m": "meter", "inch": "inch"}[unit]
        path.write_bytes(threemf(mesh, stated))
    else:
        mesh.export(path)
    vertices, faces, notes = read_mesh(path, unit)
    expected = measure(BALL.vertices, BALL.faces)
    found = measure(vertices, faces)
    # Single precision and eight printed decimals: 1e-7 of 1 m is the coarsest of them.
    assert found[:2] == pytest.approx(expected[:2], rel=2e-6)
    assert len(faces) == len(BALL.faces) and notes == ()


@pytest.mark.parametrize("lost", [1, 18, 33, 40])
def test_an_archive_without_its_first_bytes_is_refused_in_a_sentence(lost, tmp_path):
    (tmp_path / "ball.3mf").write_bytes(threemf(BALL, "millimeter")[lost:])
    with pytest.raises(InputError, match=r"^ball.3mf cannot be read as a mesh \(.*\); export it again.$"):
        read_mesh(tmp_path / "ball.3mf")


def test_binary_stl_whose_header_says_solid(tmp_path):
    (tmp_path / "ball.stl").write_bytes(b"solid ball".ljust(80) + BALL_STL[80:])
    assert len(read_mesh(tmp_path / "ball.stl", "mm")[1]) == len(BALL.faces)


# Mending


def volume_and_notes(*bodies):
    whole = trimesh.util.concatenate(bodies)
    vertices, faces, notes = mended(whole.vertices, whole.faces)
    return (*measure(vertices, faces), *counted(vertices, faces)), " ".join(notes)


def moved(body, x, flip=False):
    body = body.copy()
    body.apply_translation((x, 0, 0))
    if flip:
        body.invert()
    return body


def test_sound_mesh_is_left_alone():
    (volume, *_), notes = volume_and_notes(BALL)
    assert volume == pytest.approx(BALL.volume, rel=1e-12) and notes == ""


def test_inverted_mesh_is_turned():
    (volume, *_), notes = volume_and_notes(moved(BALL, 0, flip=True))
    assert volume == pytest.approx(BALL.volume) and "inward" in notes


def test_mixed_winding_is_turned():
    mixed = BALL.copy()
    mixed.faces[::3] = mixed.faces[::3, ::-1]
    (volume, *_), notes = volume_and_notes(mixed)
    assert volume == pytest.approx(BALL.volume) and "mixed" in notes


def test_mirror_twins_one_inverted():
    (volume, *_), _ = volume_and_notes(BALL, moved(BALL, 50, flip=True))
    assert volume == pytest.approx(2 * BALL.volume)


def test_one_sided_surface_is_refused():
    # The projective plane in six vertices: closed, every edge on two facets, yet without inside or outside.
    faces = ("012", "023", "034", "045", "051", "124", "235", "341", "452", "513")
    corners = np.random.default_rng(1).uniform(-20, 20, (6, 3))
    with pytest.raises(InputError, match="no clear inside"):
        mended(corners, np.array([[int(c) for c in face] for face in faces]))


def test_small_hole_is_closed_and_said():
    fine = icosphere(4, 30.0)
    vertices, faces, notes = mended(fine.vertices, fine.faces[1:])
    assert measure(vertices, faces)[0] == pytest.approx(fine.volume)
    assert "3 open edges" in notes[0]


def test_a_hole_too_large_to_mend_is_refused_with_a_place_at_its_rim():
    """By hand: a box of 20 × 30 × 40 mm without its lid has four open edges. A facet at the rim has two corners at
    z = 20 mm and one at −20 mm, so that its middle is at 20/3 mm, on one of the walls x = ±10 or y = ±15 mm."""
    lidless = BOX.faces[BOX.face_normals[:, 2] < 0.5]
    with pytest.raises(InputError, match=r"4 open edges, one near \((.*), (.*), 7\) mm; close the solid") as refused:
        mended(BOX.vertices, lidless)
    x, y = map(float, re.search(r"near \((.*), (.*), 7\)", str(refused.value)).groups())
    assert abs(x) == 10 or abs(y) == 15


def test_duplicate_shell_counts_once():
    (volume, _, _, bodies, _), notes = volume_and_notes(BALL, BALL)
    assert volume == pytest.approx(BALL.volume) and bodies == 1 and "1280 facets" in notes


def test_overlapping_boxes_are_united():
    # Exact: two boxes 20 x 30 x 40, one shifted by 5 along x, cover 25 x 30 x 40.
    (volume, area, _, bodies, _), notes = volume_and_notes(BOX, moved(BOX, 5))
    assert volume == pytest.approx(30_000) and area == pytest.approx(2 * (25 * 30 + 25 * 40 + 30 * 40))
    assert bodies == 1 and "united" in notes and "18 cm³" in notes


def test_touching_boxes_become_one():
    (volume, area, _, bodies, _), _ = volume_and_notes(BOX, moved(BOX, 20))
    assert volume == pytest.approx(48_000) and area == pytest.approx(2 * (40 * 30 + 40 * 40 + 30 * 40))
    assert bodies == 1


def test_boxes_that_share_only_an_edge_are_left_alone():
    other = BOX.copy()
    other.apply_translation((20, 30, 0))
    (volume, area, *_), _ = volume_and_notes(BOX, other)
    assert volume == pytest.approx(48_000) and area == pytest.approx(2 * 5200)


def test_separate_bodies_stay_separate():
    (volume, _, _, bodies, _), notes = volume_and_notes(BALL, moved(BALL, 41))
    assert volume == pytest.approx(2 * BALL.volume) and bodies == 2 and "2 separate bodies" in notes


def test_cavity_is_kept_and_said():
    inner = icosphere(3, 10.0)
    (volume, _, _, bodies, cavities), notes = volume_and_notes(BALL, moved(inner, 0, flip=True))
    assert volume == pytest.approx(BALL.volume - inner.volume)
    assert (bodies, cavities) == (1, 1) and "cavities: 1" in notes


def test_ball_in_a_cage_is_kept():
    middle, core = icosphere(3, 10.0), icosphere(2, 5.0)
    (volume, _, _, bodies, _), _ = volume_and_notes(BALL, moved(middle, 0, flip=True), core)
    assert volume == pytest.approx(BALL.volume - middle.volume + core.volume) and bodies == 2


def test_wholly_inverted_hollow_body():
    inner = icosphere(3, 10.0)
    (volume, *_), notes = volume_and_notes(moved(BALL, 0, flip=True), inner)
    assert volume == pytest.approx(BALL.volume - inner.volume) and "inward" in notes


def test_one_of_two_bodies_inverted():
    (volume, _, _, bodies, _), notes = volume_and_notes(BALL, moved(BOX, 60, flip=True))
    assert volume == pytest.approx(BALL.volume + BOX.volume) and bodies == 2 and "turned outward" in notes


@pytest.mark.parametrize("turned", [False, True])
def test_facets_given_twice_count_once_and_a_wall_between_two_bodies_does_not(turned):
    whole = moved(BALL, 0, flip=turned)
    (volume, *_), notes = volume_and_notes(whole, whole)
    assert volume == pytest.approx(BALL.volume) and f"{len(BALL.faces)} facets that lay on one another" in notes
    halves = [cube(10, x) for x in (-5, 5)]  # exact: 20 × 10 × 10
    halves[1].faces = np.flip(halves[0].faces, axis=1)  # a mirror image, so that the wall has the same facets twice
    halves[1].vertices = halves[0].vertices * (-1, 1, 1)
    (volume, _, _, bodies, _), notes = volume_and_notes(*halves)
    assert volume == pytest.approx(2000) and bodies == 1 and "4 facets that lay on one another" in notes


def test_collapsed_facets_are_dropped():
    faces = np.vstack([BALL.faces, [[5, 5, 9]]])
    vertices, faces, _ = mended(BALL.vertices, faces)
    assert len(faces) == len(BALL.faces)
    assert stl(vertices, faces)[80:84] == BALL_STL[80:84]


# Meshes that lie


def cube(side, x=0.0):
    return box((side, side, side)).apply_translation((x, 0, 0))


def eight(a=60.0, r=6.0, along=400, around=48):
    """A closed tube of radius r along a figure of eight, which crosses itself at a right angle: one shell."""
    t, phi = np.arange(along) / along * 2 * np.pi, np.arange(around) / around * 2 * np.pi
    middle = np.c_[a * np.sin(t), a * np.sin(t) * np.cos(t), 0 * t]
    ahead = np.c_[np.cos(t), np.cos(2 * t)] / np.hypot(np.cos(t), np.cos(2 * t))[:, None]
    side = np.c_[ahead[:, 1], -ahead[:, 0], 0 * t]
    ring = np.cos(phi)[:, None] * side[:, None] + np.sin(phi)[:, None] * [0, 0, 1]
    i, j = np.indices((along, around)).reshape(2, -1)
    at = [(i + di) % along * around + (j + dj) % around for di, dj in ((0, 0), (1, 0), (1, 1), (0, 1))]
    faces = np.concatenate([np.c_[at[0], at[1], at[2]], np.c_[at[0], at[2], at[3]]])
    return trimesh.Trimesh((middle[:, None] + r * ring).reshape(-1, 3), faces, process=False)


def test_an_inward_shell_across_the_surface_is_cut_away_and_is_no_cavity():
    # Exact: a cube of 64 cm3 and one of 8 cm3 that enters it by 1 mm: 63.6 is their difference.
    inward = cube(20, 29)
    inward.invert()
    (volume, _, _, bodies, cavities), notes = volume_and_notes(cube(40), inward)
    assert volume == pytest.approx(63_600) and (bodies, cavities) == (1, 0)
    assert "cut away" in notes and "cavit" not in notes


def test_outward_shells_that_cross_are_united():
    (volume, *_), notes = volume_and_notes(cube(40), cube(20, 29))
    assert volume == pytest.approx(71_600) and "0.4 cm³" in notes  # exact: their union


WAYS = {
    "turned and far from the origin": lambda v, f: (np.add(rotated_up(v, (0.3, -0.5, 0.8)), [1e6, -2e6, 5e5]), f),
    "mirrored": lambda v, f: (v * [-1, 1, 1], f),
    "column by column": lambda v, f: (np.asfortranarray(v), np.asfortranarray(f)),
    "numbered backwards": lambda v, f: (v[::-1], len(v) - 1 - f),
    "in single precision": lambda v, f: (v.astype(np.float32), f.astype(np.int32)),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    ("pieces", "volume_mm3", "cavities"),
    [
        ([cube(40), moved(cube(20), 29, flip=True)], 63_600, 0),  # exact, as above
        ([cube(40), cube(20, 29)], 71_600, 0),
        ([cube(40), moved(cube(20), 0, flip=True)], 56_000, 1),
        ([box((40, 40, 200)).difference(box((38.4, 38.4, 220)))], 200 * (40**2 - 38.4**2), 0),  # a thin tube
    ],
)
def test_neither_place_nor_hand_nor_order_in_memory_changes_what_is_measured(pieces, volume_mm3, cavities, way):
    whole = trimesh.util.concatenate(pieces)
    vertices, faces, _ = mended(*WAYS[way](np.array(whole.vertices), np.array(whole.faces)))
    volume, (bodies, found) = measure(vertices, faces)[0], counted(vertices, faces)
    assert volume == pytest.approx(volume_mm3, rel=1e-6) and (bodies, found) == (1, cavities)


@pytest.mark.parametrize(("radius", "said"), [(6.0, "2.9%"), (12.0, "5.8%")])
def test_a_single_shell_that_crosses_itself_is_united_and_says_how_much(radius, said):
    tube = eight(r=radius)
    # Two round bars of radius r that cross at a right angle share 16/3 r³ (Archimedes; exact). The bars here bend a
    # little as they cross: 2%.
    twice, less = miscounted(tube.vertices, tube.faces)
    shared = 16 / 3 * radius**3
    assert twice == pytest.approx(shared / (tube.volume - shared), rel=0.02) and less == 0
    vertices, faces, notes = mended(tube.vertices, tube.faces)
    assert tube.volume - facets_of(vertices, faces)[0].sum() == pytest.approx(shared, rel=0.02)
    assert counted(vertices, faces) == (1, 0) and f"united ({said} of the metal" in notes[0]


def test_a_shell_that_crosses_itself_and_is_partly_inside_out_is_refused():
    tube = eight()
    left = tube.vertices[:, 0] < 0
    mirrored = np.where(left[:, None], tube.vertices * (0.6, -0.6, 0.6), tube.vertices)  # its left loop points inward
    assert miscounted(mirrored, tube.faces)[1] > 0.1
    with pytest.raises(InputError, match=r"crosses itself: 25\.0%"):
        mended(mirrored, tube.faces)


@given(DIRECTIONS, st.sampled_from([BOX, BALL, torus(20, 5), cone(10, 20)]))
@settings(max_examples=30)
def test_a_sound_mesh_counts_nothing_twice(up, body):
    assert miscounted(rotated_up(body.vertices, up), body.faces) == (0, 0)


@pytest.mark.parametrize(
    ("sides", "unit", "asked"),
    [
        ((3, 2, 1.5), "mm", "3 × 2 × 1.5 mm: were these inches or cm?"),
        ((60, 40, 30), "inch", "60 × 40 × 30 inch: were these cm or mm?"),
        ((90, 70, 60), "mm", ""),
        ((3.5, 2.8, 2.4), "inch", ""),
    ],
)
def test_sizes_that_suggest_another_unit_are_asked_about(sides, unit, asked):
    body = box(sides)
    assert " ".join(mended(body.vertices, body.faces, unit=unit)[2]) == asked


def test_a_mesh_that_takes_too_long_is_refused(monkeypatch):
    monkeypatch.setattr("pourprint.parts.mending.LONGEST_S", 0.0)
    with pytest.raises(InputError, match="in 0 s"):
        mended(BALL.vertices, BALL.faces)


def test_bodies_keep_their_cavities():
    hollow = icosphere(3, 10.0)
    whole = trimesh.util.concatenate([BALL, moved(hollow, 0, flip=True), icosphere(2, 5.0), moved(BOX, 60)])
    vertices, faces, _ = mended(whole.vertices, whole.faces)
    found = sorted(float(facets_of(vertices, body)[0].sum()) for body in bodies_of(vertices, faces))
    assert found == pytest.approx(sorted([icosphere(2, 5.0).volume, BALL.volume - hollow.volume, BOX.volume]))


def test_a_simpler_copy_keeps_to_what_it_promises():
    ball = icosphere(5, 20.0)
    vertices, faces = simplified(ball.vertices, ball.faces, 0.05)
    assert len(faces) < len(ball.faces) / 2
    assert np.linalg.norm(vertices, axis=1) == pytest.approx(20, abs=0.05)
    # A layer of 0.05 mm on the whole surface would be 0.05·A.
    assert abs(facets_of(vertices, faces)[0].sum() - ball.volume) < 0.05 * ball.area


def test_two_blocks_that_touch_along_an_edge_are_loosened_there_and_nowhere_else():
    """Two unit cubes with an edge in common, by hand: the corners of each go towards its own, 0.01 / sqrt(3) a way at
    most, until another library, which joins what is at one place, finds two facets on every edge instead of four."""
    blocks = [trimesh.creation.box((1, 1, 1), np.eye(4)), trimesh.creation.box((1, 1, 1))]
    blocks[1].apply_translation((1, 1, 0))
    vertices = np.vstack([block.vertices for block in blocks])
    faces = np.vstack([blocks[0].faces, blocks[1].faces + 8])
    assert not trimesh.Trimesh(vertices, faces, process=True).is_watertight
    loose = loosened(vertices, faces, 0.01)
    moved = np.linalg.norm(loose - vertices, axis=1)
    assert np.sort(moved) == pytest.approx([0] * 12 + [0.01] * 4, abs=1e-12)
    one, other = np.split(loose[:, :2], 2)
    assert (one < 0.5)[moved[:8] > 0].all() and (other > 0.5)[moved[8:] > 0].all()
    assert trimesh.Trimesh(loose, faces, process=True).is_watertight
