"""Contraction: how much larger than the casting a pattern is printed.

Free contraction, the same in all directions. Cores, shells and stiff corners hold a casting back, so real
dimensions lie between no contraction and this one: first castings are measured, and the allowance corrected.
"""

import numpy as np


def pattern_mm(casting_mm, contraction_percent):
    """Size of the pattern for a size of the casting: sockets, bores and walls alike grow with it.

    Parameters: `casting_mm` [mm]; `contraction_percent` linear, of the casting's size [%]. Returns: [mm].
    Source: pattern makers' allowance (exact arithmetic); of the pattern's own size it is c/(1 + c), 0.02% less.

    >>> round(float(pattern_mm(100, 1.3)), 2)
    101.3
    """
    return np.asarray(casting_mm) * (1 + np.asarray(contraction_percent) / 100)


def casting_mm(pattern_mm, contraction_percent):
    """What a pattern becomes after contracting: the inverse of `pattern_mm` [mm]."""
    return np.asarray(pattern_mm) / (1 + np.asarray(contraction_percent) / 100)


def cast_bore_mm(finished_mm, stock_mm, tolerance_mm):
    """Diameter to cast so that a bore cleans up at its finished size: F − 2·RMA − CT/2.

    Parameters: `finished_mm` diameter, `stock_mm` required machining allowance a side, `tolerance_mm` total casting
    tolerance [mm]. Returns: [mm]; 0 or less means that the bore is cast shut. Source: ISO 8062-3 (from memory).

    >>> round(float(cast_bore_mm(28, 0.7, 0.46)), 2)
    26.37
    """
    return np.asarray(finished_mm) - 2 * np.asarray(stock_mm) - np.asarray(tolerance_mm) / 2
