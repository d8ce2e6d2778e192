"""Printed sand: mould blocks, layers and printing rate."""

import numpy as np


def block_mm(box_mm, wall_mm, feeder_height_mm):
    """Outer sizes of the mould block of one part with a feeder on top.

    Parameters: `box_mm` (..., 3) [mm]; `wall_mm` of sand all round (...,) [mm]; `feeder_height_mm` (...,) [mm].
    Returns: (..., 3) [mm].
    """
    x, y, z = np.moveaxis(np.asarray(box_mm, dtype=float), -1, 0)
    walls = 2 * np.asarray(wall_mm)
    return np.stack(np.broadcast_arrays(x + walls, y + walls, z + walls + feeder_height_mm), axis=-1)


def printing_rate_l_h(bed_area_m2, vertical_mm_h):
    """Sand printed in an hour when the whole bed rises.

    Parameters: `bed_area_m2` [m2]; `vertical_mm_h` [mm/h]. Returns: [L/h].
    Source: machine data as recalled (from memory), the arithmetic is exact.

    >>> round(printing_rate_l_h(4 * 2, 15.4), 1)
    123.2
    """
    return bed_area_m2 * vertical_mm_h


def layers(height_mm, layer_mm):
    """Whole layers that reach a height: both [mm], returns [-]. Rounding noise makes no extra layer.

    >>> int(layers(100, 0.03))
    3334
    """
    return np.ceil(np.asarray(height_mm) / layer_mm - 1e-9)
