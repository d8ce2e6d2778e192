"""How moulds fill, against published exercises, formulas and what must hold of any shape."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.process.cavity import Cavity, Rigging, Stand, cavity
from pourprint.process.filling import fill
from pourprint.process.freezing.voxels import Grid
from pourprint.process.misrun import Band, band, fluidity_mm, wall_stops_s
from pourprint.process.shell.turns import fill_in_turn
from scenes import DEMO, demo_rates

TWO_G = 2 * 9.81


def room(blocks, cell_mm, source, vent=None, gate_mm=0.0):
    """A Cavity of whole cells: blocks [(first, past)] of cells, with source and vent cells; blocks begin at 0 mm."""
    size = np.max([past for _, past in blocks], axis=0)
    share = np.zeros(size)
    for first, past in blocks:
        share[tuple(slice(a, b) for a, b in zip(first, past, strict=True))] = 1
    share = np.pad(share, 1)
    marks = []
    for cells in (source, vent):
        mark = np.zeros(share.shape, dtype=bool)
        if cells is not None:
            mark[tuple(np.array(cells).T + 1)] = True
        marks.append(mark & (share > 0))
    full, none = share > 0, np.zeros(share.shape, dtype=bool)
    return Cavity(Grid(share, cell_mm, np.full(3, -cell_mm)), full, none, *marks, none, gate_mm)


def from_below_s(area_ratio, head_m, from_m, to_m):
    """Time in which a level rises through the choke below it: (A_m/A_g)·(2/√2g)·(√(H − a) − √(H − b)) (exact)."""
    return area_ratio * 2 / np.sqrt(TWO_G) * (np.sqrt(head_m - from_m) - np.sqrt(head_m - to_m))


def test_a_published_exercise_of_a_bottom_gate_fills_in_73_17_s():
    # Testbook, questions on bottom gates, 1 (published): mould 1 × 0.5 m, 0.25 m high, gate 10 cm2, head 0.30 m:
    # 73.17 s.
    flat = room([((0, 0, 0), (80, 40, 20))], 12.5, [(0, 0, 0)])
    found = fill(flat, 1000.0, 300.0).filled_s
    assert found == pytest.approx(73.17, rel=0.005)
    assert from_below_s(0.5 / 1e-3, 0.30, 0, 0.25) == pytest.approx(73.173, abs=0.001)


def test_a_published_exercise_with_metal_that_enters_the_sprue_at_speed():
    # Testbook, questions on bottom gates, 2 (published: 6.3 to 6.6 s, with g = 10): elliptic mould, half axes 30 and
    # 10 cm, 60 cm high, gate 15 cm2, sprue 180 cm, 2 m/s at its top, which is as much head as 2²/2g.
    cell = 10.0
    x, y = (np.arange(n) - n / 2 + 0.5 for n in (62, 22))
    share = (((x[:, None] * cell / 300) ** 2 + (y[None, :] * cell / 100) ** 2) <= 1)[..., None] * np.ones(60)
    assert share.sum() == pytest.approx(np.pi * 30 * 10 * 60, rel=0.01)
    share = np.pad(share, 1)
    source = np.zeros(share.shape, dtype=bool)
    source[32, 12, 1] = True
    none = np.zeros(share.shape, dtype=bool)
    mould = Cavity(Grid(share, cell, np.full(3, -cell)), share > 0, none, source, none, none, 0.0)
    assert 6.3 <= fill(mould, 1500.0, 1800 + 1000 * 4 / TWO_G).filled_s <= 6.6


@pytest.mark.parametrize(("area", "head", "volume", "seconds"), [(250, 200, 1560, 3.15), (444, 175, 1376, 1.67)])
def test_two_published_exercises_of_a_gate_on_top(area, head, volume, seconds):
    # Textbook exercises (published, as in `sand.gating`): the head over a gate on top stays as it is.
    cells = 10
    edge = 10 * np.cbrt(volume) / cells
    cube = room([((0, 0, 0), (cells,) * 3)], edge, [(0, 0, cells - 1)], gate_mm=cells * edge)
    assert fill(cube, area, cells * edge + head).filled_s == pytest.approx(seconds, abs=0.006)


def test_a_stepped_mould_fills_as_the_formula_says():
    # Exact, step by step: 200 × 100 mm up to 60 mm, then 80 × 100 mm up to 120 mm; head 160 mm, choke 100 mm2.
    stepped = room([((0, 0, 0), (40, 20, 12)), ((0, 0, 12), (16, 20, 24))], 5.0, [(39, 0, 0)])
    exact = from_below_s(200, 0.16, 0, 0.06) + from_below_s(80, 0.16, 0.06, 0.12)
    assert fill(stepped, 100.0, 160.0).filled_s == pytest.approx(exact, rel=0.005)


def test_metal_that_falls_over_a_lip_comes_at_a_steady_speed():
    # Exact: the first leg rises to the lip at 60 mm, the second fills from its floor while the gate feels
    # the lip's level, to half a cell; then both rise together.
    legs = [((0, 0, 0), (10, 10, 20)), ((20, 0, 0), (30, 10, 20)), ((10, 0, 12), (20, 10, 20))]
    found = fill(room(legs, 5.0, [(0, 0, 0)]), 50.0, 150.0)
    leg, bridge, lip = 2500 / 50, 50 * 50 / 50, 0.0625
    over_s = leg * 0.06 / np.sqrt(TWO_G * (0.15 - lip))
    exact = from_below_s(leg, 0.15, 0, 0.06) + over_s + from_below_s(2 * leg + bridge, 0.15, 0.06, 0.10)
    assert found.filled_s == pytest.approx(exact, rel=0.01)
    assert np.isfinite(found.time_s[found.cavity.metal]).all()
    second = found.time_s[21:31, 1:11, 1].min()
    assert second >= found.time_s[1:11, 1:11, 12].max()  # the first leg is full to the lip before the second gets any


def test_a_mould_higher_than_its_basin_is_not_filled():
    found = fill(room([((0, 0, 0), (4, 4, 20))], 5.0, [(0, 0, 0)]), 50.0, 60.0)
    assert not found.complete


def test_air_under_a_closed_dome_is_caught_and_all_of_it():
    # A trough with two domes, a vent on the first: what is in the second above the trough's ceiling stays, exactly.
    blocks = [((0, 0, 0), (30, 10, 4)), ((2, 0, 4), (8, 10, 12)), ((20, 0, 4), (26, 10, 10))]
    found = fill(room(blocks, 2.0, [(0, 0, 0)], vent=[(4, 4, 11)]), 50.0, 100.0)
    (trap,) = found.traps
    assert trap.volume_cm3 == pytest.approx(6 * 10 * 6 * 8 / 1000)
    assert 40 <= trap.place_mm[0] <= 52 and trap.place_mm[2] >= 18
    again = fill(room(blocks, 2.0, [(0, 0, 0)], vent=[(4, 4, 11), (22, 4, 9)]), 50.0, 100.0)
    assert not again.traps  # a second vent lets it out


@given(seed=st.integers(0, 200))
@settings(max_examples=25)
def test_filling_keeps_the_volume_and_reaches_the_same_cells_however_they_are_numbered(seed):
    draw = np.random.default_rng(seed)
    share = np.pad((draw.random((7, 6, 8)) < 0.75).astype(float), 1)
    share[1, 1, 1] = 1
    source = np.zeros(share.shape, dtype=bool)
    source[1, 1, 1] = True
    vent, none = source.copy(), np.zeros(share.shape, dtype=bool)
    plain = Cavity(Grid(share, 5.0, np.zeros(3)), share > 0, none, source, vent, none, 5.0)
    steady = 1.0, 1e9  # a basin so high that the level in the mould does not matter
    found, flow = fill(plain, *steady), float(np.sqrt(TWO_G * 1e9 / 1000))
    reached = np.isfinite(found.time_s)
    assert found.filled_s * flow == pytest.approx(reached.sum() * 0.125)  # what has flowed in is what is full
    turned = Cavity(
        Grid(share[::-1, ::-1].copy(), 5.0, np.zeros(3)), (share > 0)[::-1, ::-1], none,
        source[::-1, ::-1].copy(), vent[::-1, ::-1].copy(), none, 5.0,
    )  # fmt: skip
    other = fill(turned, *steady)
    assert np.array_equal(np.isfinite(other.time_s), reached[::-1, ::-1])
    assert other.filled_s == pytest.approx(found.filled_s)


# A real node ------------------------------------------------------------------------------------------


def node_in_sand(name, cell_mm, **changes):
    """The cavity of a demo node with the plan's feeder and gate, and its inflow."""
    part = pp.Part.from_mesh(DEMO / "nodes" / name)
    one = pp.ROUTES["printed_mould"].moulds_of(pp.Job(part, "AlSi7Mg"), demo_rates())[0]
    vertices, faces = part.mesh
    head = Stand(
        tuple(one.hot_mm[:2]), float(one.study.high_mm[2]), float(one.feeder.diameter_mm), float(one.feeder.height_mm),
        0.7, float(one.hot_mm[2]),
    )  # fmt: skip
    rigging = Rigging((head,), (np.pi / 2,), float(one.study.parting_mm), float(one.gating.ingate_mm2), 25.0)
    made = cavity(vertices @ one.study.frame.T, faces, replace(rigging, **changes), cell_mm, cell_mm)
    return one, made, (float(one.gating.choke_mm2), one.study.parting_mm + float(one.gating.head_mm), 0.8)


def test_a_gate_thicker_than_the_part_has_place_on_the_grid_and_too_many_cells_are_refused():
    # Metal at the edge of the grid would lead the filling out of it.
    sheet = trimesh.creation.box((60, 40, 0.6))
    rigging = Rigging((), (0.0,), 0.0, 144.0, 20.0)
    made = cavity(sheet.vertices, sheet.faces, rigging, 0.3, 0.0)
    inner = made.metal[1:-1, 1:-1, 1:-1]
    assert inner.sum() == made.metal.sum() and made.source.any()
    with pytest.raises(InputError, match="wider cells"):
        cavity(sheet.vertices, sheet.faces, rigging, 0.1, 0.0)


def test_a_node_takes_what_its_plan_says_and_enters_at_half_a_metre_a_second():
    one, made, inflow = node_in_sand("bogie_pivot.stl", 1.5)
    found = fill(made, *inflow)
    # The plan's box of even section is a rough guess of the shape: time within a quarter.
    assert found.filled_s == pytest.approx(float(one.gating.pour_s), rel=0.25)
    assert found.flow_cm3_s[0] / float(one.gating.ingate_mm2) == pytest.approx(0.5, rel=0.02)
    assert np.diff(found.clock_s).min() >= 0
    assert made.part_cm3 + made.feeder_cm3 <= made.grid.fraction.sum() * made.grid.cell_mm**3 / 1000 <= one.metal_cm3


def test_more_gates_shorten_no_filling_but_change_what_is_last():
    _, one_gate, inflow = node_in_sand("rocker_pivot.stl", 2.0)
    _, two_gates, _ = node_in_sand("rocker_pivot.stl", 2.0, gates=(0.0, np.pi))
    first, second = fill(one_gate, *inflow), fill(two_gates, *inflow)
    assert second.filled_s == pytest.approx(first.filled_s, rel=0.05)  # the choke decides
    assert min(np.isfinite(found.time_s).sum() for found in (first, second)) > 1000
    assert np.linalg.norm(first.fills_last()[0] - second.fills_last()[0]) > 10


@pytest.mark.parametrize("cell", [5.0, 2.5])
def test_two_towers_on_one_foot_fill_at_once_and_last_at_both_tops(cell):
    """By hand: towers of 20 × 20 mm whose middles are 80 mm apart and whose tops are at 100 mm, on a foot of 100 × 20 ×
    20 mm: the last layer of both; from the middle of its cells in one tower to the far corner of the other."""
    n = round(20 / cell)
    foot, towers = ((0, 0, 0), (5 * n, n, n)), [((k * n, 0, n), ((k + 1) * n, n, 5 * n)) for k in (0, 4)]
    found = fill(room([foot, *towers], cell, [(2 * n, 0, 0)]), 100.0, 300.0)
    full = found.time_s[1:-1, 1:-1, 1:-1]
    assert np.array_equal(full[:n, :, n:], full[4 * n :, :, n:]) and len(np.unique(full[:n, :, -1])) == 1
    middle, within = found.fills_last()
    assert middle[2] == pytest.approx(100 - cell / 2) and min(abs(middle[0] - 10), abs(middle[0] - 90)) < 10
    corners = np.array([(x, y) for x in (cell / 2, 100 - cell / 2) for y in (cell / 2, 20 - cell / 2)])
    assert within == pytest.approx(np.linalg.norm(corners - middle[:2], axis=1).max() + cell / 2)


def test_faults_of_a_rigging_say_what_to_do():
    with pytest.raises(InputError, match="gates"):
        Rigging((), (), 0.0, 100.0, 25.0)
    with pytest.raises(InputError, match="move it over the part"):
        node_in_sand("spreader.3mf", 2.0, feeders=(Stand((500.0, 0.0), 40.0, 20.0, 30.0, 0.7, 0.0),))
    with pytest.raises(InputError, match="vents"):
        node_in_sand("spreader.3mf", 2.0, vents=((-24.0, -12.0),))
    with pytest.raises(InputError, match="choke_mm2"):
        fill(room([((0, 0, 0), (4, 4, 4))], 5.0, [(0, 0, 0)]), 0.0, 100.0)


# Misrun -----------------------------------------------------------------------------------------------


def test_a_thin_wall_stops_to_flow_before_a_thick_one_and_a_hot_mould_buys_time():
    melt, sand = pp.Melt.of(pp.alloys()["AlSi7Mg"]), pp.Mould.sand()
    thin, thick = (wall_stops_s(wall, melt, sand) for wall in (3.0, 6.0))
    assert thick / thin == pytest.approx(4, rel=0.03)  # the square of the wall, in thick sand (Chvorinov)
    shell = pp.Mould.shell(8.0)
    assert wall_stops_s(3.0, melt, shell) > thin  # 300 °C against 20 °C
    hotter = replace(shell, start_c=500.0)
    assert wall_stops_s(3.0, melt, hotter) > wall_stops_s(3.0, melt, shell)
    assert wall_stops_s(3.0, replace(melt, pour_c=melt.pour_c + 50), sand) > thin


def test_a_wall_in_sand_is_near_the_rule_of_the_thick_mould():
    # Adams, MIT 1953: to the solidus; 70% of the range passed comes a little earlier.
    melt, sand = pp.Melt.of(pp.alloys()["AlSi7Mg"]), pp.Mould.sand()
    assert 0.5 < wall_stops_s(6.0, melt, sand) / float(pp.adams_time_s(3.0, melt, sand)) < 1.0


def test_bands_follow_the_ledger_and_fluidity_grows_with_wall_speed_and_superheat():
    limit = demo_rates().entries["printed_mould.fill_share"]
    assert [band(share, limit) for share in (0.1, 0.6, 1.1)] == [Band.SAFE, Band.DOUBTFUL, Band.MISRUN]
    melt, sand = pp.Melt.of(pp.alloys()["AlSi7Mg"]), pp.Mould.sand()
    least, middle, most = fluidity_mm(3.0, 0.5, melt, sand)
    assert least < middle < most
    assert fluidity_mm(6.0, 0.5, melt, sand)[1] == pytest.approx(2 * middle)
    assert fluidity_mm(3.0, 1.0, melt, sand)[1] == pytest.approx(2 * middle)
    assert fluidity_mm(3.0, 0.5, replace(melt, pour_c=melt.pour_c + 40), sand)[1] > middle


# A cluster poured from the top --------------------------------------------------------------------------


@given(seed=st.integers(0, 100))
@settings(max_examples=30)
def test_parts_of_a_cluster_fill_in_the_turn_of_their_gates_and_take_what_is_poured(seed):
    draw = np.random.default_rng(seed)
    gate = draw.integers(1, 20, 5) * 10.0
    top, below, above = gate + draw.uniform(5, 60, 5), draw.uniform(1, 40, 5), draw.uniform(1, 40, 5)
    begin, full = fill_in_turn(gate, top, below, above, 500.0, 20.0)
    assert (full > begin).all()
    assert (np.diff(begin[np.argsort(gate, kind="stable")]) >= -1e-9).all()
    last = np.argmax(top)
    if (gate <= top[last]).all():  # when the highest is full, all is: what has flowed in is what is there (exact)
        assert full[last] * 20 == pytest.approx(below.sum() + above.sum() + 0.5 * top[last])
