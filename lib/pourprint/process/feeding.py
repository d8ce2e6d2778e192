"""Feeders: large enough to freeze last and to hold the metal that freezing takes.

Not valid for parts whose thick places differ much from the mean V/A: there the hot spot rules.
"""

import numpy as np

from pourprint.errors import Infeasible


def feeder_diameter_mm(modulus_mm, modulus_ratio=1.2, height_ratio=1.5):
    """Diameter of a cylindrical feeder by the modulus rule, both ends cooling.

    A cylinder of diameter D and height rD has modulus D·r/(4r + 2): D/6 at r = 1, 0.1875·D at r = 1.5.

    Parameters: `modulus_mm` V/A of the casting [mm]; ratios [-]. Returns: [mm].
    Source: geometry exact; the ratio 1.2 is common practice.

    >>> float(feeder_diameter_mm(10, 1.2, 1.0))  # a 60 mm cube
    72.0
    """
    return modulus_ratio * np.asarray(modulus_mm) * (4 * height_ratio + 2) / height_ratio


def feeder_volume_cm3(casting_cm3, shrinkage, efficiency=0.14):
    """Feeder volume by the metal it must give: α·V/(ε − α).

    Parameters: `casting_cm3` [cm3]; `shrinkage` on freezing α [-]; `efficiency` ε [-], above α.
    Returns: [cm3]. Raises: Infeasible where ε is not above α. Source: Campbell, Castings (from memory).

    >>> [round(float(feeder_volume_cm3(1, a)), 3) for a in (0.066, 0.042, 0.03)]
    [0.892, 0.429, 0.273]
    """
    if np.any(np.asarray(efficiency) <= shrinkage):
        raise Infeasible(
            f"a feeder that gives {np.min(efficiency):.1%} of its metal cannot feed a shrinkage of "
            f"{np.max(shrinkage):.1%}."
        )
    return shrinkage * np.asarray(casting_cm3) / (efficiency - shrinkage)


def cylinder_cm3(diameter_mm, height_mm):
    """Volume of a cylinder: sizes [mm], returns [cm3]."""
    return np.pi / 4 * np.asarray(diameter_mm) ** 2 * height_mm / 1000
