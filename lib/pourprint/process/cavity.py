"""The room that metal fills in a mould: part, feeders, gate, with vents and chills, on one grid that stands upright.

Sprue and runner are not in it: they are the head and the flow at the gate. Feeders are cylinders with a neck that
comes down to whatever metal of the part stands under it. A hollow that is open above, such as an upright socket, is
cast solid where the neck stands over it, to be bored out; a hollow under metal stays a core.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.enthalpy import filled
from pourprint.process.freezing.hot_spots import ALIKE
from pourprint.process.freezing.voxels import Grid, voxels
from pourprint.process.geometry import nearest_to

MOST_CELLS = 3_000_000  # four times what the fine pour of a demo node takes
LEAST_CELLS = 27  # of a pocket: less is noise of the grid
FINE = 3  # points along each side of a cell that say how much of it a feeder or gate fills


@dataclass(frozen=True)
class Stand:
    """A feeder in the mould: a cylinder whose axis stands at `at_mm` (u, v) with its foot at height `foot_mm`, and a
    neck under it as wide as `neck` times the feeder, down to metal that lies at `down_mm` or above [mm]; 0 for a runner
    beside the part."""

    at_mm: tuple[float, float]
    foot_mm: float
    diameter_mm: float
    height_mm: float
    neck: float
    down_mm: float

    @property
    def top_mm(self):
        return self.foot_mm + self.height_mm

    @property
    def room_mm(self):
        """Lowest and highest corner of the cylinder, two (..., 3) [mm]; its numbers may be arrays."""
        (u, v), r = self.at_mm, self.diameter_mm / 2
        corners = (u - r, v - r, self.foot_mm), (u + r, v + r, self.top_mm)
        return tuple(np.stack(np.broadcast_arrays(*corner), axis=-1) for corner in corners)


@dataclass(frozen=True)
class Rigging:
    """What is put to a part to pour it, in the mould's frame (u, v across, w up) [mm].

    feeders: tuple of Stand. gates: directions across in which an ingate meets the part's outermost metal [rad], all at
    height `gate_mm`, together of `ingate_mm2`, each `gate_length_mm` long. vents: (u, v) where the highest metal is led
    to the air, besides every feeder's top. chills: (u, v, w) of blocks of iron `chill_mm` wide that touch the part.
    """

    feeders: tuple[Stand, ...]
    gates: tuple[float, ...]
    gate_mm: float
    ingate_mm2: float
    gate_length_mm: float
    vents: tuple[tuple[float, float], ...] = ()
    chills: tuple[tuple[float, float, float], ...] = ()
    chill_mm: float = 0.0

    def __post_init__(self):
        check_numbers(ingate_mm2=self.ingate_mm2, gate_length_mm=self.gate_length_mm)
        check_numbers(True, chill_mm=self.chill_mm)
        if not self.gates:
            raise InputError("gates=() must name at least one direction in which metal comes in.")

    @property
    def gate_width_mm(self):
        """Edge of one ingate, which is square [mm]."""
        return float(np.sqrt(self.ingate_mm2 / len(self.gates)))

    def with_(self, **changes):
        """The same rigging with some fields changed."""
        return replace(self, **changes)


@dataclass(frozen=True, eq=False)
class Cavity:
    """A part with its rigging on cells (nx, ny, nz): `grid` all metal, its height along z; bool of full cells: `part`,
    `feeder` (necks too), `source` where metal comes in, `vent` where air leaves; `chill` cells outside the metal;
    `gate_mm` the height of the gate's foot [mm]."""

    grid: Grid
    part: np.ndarray
    feeder: np.ndarray
    source: np.ndarray
    vent: np.ndarray
    chill: np.ndarray
    gate_mm: float

    @cached_property
    def held(self):
        """(what each cell holds over its volume [-], which cells are full, bool), as the freezing model counts them."""
        return filled(self.grid.fraction)

    @property
    def metal(self):
        """Cells that are full of metal, bool."""
        return self.held[1]

    @property
    def part_cm3(self):
        return self.cm3(self.part)

    @property
    def feeder_cm3(self):
        return self.cm3(self.feeder)

    def cm3(self, cells):
        """Metal in some cells (nx, ny, nz), bool [cm3]."""
        return float(self.held[0][cells].sum() * self.grid.cell_mm**3 / 1000)

    def necks_cm3(self, foot_mm):
        """(all metal of feeders below their feet [cm3], what of it fills hollows of the part that are open above)."""
        from scipy.ndimage import binary_fill_holes

        level = self.grid.origin_mm[2] + (np.arange(self.part.shape[2]) + 0.5) * self.grid.cell_mm
        neck = self.feeder & (level < foot_mm)
        round_it = [binary_fill_holes(self.part[..., k]) for k in range(len(level))]
        return self.cm3(neck), self.cm3(neck & np.stack(round_it, axis=-1))

    def pockets(self, key, source, least_cm3, prominence):
        """What of the part is cut off from `source` cells as cells vanish, those of small `key` first; largest first.

        key (nx, ny, nz): nan outside. least_cm3, prominence: as of `freezing.floods.pockets`, which finds them.
        Returns: list of (last cell in the flat grid, (x, y, z) of the middle of what is last alike [mm], how far that
        reaches from there [mm], key at the cutting off or −inf, [cm3]).
        """
        from scipy.ndimage import label

        from pourprint.process.freezing.floods import pockets  # loads numba

        flat, cell_cm3 = key.ravel(), self.grid.cell_mm**3 / 1000
        cells = np.flatnonzero(~np.isnan(flat))
        order = cells[np.argsort(-flat[cells], kind="stable")]
        amount = np.where(self.part, self.held[0], 0.0).ravel() * cell_cm3
        lasts, least = np.where(amount > 0, flat, -np.inf), max(float(least_cm3), LEAST_CELLS * cell_cm3)
        known, steps, rows = np.where(self.part, key, np.nan), steps_of(key.shape), []
        for cell, cut, cm3 in pockets(order, flat, lasts, amount, source.ravel(), steps, least, prominence):
            pools, _ = label(known > cut)
            late = (pools == pools.reshape(-1)[cell]) & (known >= (1 - ALIKE) * flat[cell])
            late_mm = self.grid.centres_mm(np.argwhere(late))
            place = nearest_to(late_mm.mean(0), late_mm, self.grid.cell_mm / 2)
            within = np.sqrt(((late_mm - place) ** 2).sum(1).max())
            rows.append((cell, tuple(place.round(2).tolist()), float(within.round(1)), cut, cm3))
        return sorted(rows, key=lambda row: -row[-1])


def steps_of(shape):
    """From a cell of a flat grid to its six neighbours (6,)."""
    return np.array([sign * step for step in (shape[1] * shape[2], shape[2], 1) for sign in (-1, 1)])


def cavity(vertices, faces, rigging, cell_mm, pad_mm):
    """The Cavity of a part that stands as it is poured.

    vertices (n, 3) [mm], faces: in the mould's frame. cell_mm [mm]; pad_mm: width of mould to put around [mm].
    Raises: InputError for a feeder or gate that meets no metal, and for more than `MOST_CELLS` cells.
    """
    # An ingate may be thicker than the part: what stands out beside it has place in the rim.
    room, pad_mm = _room(vertices, rigging, cell_mm), max(pad_mm, rigging.gate_width_mm / 2) + 2 * cell_mm
    many = float(np.prod((room[1] - room[0] + 2 * pad_mm) / cell_mm))
    if many > MOST_CELLS:
        raise InputError(f"cell_mm={cell_mm:.3g} gives {many:.2g} cells; at most {MOST_CELLS:.0e}: take wider cells.")
    grid = voxels(vertices, faces, cell_mm, pad_mm, room)
    own = grid.fraction
    heads, stubs, sources = np.zeros(own.shape), np.zeros(own.shape), np.zeros(own.shape, dtype=bool)
    for one in rigging.feeders:
        heads = np.maximum(heads, _feeder(grid, own, one))
    for angle in rigging.gates:
        stub, end = _stub(grid, own, rigging, angle)
        stubs, sources = np.maximum(stubs, stub), sources | end
    added = np.minimum(np.maximum(heads, stubs), 1 - own)
    whole = Grid(own + added, grid.cell_mm, grid.origin_mm)
    metal = filled(whole.fraction)[1]
    part = metal & (own >= added) & (own > 0)
    feeder = metal & ~part & (heads > stubs)
    vent, chill = _vents(grid, metal, feeder, rigging), np.zeros(own.shape, dtype=bool)
    for place in rigging.chills:
        chill |= _chill(grid, metal, place, rigging.chill_mm)
    return Cavity(whole, part, feeder, sources & metal, vent, chill, rigging.gate_mm)


def _room(vertices, rigging, cell_mm):
    """Lowest and highest corner [mm] of what part, feeders and gates take up."""
    low, high = vertices.min(0), vertices.max(0)
    ends = [low, high]
    ends += [corner for one in rigging.feeders for corner in one.room_mm]
    for angle in rigging.gates:
        way = np.array([np.cos(angle), np.sin(angle)])
        ends.append((*(np.where(way > 0, high[:2], low[:2]) + rigging.gate_length_mm * way), rigging.gate_mm))
    return np.min(ends, axis=0) - cell_mm, np.max(ends, axis=0) + cell_mm


def _vents(grid, metal, feeder, rigging):
    """Cells where air leaves: the tops of feeders, and the highest metal under each vent."""
    vent, k = np.zeros_like(metal), np.arange(metal.shape[2])
    for one in rigging.feeders:
        vent |= feeder & (np.abs(grid.origin_mm[2] + (k + 1) * grid.cell_mm - one.top_mm) <= 1.5 * grid.cell_mm)
    for place in rigging.vents:
        at = (np.asarray(place) - grid.origin_mm[:2]) // grid.cell_mm
        i, j = np.clip(at, 0, np.array(metal.shape[:2]) - 1).astype(int)
        if not metal[i, j].any():
            raise InputError(f"vents: no metal stands under {place} mm; put the vent over the part.")
        vent[i, j, np.flatnonzero(metal[i, j]).max()] = True
    return vent


def _sampled(grid, low, high, inside):
    """Share of each cell between two corners (3,) [mm] for which inside(u, v, w) of points is true: (slices, share)."""
    cell = grid.cell_mm
    first = np.maximum(np.floor((np.asarray(low) - grid.origin_mm) / cell), 0).astype(int)
    past = np.minimum(np.ceil((np.asarray(high) - grid.origin_mm) / cell), grid.fraction.shape).astype(int)
    points = [
        grid.origin_mm[axis] + cell * (np.arange(FINE * first[axis], FINE * past[axis]) + 0.5) / FINE
        for axis in range(3)
    ]
    found = inside(points[0][:, None, None], points[1][None, :, None], points[2][None, None, :])
    size = past - first
    found = found.reshape(size[0], FINE, size[1], FINE, size[2], FINE).mean((1, 3, 5))
    return tuple(slice(a, b) for a, b in zip(first, past, strict=True)), found


def _feeder(grid, own, one):
    """Share of each cell that a feeder and its neck fill."""
    (u0, v0), r, share = one.at_mm, one.diameter_mm / 2, np.zeros(own.shape)
    low, high = (u0 - r, v0 - r, one.foot_mm), (u0 + r, v0 + r, one.top_mm)

    def barrel(u, v, w):
        return ((u - u0) ** 2 + (v - v0) ** 2 <= r**2) & (w >= one.foot_mm) & (w <= one.top_mm)

    at, found = _sampled(grid, low, high, barrel)
    share[at] = found
    if not one.neck:  # a runner, which only its gate joins to the part
        return share
    n = one.neck * r

    def neck(u, v, w):
        return ((u - u0) ** 2 + (v - v0) ** 2 <= n**2) & (w >= one.down_mm) & (w <= one.foot_mm)

    at, found = _sampled(grid, (u0 - n, v0 - n, one.down_mm), (u0 + n, v0 + n, one.foot_mm), neck)
    # Of each column only what is above its highest metal, where there is some.
    k = np.arange(own.shape[2])
    highest = np.where(own[at] > 0.5, k[at[2]], -1).max(2, keepdims=True)
    stands = (highest >= 0) & (k[at[2]] >= highest)
    if not (highest >= 0).any():
        raise InputError(f"a feeder at ({u0:.0f}, {v0:.0f}) mm stands over no metal: move it over the part.")
    share[at] = np.maximum(share[at], found * stands)
    return share


def _outermost(points, height, angle, within, cell_mm):
    """Of points (n, 3) within reach of a height, the farthest in a direction across; of a flat side its middle."""
    near = np.abs(points[:, 2] - height)
    level = points[near <= max(within, near.min() + 1e-9)]
    far = level[:, :2] @ np.array([np.cos(angle), np.sin(angle)])
    side = level[far >= far.max() - cell_mm / 2]
    return nearest_to(side.mean(0), side, cell_mm / 2)


def _stub(grid, own, rigging, angle):
    """Share of each cell that one ingate fills, and the cells of its outer end."""
    width = rigging.gate_width_mm
    centres, middle = grid.centres_mm(np.argwhere(own >= 0.5)), rigging.gate_mm + width / 2
    start = _outermost(centres, middle, angle, max(width / 2, grid.cell_mm), grid.cell_mm)
    way, side = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    length, back = rigging.gate_length_mm, 2 * grid.cell_mm
    ends = [start[:2] + s * way + t * side for s in (-back, length) for t in (-width / 2, width / 2)]
    low, high = (np.array([*f(ends, axis=0), start[2] + h]) for f, h in ((np.min, -width / 2), (np.max, width / 2)))

    def along(u, v):
        return (u - start[0]) * way[0] + (v - start[1]) * way[1]

    def bar(u, v, w):
        across = (u - start[0]) * side[0] + (v - start[1]) * side[1]
        s = along(u, v)
        return (s >= -back) & (s <= length) & (np.abs(across) <= width / 2) & (np.abs(w - start[2]) <= width / 2)

    at, found = _sampled(grid, low, high, bar)
    share, end = np.zeros(own.shape), np.zeros(own.shape, dtype=bool)
    share[at] = found
    u, v = (grid.origin_mm[axis] + (np.arange(own.shape[axis]) + 0.5) * grid.cell_mm for axis in (0, 1))
    end[:] = (along(u[:, None], v[None, :]) >= length - 2 * grid.cell_mm)[..., None] & (share > 0)
    return share, end


def _chill(grid, metal, place, size):
    """Cells of a block of iron that touches the metal nearest to a place (3,) [mm], on the side that looks at it."""
    cells = grid.centres_mm(np.argwhere(metal))
    touch = cells[np.argmin(((cells - place) ** 2).sum(1))]
    away = np.asarray(place) - touch
    axis = int(np.argmax(np.abs(away)))
    middle = touch + np.where(np.arange(3) == axis, np.sign(away[axis] or -1.0) * (size + grid.cell_mm) / 2, 0)
    centres = [grid.origin_mm[k] + (np.arange(metal.shape[k]) + 0.5) * grid.cell_mm for k in range(3)]
    near = [np.abs(line - middle[k]) <= size / 2 for k, line in enumerate(centres)]
    return near[0][:, None, None] & near[1][None, :, None] & near[2][None, None, :] & ~metal
