"""Feeders: large enough to freeze last and to hold the metal that freezing takes, near enough to reach all of it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.ledger.errors import Infeasible


def feeder_diameter_mm(modulus_mm, modulus_ratio, height_ratio):
    """Diameter of a cylindrical feeder by the modulus rule, both ends cooling.

    A cylinder of diameter D and height rD has modulus D·r/(4r + 2): D/6 at r = 1, 0.1875·D at r = 1.5.

    Parameters: `modulus_mm` V/A of the hottest section [mm]; ratios [-]. Returns: [mm].
    Source: geometry (exact).

    >>> float(feeder_diameter_mm(10, 1.2, 1.0))  # a 60 mm cube
    72.0

    A textbook exercise (published): a plate 12 × 12 × 1.1 in at 13 min/in², the feeder to freeze 30% later, H = 1.5 D.
    Freezing time goes with the modulus squared. Its solution page prints 2.711 in; the arithmetic gives 2.82.

    >>> modulus_in = round(12 * 12 * 1.1 / (2 * 12 * 12 + 4 * 12 * 1.1) - 5e-4, 3)  # the exercise cuts it to 0.464
    >>> round(13 * modulus_in**2, 2), round(float(feeder_diameter_mm(modulus_in, 1.3**0.5, 1.5)), 2)
    (2.8, 2.82)
    """
    return modulus_ratio * np.asarray(modulus_mm) * (4 * height_ratio + 2) / height_ratio


def feeder_volume_cm3(casting_cm3, shrinkage, efficiency):
    """Feeder volume by the metal it must give: α·V/(ε − α).

    Parameters: `casting_cm3` [cm3]; `shrinkage` on freezing α [-]; `efficiency` ε [-], above α.
    Returns: [cm3]. Raises: Infeasible where ε is not above α. Source: Campbell, Castings (from memory).

    >>> [round(float(feeder_volume_cm3(1, a, 0.14)), 3) for a in (0.066, 0.042, 0.03)]
    [0.892, 0.429, 0.273]
    """
    if np.any(np.asarray(efficiency) <= shrinkage):
        raise Infeasible(
            f"a feeder that gives {np.min(efficiency):.1%} of its metal cannot feed a shrinkage of "
            f"{np.max(shrinkage):.1%}: raise feeding.efficiency (cluster.feeding), or take an alloy that shrinks less."
        )
    return shrinkage * np.asarray(casting_cm3) / (efficiency - shrinkage)


def cylinder_cm3(diameter_mm, height_mm):
    """Volume of a cylinder: sizes [mm], returns [cm3]."""
    return np.pi / 4 * np.asarray(diameter_mm) ** 2 * height_mm / 1000


def cylinder_mm(cm3, height_mm):
    """Diameter of a cylinder of a volume [cm3] and height [mm] → [mm]: the inverse of `cylinder_cm3`."""
    return np.sqrt(4000 / np.pi * np.asarray(cm3) / height_mm)


def cylinder_modulus_mm(diameter_mm, height_mm):
    """V/A of a cylinder, both ends cooling: sizes and result [mm].

    >>> float(cylinder_modulus_mm(72, 72))
    12.0
    """
    return diameter_mm * height_mm / (4 * height_mm + 2 * diameter_mm)


@dataclass(frozen=True)
class Feeder:
    """A cylindrical feeder that keeps both rules: the larger of the two diameters. Sizes [mm], volume [cm3]."""

    by_modulus_mm: np.ndarray | float
    by_volume_mm: np.ndarray | float
    height_ratio: np.ndarray | float

    @cached_property
    def diameter_mm(self):
        return np.maximum(self.by_modulus_mm, self.by_volume_mm)

    @cached_property
    def height_mm(self):
        return self.height_ratio * self.diameter_mm

    @cached_property
    def volume_cm3(self):
        return cylinder_cm3(self.diameter_mm, self.height_mm)

    @cached_property
    def modulus_mm(self):
        """V/A of the feeder, both ends cooling [mm]."""
        return cylinder_modulus_mm(self.diameter_mm, self.height_mm)

    @property
    def rule(self):
        """Which rule set the diameter of a single feeder, in words."""
        return "modulus" if self.by_modulus_mm >= self.by_volume_mm else "shrinkage volume"


def feeder(modulus_mm, casting_cm3, shrinkage, f):
    """The Feeder of a casting.

    Parameters: V/A of its hottest section [mm]; its volume [cm3]; shrinkage on freezing [-]; `f` gives the entries
    of the ledger's section feeding by name. Raises: Infeasible as `feeder_volume_cm3`.
    """
    ratio = f("height_ratio")
    needed_cm3 = feeder_volume_cm3(casting_cm3, shrinkage, f("efficiency"))
    by_volume = np.cbrt(1000 * needed_cm3 * 4 / (np.pi * ratio))
    return Feeder(feeder_diameter_mm(modulus_mm, f("modulus_ratio"), ratio), by_volume, ratio)


def reach_mm(wall_mm):
    """How far from a feeder's edge a wall that ends there stays sound: 4.5 walls, both [mm].

    That counts the cold end's help, about 2.5; towards a junction or another feeder the reach is about 2 walls.

    Source: plates of steel in sand, Bishop & Pellini 1950 (from memory). Aluminium with much silicon is reckoned
    to feed farther and alloys that freeze over a wide range less well: a warning, not a limit.
    """
    return 4.5 * np.asarray(wall_mm)
