"""The room that metal fills in a mould: part, feeders, gate, with vents and chills, on one grid that stands upright.

Sprue and runner are not in it: they are the head and the flow at the gate. Feeders are cylinders with a neck that
comes down to whatever metal of the part stands under it. A hollow that is open above, such as an upright socket, is
cast solid where the neck stands over it, to be bored out; a hollow under metal stays a core.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.enthalpy import filled, steps_of
from pourprint.process.freezing.voxels import ALIKE, Grid, columns, voxels
from pourprint.process.geometry import nearest_to

MOST_CELLS = 3_000_000  # four times what the fine pour of a demo node takes
LEAST_CELLS = 27  # of a pocket: less is noise of the grid
RAYS_MM, FLAT_MM = 1.0, 1.0  # between rays that look for a gate's place; what is as far out within this is alike


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


def cavity(vertices, faces, rigging, cell_mm, pad_mm):
    """The Cavity of a part that stands as it is poured.

    vertices (n, 3) [mm], faces: in the mould's frame. cell_mm [mm]; pad_mm: width of mould to put around [mm].
    Raises: InputError for a feeder that stands over no metal, and for more than `MOST_CELLS` cells.
    """
    stubs = [Stub.of(vertices, faces, rigging, angle) for angle in rigging.gates]
    ends = [vertices.min(0), vertices.max(0), *(stub.end_mm for stub in stubs)]
    ends += [corner for one in rigging.feeders for corner in one.room_mm]
    box = np.min(ends, axis=0) - cell_mm, np.max(ends, axis=0) + cell_mm
    # An ingate may be thicker than the part: what stands out beside it has place in the rim.
    pad_mm = max(pad_mm, rigging.gate_width_mm / 2) + 2 * cell_mm
    many = float(np.prod((box[1] - box[0] + 2 * pad_mm) / cell_mm))
    if many > MOST_CELLS:
        raise InputError(f"cell_mm={cell_mm:.3g} gives {many:.2g} cells; at most {MOST_CELLS:.0e}: take wider cells.")
    grid = voxels(vertices, faces, cell_mm, pad_mm, box)
    own = grid.fraction
    heads, gates, source, chill = (np.zeros(own.shape, dtype=kind) for kind in (float, float, bool, bool))
    for one in rigging.feeders:
        heads = np.maximum(heads, _feeder(grid, one))
    for stub in stubs:
        share, end = stub.on(grid)
        gates, source = np.maximum(gates, share), source | end
    added = np.minimum(np.maximum(heads, gates), 1 - own)
    whole = Grid(own + added, grid.cell_mm, grid.origin_mm)
    metal = filled(whole.fraction)[1]
    part = metal & (own >= added) & (own > 0)
    feeder = metal & ~part & (heads > gates)
    for place in rigging.chills:
        chill |= _chill(grid, metal, place, rigging.chill_mm)
    return Cavity(whole, part, feeder, source & metal, _vents(grid, metal, feeder, rigging), chill, rigging.gate_mm)


@dataclass(frozen=True, eq=False)
class Stub:
    """One ingate: a square bar `width_mm` wide from the place (3,) where it meets the part, in the direction `way` (2,)
    across, `length_mm` long [mm]."""

    place_mm: np.ndarray
    way: np.ndarray
    width_mm: float
    length_mm: float

    @classmethod
    def of(cls, vertices, faces, rigging, angle):
        """Where a Rigging's gate at an angle [rad] meets the outermost metal of a mesh at its height: the middle of
        what is as far out within `FLAT_MM`. It is found on the mesh, so that no grid has a say in it."""
        way, width = np.array([np.cos(angle), np.sin(angle)]), rigging.gate_width_mm
        seen = columns(vertices, faces, RAYS_MM, (*way, 0.0))  # in their frame: across, up, outward
        rays = seen.origin_mm + (np.stack(np.divmod(seen.column, seen.shape[1]), axis=1) + 0.5) * seen.spacing_mm
        off = np.abs(rays[:, 1] - rigging.gate_mm - width / 2)
        level = np.column_stack([rays, seen.exit_mm])[off <= max(width / 2, off.min())]
        side = level[level[:, 2] >= level[:, 2].max() - FLAT_MM]
        return cls(nearest_to(side.mean(0), side, FLAT_MM) @ seen.frame, way, width, rigging.gate_length_mm)

    @property
    def end_mm(self):
        """The middle of its outer end (3,) [mm]."""
        return self.place_mm + self.length_mm * np.append(self.way, 0.0)

    def on(self, grid):
        """(Share of each cell of a Grid that it fills, its cells at the outer end, bool); it begins within the part."""
        u, v, _ = (line - at for line, at in zip(_middles(grid), self.place_mm, strict=True))
        along, across = (u[:, None] * x + v * y for x, y in (self.way, (-self.way[1], self.way[0])))
        half, back = self.width_mm / 2, 2 * grid.cell_mm
        share = _within(grid, np.minimum(along + back, self.length_mm - along)) * _within(grid, half - np.abs(across))
        share = share[..., None] * _layers(grid, self.place_mm[2] - half, self.place_mm[2] + half)
        return share, (along >= self.length_mm - back)[..., None] & (share > 0)


def _middles(grid):
    """The middles of a Grid's cells along u, v and w, three (n,) [mm]."""
    return [a + (np.arange(n) + 0.5) * grid.cell_mm for a, n in zip(grid.origin_mm, grid.fraction.shape, strict=True)]


def _within(grid, inside_mm):
    """Share of a cell that an upright edge leaves, from how far inside it the cell's middle is [mm]."""
    return np.clip(inside_mm / grid.cell_mm + 0.5, 0, 1)


def _layers(grid, low_mm, high_mm):
    """Share of each layer of cells between two heights (nz,), exactly."""
    foot_mm = _middles(grid)[2] - grid.cell_mm / 2
    return np.clip(np.minimum(foot_mm + grid.cell_mm, high_mm) - np.maximum(foot_mm, low_mm), 0, None) / grid.cell_mm


def _feeder(grid, one):
    """Share of each cell that a Stand and its neck fill."""
    u, v, _ = _middles(grid)
    off_mm = np.hypot(u[:, None] - one.at_mm[0], v - one.at_mm[1])[..., None]
    head = _within(grid, one.diameter_mm / 2 - off_mm) * _layers(grid, one.foot_mm, one.top_mm)
    if not one.neck:  # a runner, which only its gate joins to the part
        return head
    # Of each column of the neck only what is above its highest metal, where there is some.
    neck = _within(grid, one.neck * one.diameter_mm / 2 - off_mm) * _layers(grid, one.down_mm, one.foot_mm)
    k = np.arange(neck.shape[2])
    highest = np.where((grid.fraction > 0.5) & (neck > 0), k, -1).max(2, keepdims=True)
    if not (highest >= 0).any():
        place = "({:.0f}, {:.0f})".format(*one.at_mm)
        raise InputError(f"a feeder at {place} mm stands over no metal: move it over the part.")
    return np.maximum(head, neck * ((highest >= 0) & (k >= highest)))


def _vents(grid, metal, feeder, rigging):
    """Cells where air leaves: the tops of feeders, and the highest metal under each vent."""
    vent, top_mm = np.zeros_like(metal), _middles(grid)[2] + grid.cell_mm / 2
    for one in rigging.feeders:
        vent |= feeder & (np.abs(top_mm - one.top_mm) <= 1.5 * grid.cell_mm)
    for place in rigging.vents:
        i, j = (int(np.abs(line - at).argmin()) for line, at in zip(_middles(grid), place, strict=False))
        if not metal[i, j].any():
            raise InputError(f"vents: no metal stands under {place} mm; put the vent over the part.")
        vent[i, j, np.flatnonzero(metal[i, j]).max()] = True
    return vent


def _chill(grid, metal, place, size):
    """Cells of a block of iron that touches the metal nearest to a place (3,) [mm], on the side that looks at it."""
    cells = grid.centres_mm(np.argwhere(metal))
    touch = cells[np.argmin(((cells - place) ** 2).sum(1))]
    away = np.asarray(place) - touch
    axis = int(np.argmax(np.abs(away)))
    middle = touch + np.where(np.arange(3) == axis, np.sign(away[axis] or -1.0) * (size + grid.cell_mm) / 2, 0)
    near = [np.abs(line - at) <= size / 2 for line, at in zip(_middles(grid), middle, strict=True)]
    return near[0][:, None, None] & near[1][:, None] & near[2] & ~metal
