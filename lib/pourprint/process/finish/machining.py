"""Machining of bores, sockets and faces: stock left on the part and time to take it off."""

import numpy as np


def bore_stock_cm3(diameter_mm, depth_mm, stock_mm):
    """Metal left inside a bore that is made smaller by the stock on each side.

    Parameters: finished `diameter_mm`, `depth_mm` [mm]; `stock_mm` a side [mm]. Returns: [cm3].
    A bore too small to be cast open is filled: the stock is then its whole volume. Source: exact.

    >>> round(float(bore_stock_cm3(20, 10, 1)), 3)
    0.597
    """
    inner = np.maximum(np.asarray(diameter_mm, dtype=float) - 2 * stock_mm, 0)
    return np.pi / 4 * (np.asarray(diameter_mm, dtype=float) ** 2 - inner**2) * depth_mm / 1000


def face_stock_cm3(area_cm2, stock_mm):
    """Metal left on a flat face: [cm2], [mm] → [cm3]."""
    return np.asarray(area_cm2) * stock_mm / 10


def cutting_h(features, stock_cm3, feature_h, removal_cm3_h):
    """Time in the machine for a number of features with some stock; clamping is apart.

    Parameters: `features` [-]; `stock_cm3` [cm3]; `feature_h` each [h]; `removal_cm3_h` [cm3/h]. Returns: [h].
    """
    return features * feature_h + stock_cm3 / removal_cm3_h
