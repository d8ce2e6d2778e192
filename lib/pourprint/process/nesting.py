"""Laying pieces out on plates: their shadows on a raster, turned and placed by first fit; and shelves of boxes.

A raster covers a little more than the shadow, so pieces never come nearer to each other than the gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pourprint.process.geometry import turned

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


def nest(shadows: Sequence, pieces, plate_mm, gap_mm, raster_mm=RASTER_MM, turns=TURNS):
    """Lay pieces out on as few plates as first fit finds, the largest first, each where the used corner grows least.

    Parameters: `shadows` Shadow of each kind of piece; `pieces` kind of every piece (n,); `plate_mm` (x, y); `gap_mm`
    between pieces [mm]; `raster_mm` [mm]; `turns` ways round [-]. Returns: tuple of Place, largest first; kinds that
    do not fit an empty plate are left out. Not an optimum: the area bound and `shelves` say how far off it may be.
    """
    from scipy.fft import irfft2, rfft2

    size = tuple(int(side / raster_mm + 1e-9) for side in plate_mm)
    kinds = [_ways(shadow, raster_mm, turns, size) for shadow in shadows]
    # How many taken cells a mask would cover, for all places at once. Nothing wraps round where it lies on the plate.
    seen = {
        kind: np.stack([np.conj(rfft2(mask, size)) for _, _, mask in ways]) for kind, ways in enumerate(kinds) if ways
    }
    grow = _disc(gap_mm / raster_mm)
    taken, used, places, hopeless = [], [], [], set()
    order = sorted((k for k in pieces if k in seen), key=lambda k: (-kinds[k][0][2].sum(), k))
    for kind in order:
        for plate in range(len(taken) + 1):
            if (plate, kind) in hopeless:
                continue
            if plate == len(taken):
                taken.append(np.zeros(size))
                used.append(np.zeros(2))
            overlap = irfft2(rfft2(taken[plate]) * seen[kind], size)
            best = _snuggest(overlap, kinds[kind], used[plate])
            if best is None:
                hopeless.add((plate, kind))
                continue
            turn, x, y = best
            angle, corner, mask = kinds[kind][turn]
            _stamp(taken[plate], mask, (x, y), grow)
            used[plate] = np.maximum(used[plate], np.add(mask.shape, (x, y)))
            places.append(Place(kind, plate, angle, float(x * raster_mm - corner[0]), float(y * raster_mm - corner[1])))
            break
    return tuple(places)


def _snuggest(overlap, ways, used):
    """(turn, x, y) [cells] of the free place that lets the used corner of the plate grow least, or None.

    Parameters: `overlap` (turns, x, y) taken cells that each place would cover; `ways` as from `_ways`; `used` (2,)
    sides of the corner that earlier pieces take up.
    """
    best, least = None, np.inf
    for turn, (_, _, mask) in enumerate(ways):
        x, y = (np.arange(n - m + 1) for n, m in zip(overlap.shape[1:], mask.shape, strict=True))
        sides = [np.maximum(u, at + m) for u, at, m in zip(used, (x, y), mask.shape, strict=True)]
        # The nearer to the corner, the better, where the corner need not grow.
        growth = np.multiply.outer(*sides) + 1e-3 * np.add.outer(x + mask.shape[0], y + mask.shape[1])
        growth[overlap[turn, : len(x), : len(y)] > 0.5] = np.inf
        place = np.unravel_index(np.argmin(growth), growth.shape)
        if growth[place] < least:
            best, least = (turn, *map(int, place)), growth[place]
    return best


def _ways(shadow, raster, turns, size):
    """The different ways round of a shadow that fit the plate: (angle [rad], lowest corner [mm], raster mask)."""
    half = shadow.spacing_mm * 0.7072  # half the diagonal of a point's square, whichever way it is turned
    near = np.array([[a, b] for a in (-half, 0, half) for b in (-half, 0, half)])
    ways = []
    for angle in np.arange(turns) * 2 * np.pi / turns:
        points = shadow.points_mm @ turned(angle)
        corner = points.min(axis=0) - half
        cells = np.floor((points[:, None] + near - corner) / raster).astype(int).reshape(-1, 2)
        mask = np.zeros(cells.max(axis=0) + 1)
        mask[cells[:, 0], cells[:, 1]] = 1
        if all(np.less_equal(mask.shape, size)):
            ways.append((angle, corner, mask))
    return ways


def _disc(radius):
    """Offsets (k, 2) of all cells that a point anywhere in a cell can be nearer than `radius` cells to."""
    reach = int(np.ceil(radius))
    offsets = np.argwhere(np.ones((2 * reach + 1, 2 * reach + 1))) - reach
    return offsets[np.hypot(*np.maximum(np.abs(offsets) - 1, 0).T) < radius + 1e-9]


def _stamp(taken, mask, at, grow):
    """Mark the cells of a mask at a corner as taken, with the gap around them."""
    cells = (np.argwhere(mask)[:, None] + np.asarray(at) + grow).reshape(-1, 2)
    inside = ((cells >= 0) & (cells < taken.shape)).all(axis=1)
    taken[tuple(cells[inside].T)] = 1


def shelves(sizes_mm, plate_mm, gap_mm):
    """How many plates boxes need when laid on shelves, deepest first, each on the first shelf with room [-].

    Parameters: `sizes_mm` (n, 2) boxes; they lie with their longer side along x where it fits. A simple bound from
    above for `nest`. Boxes that fit no plate are left out.
    """
    long, short = np.sort(np.asarray(sizes_mm, dtype=float), axis=1).T[::-1]
    fits = (long <= plate_mm[0]) & (short <= plate_mm[1])
    width = np.where(fits, long, short)
    depth = np.where(fits, short, long)
    rows, plates = [], []  # rows: [plate, depth, used width]; plates: used depth
    for w, d in sorted(zip(width, depth, strict=True), key=lambda box: -box[1]):
        if w > plate_mm[0] or d > plate_mm[1]:
            continue
        row = next((r for r in rows if r[2] + gap_mm + w <= plate_mm[0] and d <= r[1]), None)
        if row is None:
            plate = next((i for i, used in enumerate(plates) if used + gap_mm + d <= plate_mm[1]), None)
            if plate is None:
                plates.append(-gap_mm)
                plate = len(plates) - 1
            plates[plate] += gap_mm + d
            rows.append(row := [plate, d, -gap_mm])
        row[2] += gap_mm + w
    return len(plates)


@lru_cache(maxsize=128)
def room_taken(shadows, counts, boxes_mm, plate_mm, gap_mm):
    """Room that nested pieces take of a plate, over that of their boxes with half a gap all round [-].

    Parameters: tuples of Shadow, count a kit, (length, width) [mm] of each kind; plate (x, y), gap [mm].
    Enough kits for LEARNT_PLATES are nested, at most MOST_PIECES pieces, and plates counted in fractions: a real batch
    may differ by a plate. It is nan where a piece fits no plate, or where they are too few to fill one.
    """
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


def plate_share(length_mm, width_mm, plate_mm, gap_mm):
    """Share of a plate that a box takes by its area, with half a gap all round [-]; arrays broadcast.

    Parameters: sides of the box and `plate_mm` (x, y), `gap_mm` between pieces, all [mm].

    >>> round(float(plate_share(60, 40, (250, 250), 5)), 3)  # 65 · 45 of 255 · 255: no gap is needed at the rim
    0.045
    """
    return (length_mm + gap_mm) * (width_mm + gap_mm) / ((plate_mm[0] + gap_mm) * (plate_mm[1] + gap_mm))
