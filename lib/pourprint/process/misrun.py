"""Does the metal arrive before the walls freeze? Time to fill over time to freeze, and how far a strip would run.

A front that is on its way cools, and stops when a share of it is solid. How fast it cools is known too badly to
promise a temperature: what is reported are bands (safe, doubtful, misrun) of t_fill/t_freeze. Not modelled: the
front's own temperature, surface tension, the back-pressure of gas, cold laps where two fronts meet.
"""

from dataclasses import replace
from enum import StrEnum

import numpy as np

from pourprint.ledger import entries as ledger
from pourprint.ledger.checks import check_numbers
from pourprint.process.freezing.enthalpy import freezing_times

CELLS = 8  # across a wall: within 2% of finer ones
SECTION_MM = 3.0  # half a wall of the thickness that a node has: from its skin to its middle
RIM_MM = 60.0  # of sand beside a wall, in which it freezes


class Band(StrEnum):
    """Whether metal fills a section in time."""

    SAFE = "safe"
    DOUBTFUL = "doubtful"
    MISRUN = "misrun"


def band(share, limit):
    """The Band of a time to fill over a time to freeze [-]; `limit` the entry printed_mould.fill_share: safe up to
    its value, a misrun beyond its high."""
    return Band.SAFE if share <= limit.value else Band.DOUBTFUL if share <= limit.high else Band.MISRUN


def shares(filling, feeding):
    """Time to fill each cell over the time in which its section stops to flow (nx, ny, nz) [-], nan outside the part.

    A section flows until its middle is stiff: of each cell's surroundings, `SECTION_MM` to each side, the last counts.
    """
    from scipy.ndimage import maximum_filter

    size = 2 * int(np.ceil(SECTION_MM / filling.cavity.grid.cell_mm)) + 1
    last = maximum_filter(np.nan_to_num(feeding.stops_s, nan=0.0), size)
    with np.errstate(invalid="ignore"):
        return np.where(filling.cavity.part, filling.time_s / last, np.nan)


def wall_stops_s(wall_mm, melt, mould):
    """When a flat wall in a mould stops to flow, full at the pouring temperature at time 0 [s].

    wall_mm: its thickness [mm]. melt, mould: as of `freezing.solidification`; sand or shell. Heat flow on one row of
    cells, checked against the exact solution of two media. Raises: InputError.
    """
    check_numbers(arrays=False, wall_mm=wall_mm)
    cell = wall_mm / CELLS
    thick = mould.thickness_mm if np.isfinite(mould.thickness_mm) else RIM_MM
    row = np.pad(np.ones(CELLS), int(np.ceil(thick / cell)) + 1)[:, None, None]
    if not np.isfinite(mould.thickness_mm):  # a row lets nothing through its sides, thick sand all round would
        mould = replace(mould, thickness_mm=10 * RIM_MM, air_c=mould.start_c)
    times, _ = freezing_times(row, cell, melt, mould, ledger.freezing()["feeding.stops"].value)
    return float(np.nanmax(times))


def fluidity_mm(wall_mm, speed_m_s, melt, mould):
    """(least, middle, most) length that a strip of a wall runs before its tip stops [mm]; wall [mm], speed [m/s].

    L = ρ·a·v·(k·H + c·ΔT)/(2h·(T − T_0)), a the wall, H latent heat, ΔT superheat, k the share of solid that stops the
    tip, h the heat transfer to the mould (Flemings, Solidification Processing, from memory). k and h are known
    within a factor of six together, hence three lengths. Valid for long even strips; nodes are no strips.

    >>> from pourprint.process.freezing.solidification import Melt, Mould
    >>> a356 = Melt(2680, 963, 389e3, 167, 557, 613, 713)
    >>> [round(float(mm)) for mm in fluidity_mm(4, 0.5, a356, Mould(0.6, 1400, 1100, 20))]
    [525, 1203, 3286]
    """
    f, lengths = ledger.freezing(), []
    solid, transfer = f["strip.solid"], f["strip.transfer"]
    for k, h in ((solid.low, transfer.high), (solid.value, transfer.value), (solid.high, transfer.low)):
        heat = k * melt.latent_j_kg + melt.heat_j_kgk * (melt.pour_c - melt.liquidus_c)
        drop = melt.liquidus_c - mould.start_c
        lengths.append(melt.density_kg_m3 * np.asarray(wall_mm) * speed_m_s * heat / (2 * h * drop))
    return tuple(lengths)
