"""Pockets that freeze unfed: exact cases on cells, simple solids, textbook distances, demo nodes on two grids."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.process.cavity import Cavity
from pourprint.process.filling import found_pockets
from pourprint.process.freezing.enthalpy import freezing_times
from pourprint.process.freezing.floods import pockets
from pourprint.process.freezing.solidification import Melt, Mould
from pourprint.process.freezing.voxels import Grid
from pourprint.process.pores import feed, gradient_criterion
from process.test_filling import node_in_sand

A356 = Melt.of(pp.alloys()["AlSi7Mg"])
SAND = Mould.sand()
STEEL = Melt(7300, 750, 270e3, 30, 1450, 1500, 1560)


def casting(part, cell_mm, rim_mm, feeder=None, chill=None):
    """A Cavity of whole cells (nx, ny, nz) of part and feeder, bool, in mould all round."""
    rim = int(np.ceil(rim_mm / cell_mm))
    part, feeder, chill = (np.pad(np.zeros_like(part) if c is None else c, rim) for c in (part, feeder, chill))
    none, share = np.zeros_like(part), (part | feeder).astype(float)
    return Cavity(Grid(share, cell_mm, np.full(3, -rim * cell_mm)), part, feeder, none, none, chill, 0.0)


# Pockets on cells -------------------------------------------------------------------------------------


def pockets_of(keys, source, least=1.0, prominence=0.05):
    """{last cell: (key at the cutting off, amount)} on a grid of keys, nan outside."""
    keys, source = np.pad(keys, 1, constant_values=np.nan), np.pad(source, 1)
    flat = keys.ravel()
    order = np.flatnonzero(~np.isnan(flat))
    order = order[np.argsort(-flat[order])]
    amount = (~np.isnan(flat)).astype(float)
    cells, cut, held = found_pockets(pockets, order, flat, amount, source.ravel(), keys.shape, least, prominence)
    rows = zip(zip(*np.unravel_index(cells, keys.shape), strict=True), cut, held, strict=True)
    return {tuple(np.array(place) - 1): (t, v) for place, t, v in rows}


def test_a_row_of_cells_falls_into_the_pockets_that_one_counts_by_hand():
    # Times along a bar, the feeder at the right end: a peak of 9 behind a neck of 3, and a peak of 6 behind one of 2.
    row = np.array([1, 5, 6, 5, 2, 4, 9, 8, 3, 7, 10.0])[:, None, None]
    source = np.zeros(row.shape, dtype=bool)
    source[-1] = True
    assert pockets_of(row, source) == {(6, 0, 0): (3.0, 3.0), (2, 0, 0): (2.0, 3.0)}
    # Without a feeder the whole bar is one pocket, less what its lesser peaks keep for themselves.
    alone = pockets_of(row, np.zeros_like(source))
    assert alone[10, 0, 0] == (-np.inf, 11.0 - 3 - 3) and alone[6, 0, 0] == (3.0, 3.0)
    assert sum(held for _, held in alone.values()) == 11


@given(seed=st.integers(0, 300))
@settings(max_examples=40, deadline=None)
def test_pockets_do_not_depend_on_the_order_of_cells(seed):
    draw = np.random.default_rng(seed)
    keys = draw.integers(1, 8, (5, 6, 4)).astype(float)  # many ties
    keys[draw.random(keys.shape) < 0.2] = np.nan
    source = (draw.random(keys.shape) < 0.03) & ~np.isnan(keys)
    first = sorted(pockets_of(keys, source).values())
    for axes in ((1, 0, 2), (2, 1, 0)):
        other = pockets_of(np.transpose(keys, axes)[::-1], np.transpose(source, axes)[::-1])
        assert sorted(other.values()) == first
    unfed = pockets_of(keys, np.zeros_like(source), least=0.5, prominence=0.0)
    assert sum(held for _, held in unfed.values()) == (~np.isnan(keys)).sum()  # nothing is lost


# Solids -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [16, 17])
def test_a_sphere_keeps_its_pore_at_its_centre(cells):
    cell = 40 / cells
    at = (np.arange(cells) - cells / 2 + 0.5) * cell
    ball = (at[:, None, None] ** 2 + at[:, None] ** 2 + at**2) <= 400
    found = feed(casting(ball, cell, 30), A356, SAND, 0.05)
    (pore,) = found.pores
    assert np.abs(np.array(pore.place_mm) - 20).max() <= cell
    assert pore.pore_cm3 == pytest.approx(0.05 * ball.sum() * cell**3 / 1000)
    assert pore.cut_off_s == -np.inf  # no feeder ever


def bar_with_boss(cell, feeder_mm):
    """A bar of 24 × 24 × 160 mm with a boss of 48 mm at 40 mm from one end, fed at the other end by a block, or not."""
    x, y, z = (np.arange(0, length, cell) + cell / 2 for length in (220, 48, 80))
    x, y, z = x[:, None, None], y[:, None], z
    bar = (x < 160) & (abs(y - 24) < 12) & (abs(z - 24) < 12)
    boss = (abs(x - 40) < 24) & (abs(y - 24) < 24) & (abs(z - 24) < 24)
    head = (x >= 160) & (x < 160 + feeder_mm) & (y == y) & (z < 80)
    over_boss = (abs(x - 40) < 24) & (abs(y - 24) < 24) & (z >= 48)
    return bar | boss, head & (feeder_mm > 0), over_boss


def test_a_boss_behind_a_thin_bar_is_cut_off_from_a_feeder_at_the_bars_end_and_fed_by_one_of_its_own():
    pocket_cm3 = []
    for cell in (4.0, 3.0):
        part, head, own = bar_with_boss(cell, 56)
        (pore,) = feed(casting(part, cell, 40, head), A356, SAND, 0.05).pores
        assert np.abs(np.array(pore.place_mm) - (40, 24, 24)).max() <= 2 * cell
        pocket_cm3.append(pore.pocket_cm3)
        assert not feed(casting(part, cell, 40, head | own), A356, SAND, 0.05).pores
    assert pocket_cm3[0] == pytest.approx(pocket_cm3[1], rel=0.4)  # the band of volume that is claimed
    assert min(pocket_cm3) > 48**3 / 1000 * 0.3


def test_a_chill_on_the_boss_makes_its_pocket_smaller():
    part, head, _ = bar_with_boss(4.0, 56)
    x, y, z = np.ogrid[: part.shape[0], : part.shape[1], : part.shape[2]]
    iron = (x < 16) & (x >= 4) & (z >= 12) & (z < 18) & (y >= 0)
    plain, cooled = (feed(casting(part, 4.0, 40, head, c), A356, SAND, 0.05) for c in (None, iron & ~part & ~head))
    assert cooled.pore_cm3 < 0.8 * plain.pore_cm3
    assert cooled.part_s < plain.part_s


def test_a_chill_of_sand_is_sand_and_heat_is_kept_with_one_of_iron():
    part, _, _ = bar_with_boss(4.0, 0)
    share = np.pad(part.astype(float), 10)
    iron = np.zeros(share.shape, dtype=bool)
    iron[12:20, 12:18, 24:27] = True
    times = freezing_times(share, 4.0, A356, SAND)[0]
    same = freezing_times(share, 4.0, A356, SAND, chill=(iron, SAND.conductivity_w_mk, 1100 * 1000 * 1.4))[0]
    assert np.nanmax(np.abs(times - same) / times) < 1e-3
    _, left = freezing_times(share, 4.0, A356, SAND, chill=(iron, 50.0, 7200 * 500.0))
    assert abs(left) < 0.01  # nothing is lost but a trace through the sand's edge


def test_times_of_two_fractions_are_those_of_two_runs_and_stop_when_the_part_is_solid():
    part, head, _ = bar_with_boss(4.0, 56)
    share = np.pad((part | head).astype(float), 8)
    both, _ = freezing_times(share, 4.0, A356, SAND, (0.7, 1.0))
    for solid, times in zip((0.7, 1.0), both, strict=True):
        assert np.nanmax(np.abs(freezing_times(share, 4.0, A356, SAND, solid)[0] - times)) < 1e-6
    short, _ = freezing_times(share, 4.0, A356, SAND, until=np.pad(part, 8))
    assert np.isinf(short[np.pad(head, 8)]).any()
    assert short[np.pad(part, 8)] == pytest.approx(both[1][np.pad(part, 8)])


def test_a_steel_plate_fed_from_its_end_against_the_textbook_zones():
    # Bishop & Pellini 1950 (from memory): plates of steel in sand are sound for 4.5 walls from the feeder, of which the
    # cold end helps over 2.5 and the feeder over 2. Where the criterion is high, heat flow makes metal freeze in order.
    # Steel's threshold: 1 √(K·min)/cm (Niyama and others 1982, from memory), which is 0.775 √(K·s)/mm.
    wall, cells, walls = 25.0, 5, 10  # an odd number of cells: the middle plane is a row of them
    plate = np.zeros((walls * cells + 3 * cells, 9 * cells, 3 * cells), dtype=bool)
    head = plate.copy()
    plate[: walls * cells, :, :cells] = True
    head[walls * cells :, 3 * cells : 6 * cells] = True
    found = feed(casting(plate, wall / cells, 60, head), STEEL, SAND, 0.03)
    value = gradient_criterion(found)
    rim = (value.shape[2] - plate.shape[2]) // 2
    line = value[rim : rim + walls * cells, rim + 4 * cells + 2, rim + 2] > np.sqrt(60) / 10
    assert 2.3 <= np.argmin(line) / cells <= 3.0  # the cold end's zone: 2.5 walls in the textbook
    # Where they part: the textbook's 2 walls at the feeder are not found, so no distance is promised from heat flow.
    assert np.argmin(line[::-1]) / cells < 1.5


# Demo nodes -------------------------------------------------------------------------------------------


def stops_s(feeding, place_mm):
    """When the metal at a place stops to feed [s]."""
    grid = feeding.cavity.grid
    return feeding.stops_s[tuple(((np.array(place_mm) - grid.origin_mm) // grid.cell_mm).astype(int))]


# How far apart two grids may put a pore [mm]: two cells. The corner keeps liquid along a ridge; two places on it, 9 mm
# apart, stop to feed within 2 % of one time on grids of 2.0, 1.75, 1.5 and 1.25 mm, and each grid has its own last.
@pytest.mark.parametrize(
    ("name", "apart_mm"),
    [("rocker_pivot.stl", 4.0), ("corner_left.stl", 10.0), ("bogie_pivot.stl", 4.0), ("axle_carrier.stl", 4.0)],
)
def test_places_and_pockets_of_a_demo_node_agree_on_two_grids_with_and_without_its_feeder(name, apart_mm):
    for changes in ({}, {"feeders": ()}):
        runs = []
        for cell in (2.0, 1.5):
            _, made, _ = node_in_sand(name, cell, **changes)
            rim = int(np.ceil(20 / cell))
            whole = Grid(np.pad(made.grid.fraction, rim), cell, made.grid.origin_mm - rim * cell)
            marks = {key: np.pad(getattr(made, key), rim) for key in ("part", "feeder", "source", "vent", "chill")}
            runs.append(feed(replace(made, grid=whole, **marks), A356, SAND, 0.053))
        coarse, fine = runs
        assert len(coarse.pores) == len(fine.pores)
        assert bool(coarse.pores) or not changes  # without a feeder something is always left unfed
        for a, b in zip(coarse.pores, fine.pores, strict=True):
            assert np.abs(np.subtract(a.place_mm, b.place_mm)).max() <= apart_mm
            for run in runs:  # whichever place: to both grids they are last alike
                assert stops_s(run, a.place_mm) == pytest.approx(stops_s(run, b.place_mm), rel=0.03)
            assert a.pocket_cm3 == pytest.approx(b.pocket_cm3, rel=0.4)
        if not changes:
            takes, gives = fine.enough(0.14)
            assert takes < gives
            # The feeder gives for longer than any of the part takes, and is not solid when the part is. (The corner's
            # stops to give at 77 s, before its part is all solid at 81 s, but the part takes none after 63 s.)
            feeder, part = fine.cavity.feeder, fine.cavity.part
            assert fine.stops_s[feeder].max() > 1.1 * fine.stops_s[part].max()
            assert np.isinf(fine.solid_s[feeder]).any()
            assert set(np.unique(np.isnan(fine.rank[fine.cavity.part]))) <= {False, True}
            assert np.nanmin(fine.rank) >= 0 and np.nanmax(fine.rank) <= 1
