"""Hot spots: the places of a field on voxels that stand out from all around them, and how far."""

from dataclasses import dataclass

import numpy as np

LEAST_POOL = 27.0  # cells of a pool: smaller ones are noise of the grid
ALIKE = 0.05  # what freezes so shortly before the last metal, over its time, is last alike: grids differ by more


@dataclass(frozen=True)
class HotSpot:
    """A local maximum of a field on the metal: a place that freezes later than all around it.

    position_mm: (x, y, z) [mm] in the mesh's coordinates. peak: the field there. neck: the highest value on
    the best way to a higher spot, 0 for the highest of all: at that value the pool is cut off. pool_cm3: metal
    above the neck around the spot [cm3]; of the highest spot, the part's whole metal.
    """

    position_mm: tuple[float, float, float]
    peak: float
    neck: float
    pool_cm3: float


def hot_spots(field, grid):
    """The maxima of a field that stand out, highest first: tuple of HotSpot.

    field (nx, ny, nz): nan outside the metal. grid: the Grid it stands on. A spot counts if its neck is lower than its
    peak by at least the share ALIKE of the peak, and its pool has 3³ cells at least; lesser ones are noise of the grid.
    Pools hold together over edges and corners of cells.
    """
    from pourprint.process.freezing.floods import pockets  # loads numba

    rimmed = np.pad(field, 1, constant_values=np.nan)
    key, strides = rimmed.ravel(), np.array([rimmed.shape[1] * rimmed.shape[2], rimmed.shape[2], 1])
    metal = np.flatnonzero(~np.isnan(key))
    order = metal[np.argsort(-key[metal], kind="stable")]
    steps = np.delete((np.array(list(np.ndindex(3, 3, 3))) - 1) @ strides, 13)  # 13 is the cell itself
    each, none, spots = (~np.isnan(key)).astype(float), np.zeros(key.size, dtype=bool), []
    for cell, neck, size in pockets(order, key, key, each, none, steps, LEAST_POOL, ALIKE):
        place = grid.centres_mm(np.array(np.unravel_index(cell, rimmed.shape)) - 1)
        cm3 = size * grid.cell_mm**3 / 1e3 if np.isfinite(neck) else grid.volume_mm3 / 1e3
        spots.append(HotSpot(tuple(place.round(2).tolist()), float(key[cell]), max(float(neck), 0.0), float(cm3)))
    return tuple(sorted(spots, key=lambda spot: -spot.peak))
