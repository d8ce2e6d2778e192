"""Laying pieces out on plates: their shadows on a raster, turned and placed by first fit.

A raster covers a little more than the shadow, so pieces never come nearer to each other than the gap.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import NamedTuple

import numpy as np

from pourprint.parts.kept import made_once
from pourprint.process.geometry import turned
from pourprint.process.packing import plate_share

RASTER_MM = 2.5
TURNS = 12  # ways round about the vertical
LEARNT_PLATES = 4  # laid out to learn how densely a kit fills its plates
MOST_PIECES = 90  # nested for that


@dataclass(frozen=True)
class Place:
    """Where one piece lies: which of the shadows, which plate, turned by `angle` [rad], then moved by x, y [mm]."""

    piece: int
    plate: int
    angle: float
    x_mm: float
    y_mm: float

    def put(self, points_mm):
        """Points (n, 2) of the shadow as they lie on the plate, whose corner is the origin [mm]."""
        return points_mm @ turned(self.angle) + (self.x_mm, self.y_mm)


def nest(shadows: Sequence, pieces, plate_mm, gap_mm):
    """Lay pieces out on as few plates as first fit finds, the largest first, each where the used corner grows least.

    Parameters: `shadows` Shadow of each kind of piece; `pieces` kind of every piece (n,); `plate_mm` (x, y); `gap_mm`
    between pieces [mm]. Returns: tuple of Place, largest first; kinds that do not fit an empty plate are left out. Not
    an optimum: the area bound and `packing.shelves` say how far off it is.
    """
    size = tuple(int(side / RASTER_MM + 1e-9) for side in plate_mm)
    kinds = [_ways(shadow, size) for shadow in shadows]
    order = sorted(Counter(pieces).items(), key=lambda item: (-kinds[item[0]].masks[:1].sum(), item[0]))
    taken, used, places = [], [], []
    for kind, left in order:
        ways, plate = kinds[kind], 0
        while left and len(ways.angles):
            if plate == len(taken):
                taken.append(np.zeros(size, dtype=bool))
                used.append(np.zeros(2))
            best = _snuggest(ways, taken[plate], used[plate])
            if best is None:  # nor will there be room for another piece of this kind
                plate += 1
                continue
            turn, x, y = best
            _stamp(taken[plate], *_grown(ways, turn, gap_mm / RASTER_MM), (x, y))
            used[plate] = np.maximum(used[plate], ways.sides[turn] + (x, y))
            x_mm, y_mm = np.multiply((x, y), RASTER_MM) - ways.corners_mm[turn]
            places.append(Place(kind, plate, float(ways.angles[turn]), float(x_mm), float(y_mm)))
            left -= 1
    return tuple(places)


@dataclass(frozen=True, eq=False)
class _Ways:
    """The different ways round of a shadow that fit a plate, (t,): their angles [rad] and lowest corners (t, 2) [mm].

    masks (t, m, n): their rasters from that corner, of which they fill sides (t, 2) [cells]; seen: those of an empty
    plate's size as waves. beyond: is some of it off the plate, for the lowest corner on each of its cells (t, x, y)?
    """

    angles: np.ndarray
    corners_mm: np.ndarray
    masks: np.ndarray
    seen: np.ndarray
    sides: np.ndarray
    beyond: np.ndarray


@lru_cache(maxsize=16)
def _ways(shadow, size):
    """The _Ways of a shadow on a plate of that size [cells]."""
    from scipy.fft import rfft2

    half = shadow.spacing_mm * 0.7072  # half the diagonal of a point's square, whichever way it is turned
    near = np.array([[a, b] for a in (-half, 0, half) for b in (-half, 0, half)])
    found = []
    for angle in np.arange(TURNS) * 2 * np.pi / TURNS:
        points = shadow.points_mm @ turned(angle)
        corner = points.min(axis=0) - half
        cells = np.floor((points[:, None] + near - corner) / RASTER_MM).astype(int).reshape(-1, 2)
        sides = cells.max(axis=0) + 1
        if all(sides <= size):
            found.append((angle, corner, sides, cells))
    sides = np.array([sides for _, _, sides, _ in found], dtype=int).reshape(-1, 2)
    masks = np.zeros((len(found), *sides.max(axis=0, initial=0)), dtype=bool)
    for mask, (*_, cells) in zip(masks, found, strict=True):
        mask[tuple(cells.T)] = True
    x, y = (np.arange(n) + side[:, None] for n, side in zip(size, sides.T, strict=True))
    beyond = (x > size[0])[:, :, None] | (y > size[1])[:, None]
    angles, corners = np.array([a for a, *_ in found]), np.array([c for _, c, *_ in found])
    seen = np.conj(rfft2(masks.astype(np.float32), size))
    return _Ways(angles, corners, masks, seen, sides, beyond)


@lru_cache(maxsize=200)
def _grown(ways, turn, radius):
    """What one way round takes with a gap of `radius` cells around it, and how far its corner lies before the piece.

    A point anywhere in a cell is nearer than that to all points of the cells that it takes.
    """
    from scipy.ndimage import binary_dilation

    reach = int(np.ceil(radius))
    away = np.maximum(np.abs(np.arange(-reach, reach + 1)) - 1, 0)
    near = np.hypot(away[:, None], away) < radius + 1e-9
    return binary_dilation(np.pad(ways.masks[turn], reach), near), reach


def _snuggest(ways, taken, used):
    """(turn, x, y) [cells] of the free place that lets the used corner of a plate grow least, or None.

    The nearer to the plate's corner, the better, where the used one need not grow.

    Parameters: `taken` (x, y) cells of the plate; `used` (2,) sides of the corner that earlier pieces take up.
    """
    from scipy.fft import irfft2, rfft2

    # How many taken cells each would cover, for all places at once; single precision tells 0 from 1.
    covered = irfft2(rfft2(taken.astype(np.float32)) * ways.seen, taken.shape) > 0.5
    x, y = (np.arange(n) + side[:, None] for n, side in zip(taken.shape, ways.sides.T, strict=True))
    growth = 1000 * np.maximum(used[0], x)[:, :, None] * np.maximum(used[1], y)[:, None] + (x[:, :, None] + y[:, None])
    growth[ways.beyond | covered] = np.inf
    best = np.unravel_index(np.argmin(growth), growth.shape)
    return tuple(map(int, best)) if np.isfinite(growth[best]) else None


def _stamp(raster, shape, before, at):
    """Mark the cells of a shape (…, m, n) that begins `before` cells before `at`; what is off the raster is lost."""
    low = np.subtract(at, before)
    first, last = np.maximum(low, 0), np.minimum(low + shape.shape[-2:], raster.shape[-2:])
    there = tuple(map(slice, first, last))
    raster[..., *there] |= shape[..., *map(slice, first - low, last - low)]


class Load(NamedTuple):
    """A kit to nest: tuples of Shadow, count a kit and (length, width) [mm] of each kind; plate (x, y) and gap [mm]."""

    shadows: tuple
    counts: tuple
    boxes_mm: tuple
    plate_mm: tuple
    gap_mm: float

    @property
    def key(self):
        """(content, kind) by which `kept` knows what was learnt of it."""
        kind = "room taken", self.counts, self.boxes_mm, self.plate_mm, self.gap_mm
        return b"".join(shadow.points_mm.tobytes() for shadow in self.shadows), kind


@lru_cache(maxsize=128)
def room_taken(load):
    """Room that the nested pieces of a Load take of a plate, over that of their boxes with half a gap all round [-].

    Enough kits for LEARNT_PLATES are nested, at most MOST_PIECES pieces, and plates counted in fractions: a real batch
    may differ by a plate. It is nan where a piece fits no plate, or where they are too few to fill one. What was learnt
    once is kept.
    """
    return made_once(*load.key, partial(learnt, load))


def learnt(load):
    """What `room_taken` says of a Load, nested anew."""
    shadows, counts, boxes_mm, plate_mm, gap_mm = load
    each = [float(plate_share(*box, plate_mm, gap_mm)) for box in boxes_mm]
    by_boxes = sum(count * share for count, share in zip(counts, each, strict=True))
    kits = max(1, min(int(np.ceil(LEARNT_PLATES / by_boxes)), MOST_PIECES // sum(counts)))
    pieces = [kind for kind, count in enumerate(counts) for _ in range(kits * count)]
    places = nest(shadows, pieces, plate_mm, gap_mm)
    last = max((place.plate for place in places), default=0)
    if len(places) < len(pieces) or last == 0:
        return np.nan
    size = [len(shadow.points_mm) * shadow.spacing_mm**2 for shadow in shadows]
    area = np.bincount([place.plate for place in places], [size[place.piece] for place in places])
    return (last + min(1.0, area[-1] / area[:-1].mean())) / kits / by_boxes
