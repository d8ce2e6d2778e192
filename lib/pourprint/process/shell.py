"""The ceramic shell: coats, thickness, drying and mass.

Planning figures for parts between about 60 and 300 mm; a shell room's own trials come first.
"""

import numpy as np

from pourprint.errors import InputError


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

    Parameters: `intervals` between dips [-]; `interval_h`, `final_h` [h]. Returns: [h].
    Source: published drying trial at 50 % humidity: five intervals of 1, 8 or 24 h, then 12 h.

    >>> [int(drying_h(5, t, 12)) for t in (1, 8, 24)]
    [17, 52, 132]
    """
    return np.asarray(intervals) * interval_h + final_h


def shell_mass_kg(area_cm2, thickness_mm, density_g_cm3):
    """Mass of a thin shell on a surface; not valid where the thickness nears the part's own radii.

    Parameters: `area_cm2` [cm2]; `thickness_mm` [mm]; `density_g_cm3` [g/cm3]. Returns: [kg].

    >>> float(shell_mass_kg(1000, 5, 1.8))
    0.9
    """
    return np.asarray(area_cm2) * thickness_mm / 10 * density_g_cm3 / 1000
