"""Pockets that freeze unfed: exact cases on cells, simple solids, textbook distances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.process.cavity import Cavity
from pourprint.process.freezing.enthalpy import freezing_times, steps_of
from pourprint.process.freezing.floods import pockets
from pourprint.process.freezing.solidification import Melt, Mould
from pourprint.process.freezing.voxels import Grid
from pourprint.process.pores import feed

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
    found = pockets(order, flat, flat, amount, source.ravel(), steps_of(keys.shape), least, prominence)
    return {tuple(np.array(np.unravel_index(cell, keys.shape)) - 1): (t, v) for cell, t, v in found}


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
@settings(max_examples=40)
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


def stops_at(found, place_mm):
    """When the metal at a place stops to feed [s]."""
    grid = found.cavity.grid
    return found.stops_s[tuple(((np.array(place_mm) - grid.origin_mm) // grid.cell_mm).astype(int))]


def test_a_boss_behind_a_thin_bar_is_cut_off_from_a_feeder_at_the_bars_end_and_fed_by_one_of_its_own():
    pocket_cm3 = []
    for cell in (4.0, 3.0):
        part, head, own = bar_with_boss(cell, 56)
        found = feed(casting(part, cell, 40, head), A356, SAND, 0.05)
        (pore,) = found.pores
        assert np.abs(np.array(pore.place_mm) - (40, 24, 24)).max() <= 2 * cell
        pocket_cm3.append(pore.metal_cm3)
        # By hand: it stiffens when 70% is solid, and what was solid when it was cut off has been fed.
        fed = 0.7 * pore.cut_off_s / stops_at(found, pore.place_mm)
        assert pore.pore_cm3 == pytest.approx(0.05 * pore.metal_cm3 * (1 - fed), rel=0.02)
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


def one_sided(field, axis, cell_mm):
    """Slope of a field along an axis, of one side alone at an edge of nan."""
    step = np.diff(field, axis=axis) / cell_mm
    step = np.pad(step, [(1, 1) if k == axis else (0, 0) for k in range(3)], constant_values=np.nan)
    ends = np.stack([np.take(step, range(k, k + field.shape[axis]), axis=axis) for k in (0, 1)])
    known = np.isfinite(ends)
    return np.where(known, ends, 0).sum(0) / np.maximum(known.sum(0), 1)


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
    # G/√Ṫ at the end of freezing from two arrivals: G = Ṫ·|∇t|, Ṫ = ΔT/Δt.
    over_k = 0.3 * (STEEL.liquidus_c - STEEL.solidus_c)
    slope = np.sqrt(sum(one_sided(found.solid_s, axis, wall / cells) ** 2 for axis in range(3)))
    value = slope * np.sqrt(over_k / (found.solid_s - found.stops_s))
    rim = (value.shape[2] - plate.shape[2]) // 2
    line = value[rim : rim + walls * cells, rim + 4 * cells + 2, rim + 2] > np.sqrt(60) / 10
    assert 2.3 <= np.argmin(line) / cells <= 3.0  # the cold end's zone: 2.5 walls in the textbook
    # Where they part: the textbook's 2 walls at the feeder are not found, so no distance is promised from heat flow.
    assert np.argmin(line[::-1]) / cells < 1.5
