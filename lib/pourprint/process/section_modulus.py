"""The modulus of a part's hottest section: what a feeder must outlast.

V/A of a whole node misleads: junctions and cores heat the sand around them and freeze later. How much later depends
on how well the metal conducts, so a coarse run of the freezing model is made for three metals.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from pourprint import ledger, meshes
from pourprint.alloys import Alloy
from pourprint.errors import InputError
from pourprint.process.solidification import Melt, Mould, default_cell_mm, drag, freeze_grid, rim_mm
from pourprint.process.voxels import voxels

METALS = ("AlSi7Mg", "AZ91D", "316L")  # conduct well, middling and badly
COARSE_CELLS = 60_000


@dataclass(frozen=True, eq=False)
class SectionStudy:
    """The hottest section of a part in thick sand, for metals that conduct well, middling and badly.

    mean_mm (...): V/A of the whole part [mm]. moduli_mm (..., 3): V/A of a flat wall that would freeze as late as the
    part's last metal [mm]. places_mm (..., 3, 3): where that is (x, y, z) [mm]. spots (3,): hot spots [-].
    Parts of one shape and metal in thick sand freeze alike, so that lengths scale.
    """

    mean_mm: float | np.ndarray
    moduli_mm: np.ndarray
    places_mm: np.ndarray
    spots: np.ndarray

    @classmethod
    def measured(cls, vertices, faces):
        """Three coarse runs on vertices (n, 3) [mm], faces (m, 3): some 0.3 s; 0 to 5 % above finer ones (demo nodes).

        Where much of the metal is in walls too thin for the coarse grid, usual ratios stand in, as without a mesh.
        """
        volume, area, box, _, _ = meshes.measure(vertices, faces)
        sand, mean = Mould.sand(), volume / area
        try:
            runs = []
            for melt in _melts():
                pad = rim_mm(mean, melt, sand)
                grid = voxels(vertices, faces, default_cell_mm(box, pad, COARSE_CELLS), pad)
                runs.append(freeze_grid(grid, melt, sand))
        except InputError:
            return cls._usual(mean, (vertices.min(0) + vertices.max(0)) / 2)
        moduli = np.array([run.modulus_mm for run in runs])
        places = np.array([run.spots[0].position_mm for run in runs])
        return cls(mean, moduli, places, np.array([len(run.spots) for run in runs]))

    @classmethod
    def estimated(cls, part):
        """For a part without a mesh: the demo nodes' usual ratios to V/A, in the middle of its box."""
        return cls._usual(part.modulus_mm, part.box_mm / 2)

    @classmethod
    def _usual(cls, mean_mm, middle_mm):
        ratios = np.array([ledger.freezing()[f"hot_section.{name}"].value for name in ("well", "middling", "badly")])
        moduli = np.asarray(mean_mm)[..., None] * ratios
        return cls(mean_mm, moduli, np.stack([middle_mm] * 3, axis=-2), np.ones(3, dtype=int))

    def scaled(self, factor):
        """The study of the part in similar shape; factor (...): ratio of lengths [-]."""
        factor = np.asarray(factor)
        return replace(
            self,
            mean_mm=self.mean_mm * factor,
            moduli_mm=self.moduli_mm * factor[..., None],
            places_mm=self.places_mm * factor[..., None, None],
        )

    def hottest_modulus_mm(self, alloy):
        """Modulus of the hottest section in an Alloy [mm], between the three metals by the logarithm of `drag`."""
        known, sand = _known_drags()
        share = np.clip(np.interp(np.log(drag(Melt.of(alloy), sand)), known, np.arange(3)), 0, 2)
        low = min(int(share), 1)
        return self.moduli_mm[..., low] + (share - low) * (self.moduli_mm[..., low + 1] - self.moduli_mm[..., low])


@cache
def _melts():
    return tuple(Melt.of(Alloy.named(name)) for name in METALS)


@cache
def _known_drags():
    """Logarithms of `drag` of the three metals (3,), and the sand they were found in."""
    sand = Mould.sand()
    return np.log([drag(melt, sand) for melt in _melts()]), sand
