"""The ceramic shell: coats, thickness, drying and mass.

Planning figures for parts between about 60 and 300 mm; a shell room's own trials come first.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.geometry import resized, turns

TRIAL_HUMIDITY = 50.0  # % of the published drying trial, at which an interval holds as it is


def by_size(longest_mm, small_mm, large_mm, at_small, at_large):
    """A value that grows linearly with a part's longest side and stays at its ends outside the range.

    Parameters: sizes [mm]; values in any unit. Returns: value, broadcast shape. Raises: InputError.
    """
    if np.any(np.asarray(large_mm) <= small_mm):
        raise InputError(f"the large size, {large_mm!r} mm, must be above the small size, {small_mm!r} mm.")
    share = np.clip((np.asarray(longest_mm, dtype=float) - small_mm) / (large_mm - small_mm), 0, 1)
    return at_small + share * (at_large - at_small)


def drying_h(intervals, interval_h, final_h):
    """Time from the first dip to a dry shell.

    Parameters: `intervals` between dips, one less than the coats [-]; `interval_h`, `final_h` [h]. Returns: [h].
    Source: published drying trial at 50% humidity: five intervals of 1, 8 or 24 h, then 12 h.

    >>> [int(drying_h(5, t, 12)) for t in (1, 8, 24)]
    [17, 52, 132]
    """
    return np.asarray(intervals) * interval_h + final_h


def damp_factor(humidity_percent):
    """How much longer drying takes than at 50% humidity: in proportion to the dryness of the air, 50/(100 − RH).

    Raises: InputError for air that dries nothing. Source: Dalton's law of evaporation (textbook); the shell's own
    cooling and inner moisture, which weaken the effect, are left out.

    >>> damp_factor(75.0)
    2.0
    """
    if np.any(np.asarray(humidity_percent) >= 100):
        raise InputError(f"humidity={humidity_percent!r}% must stay below 100: full air dries nothing.")
    return (100 - TRIAL_HUMIDITY) / (100 - humidity_percent)


def slenderness(coat_mm, depth_mm, diameter_mm, least_opening_mm):
    """Depth over opening of a blind hole that is lined with ceramic of some thickness [-].

    Parameters: `coat_mm` ceramic so far, `depth_mm`, `diameter_mm` of the bare hole, `least_opening_mm` below which
    no more slurry enters [mm], above 0. Source: geometry (exact).

    >>> float(slenderness(5.0, 40.0, 30.0, 4.0))
    1.75
    """
    check_numbers(least_opening=least_opening_mm)
    opening = np.maximum(np.subtract(diameter_mm, 2 * np.asarray(coat_mm)), least_opening_mm)
    return np.maximum(np.subtract(depth_mm, coat_mm), 0) / opening


def closing_coat(coat_mm, diameter_mm, least_opening_mm):
    """The coat after which a hole is too narrow for more slurry [-]; `coat_mm` of one coat, lengths in mm."""
    return np.floor(np.maximum(np.subtract(diameter_mm, least_opening_mm), 0) / (2 * coat_mm)) + 1


def intervals_h(coats, thickness_mm, depth_mm, diameter_mm, interval_h, humidity_percent, delay, least_opening_mm):
    """Drying after each coat but the last, ruled by the hole that is deepest for its opening at that coat.

    Parameters: `coats` (...) [-] and `thickness_mm` (...) of the whole shell [mm]; `depth_mm`, `diameter_mm` (h,) of
    the blind holes [mm], perhaps none; `interval_h` of open surfaces at 50% humidity [h]; `delay` a unit of depth
    over opening [-]. Returns: (k, ...) [h], k one less than the most coats, 0 after a shell's last coat.
    Valid for shells that dry in moving air between 30 and 75% humidity. Source: humidity by `damp_factor`; holes by
    an invented, linear delay on exact geometry: cavities dry slowest, and slower as the coats narrow them.
    """
    open_h = interval_h * damp_factor(humidity_percent)
    coats, thickness, open_h, delay, opening = np.broadcast_arrays(coats, thickness_mm, open_h, delay, least_opening_mm)
    number = np.arange(1, max(int(np.max(coats)), 2)).reshape(-1, *(1,) * coats.ndim)
    so_far = number * thickness / np.maximum(coats, 1)
    depth, diameter = (np.asarray(v, dtype=float).reshape(-1, *(1,) * so_far.ndim) for v in (depth_mm, diameter_mm))
    slender = np.max(slenderness(so_far, depth, diameter, opening), axis=0, initial=0.0)
    return np.where(number < coats, open_h * (1 + delay * slender), 0.0)


@dataclass(frozen=True)
class Bend:
    """How a part's surface bends, over the whole of it: `curvature_mm` the integral of its mean curvature [mm],
    counted positive where it bulges, and `euler` its Euler characteristic [-], 2 for each closed surface without
    holes through it. A study of a Part."""

    curvature_mm: np.ndarray | float
    euler: float

    @classmethod
    def measured(cls, vertices, faces):
        """From a mesh (vertices [mm], faces): half the sum of edge length × turning angle (exact for facets)."""
        ends, angles = turns(vertices, faces)
        lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        return cls(float(lengths @ angles / 2), float(len(np.unique(faces)) - len(faces) / 2))

    @classmethod
    def estimated(cls, part):
        """Without a mesh: a wall with two faces, whose bends cancel; the shell is then area × thickness."""
        return cls(0.0, 0.0)

    scaled = resized


def shell_cm3(area_cm2, thickness_mm, bend):
    """Volume of a shell of even thickness on a surface: A·t + M·t² + (2π/3)·χ·t³.

    Parameters: `area_cm2` [cm2]; `thickness_mm` [mm]; `bend` Bend of the same surface. Returns: [cm3], at least 0.
    Valid while the thickness is below the surface's own hollow radii; a socket that fills up counts too little, its
    rim too much. Source: Steiner's formula (exact for convex bodies).

    >>> ball = Bend(4 * np.pi * 30, 2)  # a ball of radius 30 mm: M = 4πr
    >>> round(float(shell_cm3(4 * np.pi * 9, 7, ball)), 3), round(4 / 3 * np.pi * (3.7**3 - 3.0**3), 3)
    (99.077, 99.077)
    """
    t = np.asarray(thickness_mm, dtype=float)
    volume = np.asarray(area_cm2) * t / 10 + (bend.curvature_mm * t**2 + 2 * np.pi / 3 * bend.euler * t**3) / 1000
    return np.maximum(volume, 0)
