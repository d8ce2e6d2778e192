"""Casting tolerances and the bond gap between a tube and its socket."""

import numpy as np

from pourprint.ledger.checks import own_data
from pourprint.ledger.errors import Infeasible, InputError


def casting_tolerance_mm(size_mm, grade):
    """Total linear tolerance of a casting.

    Parameters: `size_mm` nominal size [mm], above 16 up to 160 (smaller sizes take the first row);
    `grade` DCTG 4 … 13, whole; arrays broadcast. Returns: total width of the tolerance [mm].
    Raises: InputError; Infeasible past the table. Source: ISO 8062-3:2007, linear dimensional tolerances (published).

    >>> float(casting_tolerance_mm(30, 5)), float(casting_tolerance_mm(30, 9))
    (0.46, 1.8)
    """
    sizes, grades, total = map(own_data("casting_tolerances").get, ("sizes_mm", "grades", "total_mm"))
    grade = np.asarray(grade)
    if np.any((grade < grades[0]) | (grade > grades[-1]) | (grade % 1 != 0)):
        raise InputError(f"casting grade must be a whole DCTG from {grades[0]} to {grades[-1]}, not {grade}.")
    size = np.asarray(size_mm, dtype=float)
    if np.any(bad := ~((size > 0) & (size <= sizes[-1]))):
        raise Infeasible(
            f"the table of casting tolerances reaches from 0 to {sizes[-1]} mm, not {size[bad][0]:g}: correct it."
        )
    row = np.maximum(np.searchsorted(sizes, size) - 1, 0)
    return np.array(total)[row, grade.astype(int) - grades[0]]


def bond_gap_mm(target_mm, hole_tolerance_mm, tube_tolerance_mm):
    """Least and greatest radial gap between tube and socket, worst case.

    Parameters: `target_mm` radial gap [mm]; total tolerances of the two diameters [mm].
    Returns: (least, greatest) [mm]; negative means that the tube does not go in. Source: exact.

    >>> [round(float(g), 3) for g in bond_gap_mm(0.2, 0.46, 0.1)]  # DCTG 5, tube ±0.05
    [0.06, 0.34]
    """
    half = (np.asarray(hole_tolerance_mm) + tube_tolerance_mm) / 4  # half of the total, half again for the radius
    return target_mm - half, target_mm + half
