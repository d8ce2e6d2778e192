"""What fits into what: layers under a height, parts on a bed, blocks in a box.

`per_bed` and `plate_share` are planning figures from part boxes: mixed loads fill in proportion, as if the parts could
be combined freely. That is a lower bound on the number of loads; a real layout may need one more.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import Infeasible


def layers(height_mm, layer_mm):
    """Whole layers that reach a height: both [mm], returns [-]. Rounding noise makes no extra layer.

    >>> int(layers(100, 0.03))
    3334
    """
    return np.ceil(np.asarray(height_mm) / layer_mm - 1e-9)


def _whole(ratio):
    """Whole pieces in a ratio [-]; rounding noise loses none."""
    return np.floor(ratio + 1e-9)


def per_bed(box_mm, bed_mm, gap_mm):
    """How many equal boxes stand on a rectangular bed, in the better of the two grid directions; at least one where it
    fits from corner to corner.

    Parameters: `box_mm` (..., 3) part boxes, z up [mm]; `bed_mm` (x, y) [mm]; `gap_mm` between parts [mm].
    Returns: count (...,) [-], 0 where the box does not fit. Source: exact count of the grid; a box turned by 45° takes
    (length + width)/√2 either way.

    >>> int(per_bed((90, 70, 60), (250, 250), 5)), int(per_bed((300, 40, 60), (250, 250), 5))
    (6, 1)
    """
    x, y = np.asarray(box_mm, dtype=float)[..., 0] + gap_mm, np.asarray(box_mm, dtype=float)[..., 1] + gap_mm
    length, width = bed_mm[0] + gap_mm, bed_mm[1] + gap_mm  # no gap is needed behind the last part
    straight = _whole(length / x) * _whole(width / y)
    turned = _whole(length / y) * _whole(width / x)
    across = x + y - 2 * gap_mm <= np.sqrt(2) * np.minimum(*bed_mm)
    return np.maximum(np.maximum(straight, turned), across)


def plate_share(length_mm, width_mm, plate_mm, gap_mm):
    """Share of a plate that a box takes by its area, with half a gap all round [-]; arrays broadcast.

    Parameters: sides of the box and `plate_mm` (x, y), `gap_mm` between pieces, all [mm].

    >>> round(float(plate_share(60, 40, (250, 250), 5)), 3)  # 65 · 45 of 255 · 255: no gap is needed at the rim
    0.045
    """
    return (length_mm + gap_mm) * (width_mm + gap_mm) / ((plate_mm[0] + gap_mm) * (plate_mm[1] + gap_mm))


@dataclass(frozen=True)
class Packing:
    """Blocks in job boxes, by first fit.

    box (n,): which box each block lies in; corner_mm (n, 3): its low corner there; sides_mm (n, 3): its sides as it
    lies; filled [-]: boxes filled, the last one as far as its last row reaches; stands_mm (k,): how high the blocks of
    each box stand.
    """

    box: np.ndarray
    corner_mm: np.ndarray
    sides_mm: np.ndarray
    filled: float
    stands_mm: np.ndarray


def packed(blocks_mm, space_mm, gap_mm):
    """Lay blocks (n, 3) [mm] into as few job boxes (3,) [mm] as first fit finds, gap_mm of loose sand between them.

    A block may lie on any side: its longest side goes along the box's longest. The tallest come first; each goes
    into the first row, else the first layer, else the first box that still has room for it.
    Returns: Packing, in the order of the blocks. Raises: Infeasible for a block larger than the box.

    >>> found = packed([(50, 40, 30)] * 5, (110, 90, 70), 10)
    >>> found.box.tolist(), found.filled
    ([0, 0, 0, 0, 0], 0.625)
    """
    space = np.asarray(space_mm, dtype=float)
    along = np.argsort(np.argsort(-space, kind="stable"))  # ranks: 0 the longest axis of the box
    sides = -np.sort(-np.asarray(blocks_mm, dtype=float), axis=-1)[:, along]
    if np.any(sides > space + 1e-9):
        need, have = (" × ".join(f"{side:.0f}" for side in sizes) for sizes in (np.max(sides, axis=0), space))
        raise Infeasible(f"a block of {need} mm does not fit a job box of {have} mm: split the part.")
    x_end, y_end, z_end = (float(side) + gap_mm for side in space)  # no gap is needed behind the last block
    boxes, places, with_gap = [], [None] * len(sides), (sides + gap_mm).tolist()
    for n in np.lexsort((-sides[:, 1], -sides[:, 2])):
        places[n] = _first_fit(boxes, *with_gap[n], x_end, y_end, z_end)
    where = np.array(places, dtype=float).reshape(-1, 4)
    filled = len(boxes) - 1 + _reached(boxes[-1], x_end, y_end, z_end) if boxes else 0.0
    stands_mm = np.array([high - gap_mm for high, _ in boxes])
    return Packing(where[:, 0].astype(int), where[:, 1:], sides, filled, stands_mm)


def boxes_for(blocks_mm, space_mm, gap_mm):
    """Job boxes that a heap of blocks fills (...), and how high all their blocks stand together [mm]: as `packed`, for
    arrays of sizes; fractions as `Packing.filled`.

    Parameters: `blocks_mm` (..., n, 3) [mm]; `space_mm` (..., 3) [mm]; `gap_mm` (...) [mm].
    """

    def told(*one):
        found = packed(*one)
        return found.filled, found.stands_mm.sum()

    return np.vectorize(told, [float, float], signature="(n,k),(k),()->(),()")(blocks_mm, space_mm, gap_mm)


def _first_fit(boxes, dx, dy, dz, x_end, y_end, z_end):
    """(box, x, y, z) of the first place; rows [y, depth, x], layers [z, height, y, rows], boxes [z, layers]."""
    slack = 1e-9
    for index, (_, stack) in enumerate(boxes):
        for layer in stack:
            z, height, y_next, rows = layer
            if dz > height + slack:
                continue
            for row in rows:
                if dy <= row[1] + slack and row[2] + dx <= x_end + slack:
                    row[2] += dx
                    return index, row[2] - dx, row[0], z
            if y_next + dy <= y_end + slack:
                rows.append([y_next, dy, dx])
                layer[2] += dy
                return index, 0.0, y_next, z
        if boxes[index][0] + dz <= z_end + slack:
            z = boxes[index][0]
            stack.append([z, dz, dy, [[0.0, dy, dx]]])
            boxes[index][0] += dz
            return index, 0.0, 0.0, z
    boxes.append([dz, [[0.0, dz, dy, [[0.0, dy, dx]]]]])
    return len(boxes) - 1, 0.0, 0.0, 0.0


def _reached(box, x_end, y_end, z_end):
    """How far the last row of a box's last layer reaches, as a share of the box [-]."""
    z, height, _, rows = box[1][-1]
    y, depth, x = rows[-1]
    return (z + height * (y + depth * x / x_end) / y_end) / z_end


def shelves(sizes_mm, plate_mm, gap_mm):
    """How many plates boxes need when laid in rows, deepest first, each in the first row with room [-].

    Parameters: `sizes_mm` (n, 2) boxes; they lie with their longer side along the plate's. A simple bound from above
    for `nesting.nest`. Boxes that fit no plate are left out.
    """
    sizes, plate = np.sort(np.asarray(sizes_mm, dtype=float), axis=1), np.sort(plate_mm)
    flat = [(*size, 1.0) for size in sizes[np.all(sizes <= plate, axis=1)]]  # one millimetre tall, in a box of that
    return int(packed(flat, (*plate, 1.0), gap_mm).box.max(initial=-1)) + 1
