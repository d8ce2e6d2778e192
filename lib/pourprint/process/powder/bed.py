"""Laser powder-bed fusion: exposure, recoating and build time, and where the powder goes.

Exposure rates of data sheets are upper bounds: the laser's jumps between lines come on top.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.process.packing import layers


def exposure_h(volume_cm3, rate_mm3_s, jump_share=0.0):
    """Laser time of a solid volume: [cm3], [mm3/s] → [h]; `jump_share` more for jumps between lines [-].

    >>> round(float(exposure_h(100, 5.1)), 3)
    5.447
    """
    return np.asarray(volume_cm3) * 1000 / rate_mm3_s / 3600 * (1 + jump_share)


def contour_h(side_cm2, layer_mm, speed_mm_s):
    """Laser time to run once round every section of a part.

    Parameters: `side_cm2` the outlines of all sections integrated over the height [cm2]; `layer_mm` [mm];
    `speed_mm_s` of the laser on the outline [mm/s]. Returns: [h]. Source: exact arithmetic.

    >>> round(float(contour_h(np.pi * 2 * 10, 0.05, 500)), 3)  # a rod of 20 mm, 100 mm tall: 2000 turns of 62.8 mm
    0.07
    """
    return np.asarray(side_cm2) * 100 / layer_mm / speed_mm_s / 3600


def recoating_h(height_mm, layer_mm, recoat_s):
    """Time to spread all layers up to a height: [mm], [mm], [s] → [h].

    >>> round(float(exposure_h(100, 5.1) + recoating_h(100, 0.03, 10)), 2)
    14.71
    """
    return layers(height_mm, layer_mm) * recoat_s / 3600


def layer_seconds(areas_mm2, perimeters_mm, layer_mm, rate_mm3_s, speed_mm_s, recoat_s):
    """Seconds that every layer takes: hatching its area, running round its outline, spreading powder.

    Parameters: areas [mm2] and perimeters [mm] of the sections (n,); others as above.
    Returns: three arrays (n,) [s].
    """
    areas, perimeters = np.asarray(areas_mm2, dtype=float), np.asarray(perimeters_mm, dtype=float)
    return areas * layer_mm / rate_mm3_s, perimeters / speed_mm_s, np.full(areas.shape, float(recoat_s))


@dataclass(frozen=True)
class Powder:
    """Where the powder of a build goes [kg]: melted into parts and supports, lost, and sieved for use again."""

    melted_kg: np.ndarray | float
    lost_kg: np.ndarray | float
    reused_kg: np.ndarray | float

    @property
    def bought_kg(self):
        """What has to be bought to have as much powder as before [kg]."""
        return self.melted_kg + self.lost_kg


def powder(melted_cm3, bed_cm3, density_g_cm3, packing, spatter_loss, bed_loss):
    """Powder of a build of `bed_cm3` powder bed, of which `melted_cm3` becomes metal [cm3].

    Parameters: `density_g_cm3` of the metal; `packing` metal in the bed [-]; `spatter_loss` share of the melted
    mass [-]; `bed_loss` share of the loose powder [-]. Returns: Powder. Source: balance of mass (exact). It is
    linear: parts without a bed and a bed without parts may be asked one by one and added.

    >>> found = powder(100, 6250, 2.67, 0.55, 0.1, 0.02)  # 250 × 250 × 100 mm
    >>> round(float(found.bought_kg), 3), round(float(found.reused_kg), 3)
    (0.471, 8.707)
    """
    melted = np.asarray(melted_cm3) * density_g_cm3 / 1000
    loose = np.asarray(bed_cm3) * packing * density_g_cm3 / 1000 - melted * (1 + spatter_loss)
    return Powder(melted, melted * spatter_loss + loose * bed_loss, loose * (1 - bed_loss))
