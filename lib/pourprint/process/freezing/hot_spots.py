"""Hot spots: the places of a field on voxels that stand out from all around them, and how far."""

from dataclasses import dataclass

import numpy as np

LEVELS = 60  # heights at which pools are looked at: a neck is found within 1/60 of the field's range
LEAST_POOL = 27  # cells of a pool: smaller ones are noise of the grid


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


def hot_spots(field, grid, prominence=0.05):
    """The maxima of a field that stand out, highest first: tuple of HotSpot.

    field (nx, ny, nz): nan outside the metal. grid: the Grid it stands on. prominence: a spot counts if its
    neck is lower than its peak by at least this share of the peak [-], and its pool has 3³ cells at least;
    lesser ones are noise of the grid.
    """
    from scipy.ndimage import label

    metal = np.argwhere(~np.isnan(field))
    corner = metal.min(0)
    field = field[tuple(slice(a, b) for a, b in zip(corner, metal.max(0) + 1, strict=True))]
    values = np.where(np.isnan(field), -np.inf, field)
    top, bottom = np.nanmax(field), np.nanmin(field)
    living, found = [], []  # living: [flat cell of the peak, size of its pool]
    for level in np.linspace(top, bottom, LEVELS + 1):
        pools, count = label(values >= level, np.ones((3, 3, 3)))
        flat = pools.reshape(-1)
        sizes = np.bincount(flat, minlength=count + 1)
        owner = {}
        for spot in living:  # highest first: it keeps the pool where two meet
            pool = flat[spot[0]]
            if pool in owner:
                found.append((*spot, level))
            else:
                owner[pool] = spot
                spot[1] = sizes[pool]
        for pool in set(range(1, count + 1)) - set(owner):
            owner[pool] = [int(np.argmax(np.where(flat == pool, values.reshape(-1), -np.inf))), sizes[pool]]
        living = sorted(owner.values(), key=lambda spot: -values.reshape(-1)[spot[0]])
    found += [(*spot, 0.0) for spot in living]
    spots = []
    for cell, size, neck in found:
        peak = float(values.reshape(-1)[cell])
        if peak - neck >= prominence * peak and (size >= LEAST_POOL or not neck):
            place = grid.centres_mm(np.array(np.unravel_index(cell, field.shape)) + corner)
            cm3 = size * grid.cell_mm**3 / 1e3 if neck else grid.volume_mm3 / 1e3
            spots.append(HotSpot(tuple(place.round(2).tolist()), peak, float(neck), float(cm3)))
    return tuple(sorted(spots, key=lambda spot: -spot.peak))
