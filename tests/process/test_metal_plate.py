"""Which way up, and how pieces lie on the plate: no overlap, none outside, none forgotten."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from trimesh.creation import box, torus

import pourprint as pp
from pourprint.process.geometry import facets, sphere
from pourprint.process.packing import per_bed, plate_share, shelves
from pourprint.process.powder.nesting import Load, nest, room_taken
from pourprint.process.powder.orientation import Orientations, projected
from pourprint.process.powder.supports import Shadow, stand
from scenes import demo_kit, demo_rates

PLATE, GAP = (250.0, 250.0), 5.0


def rectangle(x, y, spacing=1.0):
    """The shadow of a box."""
    nx, ny = max(1, round(x / spacing)), max(1, round(y / spacing))
    return Shadow(np.argwhere(np.ones((nx, ny))), np.zeros(2), np.eye(2), spacing, np.eye(3))


def corner_piece(side, arm):
    """The shadow of an L."""
    whole = rectangle(side, side)
    return replace(whole, cells=whole.cells[(whole.points_mm < arm).any(axis=1)])


# Directions ---------------------------------------------------------------------------------------------


def test_the_scan_measures_a_block_right_in_every_axis():
    body = box(bounds=[[0, 0, 0], [30, 20, 10]])
    found = projected(body.vertices, facets(body.vertices, body.faces), np.eye(3))
    assert found.height_mm.tolist() == pytest.approx([30, 20, 10])
    assert found.foot_cm2.tolist() == pytest.approx([2, 3, 6])
    assert sorted((found.length_mm[2], found.width_mm[2])) == pytest.approx([20, 30])
    assert found.held_cm2.tolist() == pytest.approx([0, 0, 0], abs=1e-9)
    assert found.side_cm2.tolist() == pytest.approx([12 + 6, 12 + 4, 6 + 4])  # the four upright faces


def test_in_the_scan_every_support_reaches_the_plate():
    """By hand: a roof of 40 × 40 mm over a floor as large, on a wall of 10 mm; 30 × 40 mm = 12 cm2 hang, 25 mm up."""
    floor, wall, roof = (
        box(bounds=[[0, 0, low], [wide, 40, high]]) for wide, low, high in ((40, 0, 5), (10, 5, 25), (40, 25, 30))
    )
    body = floor.union(wall).union(roof)
    found = projected(body.vertices, facets(body.vertices, body.faces), np.eye(3)[2:])
    assert (found.plate_cm2[0], found.inner_cm2[0]) == pytest.approx((12, 0))
    assert found.support_cm3[0] == pytest.approx(12 * 2.5)


def test_directions_are_spread_evenly():
    points = sphere(200)
    assert np.linalg.norm(points, axis=1) == pytest.approx(1)
    nearest = cKDTree(points).query(points, k=2)[0][:, 1]
    assert nearest.min() > 0.6 * np.sqrt(4 * np.pi / 200)  # the mean room of a point is a square of that side


@pytest.mark.parametrize("item", demo_kit().parts, ids=lambda item: item.part.name)
def test_scan_and_columns_agree_where_both_see_everything(item):
    """Height, box, foot, held surface and outlines are exact in both; only what stands below differs."""
    found = item.part.study(Orientations)
    scan = projected(item.part.mesh[0], facets(*item.part.mesh), found.directions)
    for name in ("height_mm", "foot_cm2", "side_cm2"):
        assert getattr(scan, name) == pytest.approx(getattr(found.standing, name), rel=1e-6, abs=1e-3), name
    assert scan.held_cm2 == pytest.approx(found.standing.held_cm2, rel=1e-6, abs=1e-3)
    # Columns at the candidates' spacing may be 1% above the exact projection where nothing stands below.
    assert (found.standing.support_cm3 <= 1.01 * scan.support_cm3 + 0.05).all()
    # The smallest rectangle round the part, exact in both.
    area, other = (one.length_mm * one.width_mm for one in (scan, found.standing))
    assert area == pytest.approx(other, rel=1e-6)


def test_spacing_of_the_candidates_is_fine_enough():
    """Support volumes at the candidates' spacing against rays four times as dense: within 2%."""
    item = demo_kit().parts[0]
    found = item.part.study(Orientations)
    for i, up in enumerate(found.directions):
        fine, _ = stand(*item.part.mesh, up, 0.4)
        assert found.standing.support_cm3[i] == pytest.approx(fine.support_cm3, rel=0.02)
        assert found.standing.inner_cm2[i] == pytest.approx(fine.inner_cm2, rel=0.1, abs=0.3)


# Nesting ------------------------------------------------------------------------------------------------

side = st.integers(8, 120)


@given(st.lists(st.tuples(side, side, st.booleans(), st.integers(1, 5)), min_size=1, max_size=4), st.floats(0, 8))
@settings(max_examples=15)
def test_pieces_keep_the_gap_stay_on_the_plate_and_none_is_forgotten(kinds, gap):
    shadows = [corner_piece(max(x, y), min(x, y) / 2 + 1) if bent else rectangle(x, y) for x, y, bent, _ in kinds]
    pieces = [kind for kind, (*_, count) in enumerate(kinds) for _ in range(count)]
    places = nest(shadows, pieces, PLATE, gap)
    assert sorted(place.piece for place in places) == pieces
    put = [place.put(shadows[place.piece].points_mm) for place in places]
    half = 0.5  # each point stands for a square of 1 mm
    for points in put:
        assert points.min() >= half - 1e-9 and (points.max(axis=0) <= np.array(PLATE) - half + 1e-9).all()
    for i, a in enumerate(places):
        for j in range(i):
            if a.plate == places[j].plate:
                # Squares turned by any angle reach at most 0.71 mm from their points.
                assert cKDTree(put[i]).query(put[j])[0].min() >= gap + 2 * half - 1e-9


@given(st.integers(20, 120), st.integers(20, 120), st.integers(1, 25))
@settings(max_examples=20)
def test_nesting_needs_no_fewer_plates_than_the_area_and_few_more_than_shelves(x, y, count):
    plates = 1 + max(place.plate for place in nest([rectangle(x, y)], [0] * count, PLATE, GAP))
    assert plates * PLATE[0] * PLATE[1] >= count * x * y
    # A raster of 2.5 mm takes up to 5 mm a piece from room that shelves use to the last.
    assert plates <= shelves([(x + 5, y + 5)] * count, PLATE, GAP) + 1


def test_l_shapes_lie_in_each_other_where_boxes_cannot():
    # An L of 120 mm with arms of 30 mm: boxes of 120 mm go four on a plate, two and two.
    piece = corner_piece(120, 30)
    assert shelves([(120, 120)] * 5, PLATE, GAP) == 2
    assert {place.plate for place in nest([piece], [0] * 5, PLATE, GAP)} == {0}
    # Boxes take 1/4 of a plate each, and 125²/255² of it by their area; nested, five or more go on a plate.
    assert room_taken(Load((piece,), (1,), ((120.0, 120.0),), PLATE, GAP)) <= 1 / 5 / (125 / 255) ** 2


def test_a_piece_that_fits_no_plate_is_left_out():
    places = nest([rectangle(300, 20), rectangle(40, 40)], [0, 1, 1], PLATE, GAP)
    assert [place.piece for place in places] == [1, 1]
    assert shelves([(300, 20), (40, 40)], PLATE, GAP) == 1
    assert np.isnan(room_taken(Load((rectangle(300, 20),), (1,), ((300.0, 20.0),), PLATE, GAP)))


def test_shelves_counted_by_hand():
    # 250 × 250, gap 5: shelves of 60 hold two of 120 (245 mm); four shelves (255 mm less one gap) hold eight.
    assert [shelves([(120, 58)] * n, PLATE, GAP) for n in (1, 8, 9)] == [1, 1, 2]
    assert shelves([(250, 250)] * 3, PLATE, GAP) == 3


@pytest.mark.parametrize("kits", [1, 2, 3, 5])
def test_the_planned_plates_are_those_of_a_real_layout_give_or_take_one(kits):
    """The plan counts plates by a density learnt from a few kits; a layout of one batch may differ by one."""
    job = pp.Job(demo_kit(), "AlSi10Mg", kits)
    layout = pp.routes.printed_metal.lay_out(job, demo_rates())
    shadows = [piece.orientations.shadows[piece.index] for piece in layout.pieces]
    pieces = [kind for kind, piece in enumerate(layout.pieces) for _ in range(kits * piece.item.count)]
    real = 1 + max(place.plate for place in nest(shadows, pieces, PLATE, GAP))
    assert abs(layout.plates.per_batch(kits) - real) <= 1
    boxes = [(layout.pieces[kind].standing.length_mm, layout.pieces[kind].standing.width_mm) for kind in pieces]
    assert real <= shelves(boxes, PLATE, GAP)  # shapes never do worse than their boxes here


def test_nested_boxes_take_the_room_of_a_grid():
    """Boxes nested as boxes gain nothing to speak of against counting them in a grid."""
    size = (60.0, 40.0)
    share = plate_share(*size, PLATE, GAP) * room_taken(Load((rectangle(*size),), (1,), (size,), PLATE, GAP))
    assert int(per_bed((*size, 10), PLATE, GAP)) == 15
    assert share == pytest.approx(1 / 15, rel=0.3)  # the raster loses some of a tight fit


@pytest.mark.parametrize("side", [150.0, 200.0, 300.0, 400.0])
def test_plates_of_another_size_are_near_a_real_layout(side):
    """Nesting is learned on the library's plate. Counted in fractions, four plates' worth: within 12%."""
    rates = demo_rates().replace({"printed_metal.plate_x": side, "printed_metal.plate_y": side})
    layout = pp.routes.printed_metal.lay_out(pp.Job(demo_kit(), "AlSi10Mg"), rates)
    shadows = tuple(piece.orientations.shadows[piece.index] for piece in layout.pieces)
    boxes = tuple((float(p.standing.length_mm), float(p.standing.width_mm)) for p in layout.pieces)
    counts = tuple(piece.item.count for piece in layout.pieces)
    by_area = sum(n * plate_share(*box, (side, side), GAP) for n, box in zip(counts, boxes, strict=True))
    real = room_taken(Load(shadows, counts, boxes, (side, side), GAP)) * by_area
    assert layout.share == pytest.approx(real, rel=0.12)


def test_equal_pieces_leave_the_rest_of_a_plate_empty():
    """Blocks of 130 mm: one on a plate of 250 mm with 5 mm between, however much of it is left."""
    body = box(extents=(130, 130, 20))
    job = pp.Job(pp.Part.from_arrays("block", body.vertices, body.faces), "AlSi10Mg", 4)
    layout = pp.routes.printed_metal.lay_out(job, demo_rates().replace({"printed_metal.turning": 0}))
    assert layout.plates.per_batch(4) == 4


def test_the_torus_lies_flat_or_stands_but_not_aslant():
    """Of a ring, flat is lowest; every candidate is one that some wish prefers."""
    ring = torus(40, 10, 64, 32)
    found = Orientations.measured(ring.vertices, ring.faces)
    assert found.standing.height_mm.min() == pytest.approx(20, rel=0.02)


def test_squares_on_a_plate_larger_than_the_librarys_are_counted_by_hand():
    # 88 mm and a gap of 5 mm on 500 mm: five a row (5·88 + 4·5 = 460), so 25 a plate and the twenty-sixth on another.
    places = nest([rectangle(88, 88)], [0] * 26, (500.0, 500.0), GAP)
    assert [sum(place.plate == plate for place in places) for plate in (0, 1)] == [25, 1]
