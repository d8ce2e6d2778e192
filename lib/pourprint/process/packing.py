"""How many parts share a bed or a plate.

Planning figures from part boxes: mixed loads fill in proportion, as if the parts could be combined
freely. That is a lower bound on the number of loads; a real layout may need one more.
"""

import numpy as np


def _whole(ratio):
    """Whole pieces in a ratio [-]; rounding noise loses none."""
    return np.floor(ratio + 1e-9)


def per_bed(box_mm, bed_mm, gap_mm):
    """How many equal boxes stand on a rectangular bed, in the better of the two grid directions.

    Parameters: `box_mm` (..., 3) part boxes, z up [mm]; `bed_mm` (x, y) [mm]; `gap_mm` between parts [mm].
    Returns: count (...,) [-], 0 where the box does not fit. Source: exact count of the grid.

    >>> int(per_bed((90, 70, 60), (250, 250), 5))
    6
    """
    x, y = np.asarray(box_mm, dtype=float)[..., 0] + gap_mm, np.asarray(box_mm, dtype=float)[..., 1] + gap_mm
    length, width = bed_mm[0] + gap_mm, bed_mm[1] + gap_mm  # no gap is needed behind the last part
    straight = _whole(length / x) * _whole(width / y)
    turned = _whole(length / y) * _whole(width / x)
    return np.maximum(straight, turned)
