"""Where a casting shrinks without being fed: pockets of liquid that part from every feeder as they freeze.

Heat flow with feeder, gate and chills in the mould, and from it the order in which metal stops to flow. What is cut
off then keeps what it has left to shrink as pores at its last metal; what was solid by then was fed, in proportion to
the time. Modelled: order, places, how much metal each pocket holds. Not
modelled: filling (all metal starts at the pouring temperature), convection, gas, feeding through mush beyond one
fraction of solid, sunken surfaces, a mould that gives way. On cells that a wall is at least 1.4 wide, places hold from
grid to grid within two of them, but for ridges and rings whose metal freezes last all at once: there the place is
anywhere `within_mm`. Volumes hold within ±40%; pores below the card's limit may come and go with the grid.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger import entries as ledger
from pourprint.process.cavity import Cavity
from pourprint.process.freezing.enthalpy import freezing_times
from pourprint.process.freezing.solidification import Melt

LEAST_CM3 = 0.2  # metal of a pocket that counts
PROMINENCE = 0.1  # how much longer than its neck a pocket stays liquid, over its time [-]: twice what grids differ by


@dataclass(frozen=True)
class Pore:
    """A place that shrinks unfed: (x, y, z) [mm] of the middle of its last metal, and how far that reaches from there
    [mm]; frozen and cut off when [s], −inf where no feeder was ever joined to it; metal of its pocket and the pores
    that are left of it [cm3]."""

    place_mm: tuple[float, float, float]
    within_mm: float
    frozen_s: float
    cut_off_s: float
    metal_cm3: float
    pore_cm3: float


@dataclass(frozen=True, eq=False)
class Feeding:
    """A frozen Cavity: `stops_s`, `solid_s` (nx, ny, nz) when each cell stops to feed and when it is solid [s], nan
    outside the metal, inf where the feeder is still liquid when the part is solid. `shrinkage` on freezing [-]; `pores`
    in the part, largest first."""

    cavity: Cavity
    melt: Melt
    stops_s: np.ndarray
    solid_s: np.ndarray
    shrinkage: float
    pores: tuple[Pore, ...]

    @property
    def part_s(self):
        """When the part is solid [s]."""
        return float(self.solid_s[self.cavity.part].max())

    @property
    def pore_cm3(self):
        return sum(pore.pore_cm3 for pore in self.pores)

    def enough(self, efficiency):
        """(metal that part and feeders take as they freeze, what the feeders can give) [cm3]. efficiency [-]: the share
        of its metal that a feeder gives."""
        c = self.cavity
        return self.shrinkage * (c.part_cm3 + c.feeder_cm3), efficiency * c.feeder_cm3


def feed(cavity, melt, mould, shrinkage):
    """Freeze a Cavity: Feeding.

    melt, mould as of `freezing.solidification`; shrinkage of the metal on freezing [-]. Raises: InputError.
    """
    f, grid = ledger.freezing(), cavity.grid
    chill = None
    if cavity.chill.any():
        heat = f["chill.density"].value * f["chill.specific_heat"].value
        chill = cavity.chill, f["chill.conductivity"].value, heat
    ends = (f["feeding.stops"].value, 1.0)
    (stops, solid), _ = freezing_times(grid.fraction, grid.cell_mm, melt, mould, ends, chill, cavity.part)
    rows = cavity.pockets(stops, cavity.feeder, LEAST_CM3, PROMINENCE)
    pores = []
    for at, *place, cut, cm3 in rows:
        fed = ends[0] * max(cut, 0.0) / stops.ravel()[at]  # share of its last metal that is solid when it is cut off
        pores.append(Pore(*place, float(solid.ravel()[at]), cut, cm3, float(shrinkage * cm3 * (1 - fed))))
    return Feeding(cavity, melt, stops, solid, float(shrinkage), tuple(pores))
