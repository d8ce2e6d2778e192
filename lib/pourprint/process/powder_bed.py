"""Laser powder-bed fusion: exposure, recoating and build time.

Exposure rates of data sheets are upper bounds: the laser's travel between tracks is left out.
"""

import numpy as np

from pourprint.process.sand_printing import layers


def volume_rate_mm3_s(speed_mm_s, hatch_mm, layer_mm):
    """Volume exposed by one laser: speed × hatch × layer.

    Parameters: `speed_mm_s` [mm/s]; `hatch_mm`, `layer_mm` [mm]. Returns: [mm3/s].
    Source: Complexity 2018, article 6910187, Table 2 (published): 300 W, 2000 mm/s, 0.12 mm, 0.02 mm.

    >>> round(volume_rate_mm3_s(2000, 0.12, 0.02), 2), round(volume_rate_mm3_s(2000, 0.12, 0.02) * 3.6, 2)
    (4.8, 17.28)
    """
    return speed_mm_s * hatch_mm * layer_mm


def energy_density_j_mm3(power_w, speed_mm_s, hatch_mm, layer_mm):
    """Laser energy a volume: P/(v·h·t), power [W], others as above. Returns: [J/mm3].

    >>> round(energy_density_j_mm3(300, 2000, 0.12, 0.02), 1)
    62.5
    """
    return power_w / volume_rate_mm3_s(speed_mm_s, hatch_mm, layer_mm)


def exposure_h(volume_cm3, rate_mm3_s):
    """Laser time of a solid volume: [cm3], [mm3/s] → [h].

    >>> round(float(exposure_h(100, 5.1)), 3)
    5.447
    """
    return np.asarray(volume_cm3) * 1000 / rate_mm3_s / 3600


def recoating_h(height_mm, layer_mm, recoat_s):
    """Time to spread all layers up to a height: [mm], [mm], [s] → [h].

    >>> round(float(exposure_h(100, 5.1) + recoating_h(100, 0.03, 10)), 2)
    14.71
    """
    return layers(height_mm, layer_mm) * recoat_s / 3600
