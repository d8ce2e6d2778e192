"""The modulus of a part's hottest section: what a feeder must outlast.

V/A of a whole node misleads: junctions and cores heat the sand around them and freeze later. How much later depends
on how well the metal conducts, so a coarse run of the freezing model is made for the nearest of three metals.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from pourprint.ledger import entries as ledger
from pourprint.ledger.alloys import Alloy
from pourprint.ledger.errors import InputError
from pourprint.parts import meshes
from pourprint.process.freezing.solidification import Melt, Mould, default_cell_mm, drag, freeze_grid, rim_mm
from pourprint.process.freezing.voxels import ALIKE, voxels
from pourprint.process.geometry import centre_of_mass, nearest_to, own_frame, resized

METALS = ("AlSi7Mg", "AZ91D", "316L")  # conduct well, middling and badly
COARSE_CELLS = 100_000


@dataclass(frozen=True, eq=False)
class Section:
    """The hottest section of a part cast in one metal in thick sand.

    modulus_mm (...): V/A of a flat wall that would freeze as late as the part's last metal [mm]. place_mm (..., 3):
    where that is (x, y, z) [mm]; of places alike, the one nearest to the centre of mass, from which the way to the
    rest is short. Parts of one shape and metal freeze alike: lengths scale.
    """

    modulus_mm: float | np.ndarray
    place_mm: np.ndarray

    scaled = resized


@dataclass(frozen=True)
class SectionIn:
    """The study of a part's hottest section in one metal, for `Part.study`; `usual_ratio` of its modulus to V/A [-]."""

    melt: Melt
    sand: Mould
    usual_ratio: float

    def measured(self, vertices, faces):
        """A coarse run on vertices (n, 3) [mm], faces (m, 3): 0.1 to 0.3 s; 0 to 6% above finer ones (demo nodes).

        Where much of the metal is in walls too thin for the coarse grid, the usual ratio stands in.
        """
        own = own_frame(vertices, faces)  # the same cells however it is drawn
        placed = vertices @ own.T
        volume, area, box = meshes.measure(placed, faces)
        mean = volume / area
        pad = rim_mm(mean, self.melt, self.sand)
        try:
            cell_mm = default_cell_mm(box, pad, COARSE_CELLS)
            run = freeze_grid(voxels(placed, faces, cell_mm, pad), self.melt, self.sand)
        except InputError:
            return Section(self.usual_ratio * mean, (vertices.min(0) + vertices.max(0)) / 2)
        late = run.grid.centres_mm(np.argwhere(run.time_s >= (1 - ALIKE) * run.latest_s))
        place = nearest_to(centre_of_mass(placed, faces), late, cell_mm / 2)
        return Section(run.modulus_mm, place @ own)

    def estimated(self, part):
        """For a part without a mesh: the demo nodes' usual ratio to V/A, in the middle of its box."""
        return Section(self.usual_ratio * part.modulus_mm, np.sort(part.box_mm)[..., ::-1] / 2)


@cache
def section_in(metal):
    """The study in one of METALS. Parameter: `metal` its index."""
    usual = ledger.freezing()[f"hot_section.{('well', 'middling', 'badly')[metal]}"].value
    return SectionIn(_melts()[metal], Mould.sand(), usual)


def nearest_metals(alloy):
    """Between which of METALS an Alloy lies by the logarithm of `drag`: (index of the first, share of the next [-])."""
    known, sand = _known_drags()
    place = float(np.clip(np.interp(np.log(drag(Melt.of(alloy), sand)), known, np.arange(3)), 0, 2))
    low = min(int(place), 1)
    return low, place - low


def hottest_section(part, nearest):
    """The hottest Section of a Part in an alloy. Parameter: `nearest` as from `nearest_metals(alloy)`."""
    low, rest = nearest
    if rest in (0.0, 1.0):  # one of METALS itself: the other need not be run
        return part.study(section_in(low + int(rest)))
    near = [part.study(section_in(low)), part.study(section_in(low + 1))]
    modulus_mm = near[0].modulus_mm + rest * (near[1].modulus_mm - near[0].modulus_mm)
    return Section(modulus_mm, near[round(rest)].place_mm)


@cache
def _melts():
    return tuple(Melt.of(Alloy.named(name)) for name in METALS)


@cache
def _known_drags():
    """Logarithms of `drag` of the three metals (3,), and the sand they were found in."""
    sand = Mould.sand()
    return np.log([drag(melt, sand) for melt in _melts()]), sand
