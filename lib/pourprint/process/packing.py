"""How many parts share a cluster, a bed or a plate.

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


def per_stack(box_mm, space_mm, gap_mm):
    """How many equal boxes fill a three-dimensional space, layer on layer.

    Parameters: `box_mm` (..., 3) [mm]; `space_mm` (x, y, z) [mm]; `gap_mm` [mm]. Returns: count (...,) [-].

    >>> int(per_stack((90, 70, 60), (300, 300, 250), 5))
    36
    """
    z = np.asarray(box_mm, dtype=float)[..., 2] + gap_mm
    return per_bed(box_mm, space_mm[:2], gap_mm) * _whole((space_mm[2] + gap_mm) / z)


def per_cluster(box_mm, runner_diameter_mm, runner_length_mm, dip_diameter_mm, gap_mm):
    """How many equal parts hang in rings and tiers round a straight runner.

    The part's longest side points away from the runner, its shortest side along it.

    Parameters: `box_mm` (..., 3) [mm]; runner, dipping envelope and gap between parts [mm].
    Returns: count (...,) [-], 0 where a part is too long for the envelope or the runner.
    Source: ring-and-tier count, exact for boxes on the mid-circle; common practice of the trade.
    """
    thick, wide, long = np.moveaxis(np.sort(np.asarray(box_mm, dtype=float), axis=-1), -1, 0)
    ring = _whole(np.pi * (runner_diameter_mm + long) / (wide + gap_mm))
    tiers = _whole((runner_length_mm + gap_mm) / (thick + gap_mm))
    fits = runner_diameter_mm + 2 * long <= dip_diameter_mm
    return np.where(fits, ring * tiers, 0)
