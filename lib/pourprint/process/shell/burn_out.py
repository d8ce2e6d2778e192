"""Burn-out patterns: how much polymer is in one, the air that burns it, the ash it leaves, and how it loads the shell.

Planning figures: a sparse pattern is a closed skin with a lattice inside, vented so that air gets in.
"""

import numpy as np

from pourprint.ledger.checks import check_numbers

# Stoichiometry of a methacrylate pattern, C5H8O2 + 6 O2 → 5 CO2 + 4 H2O, in air of 23.2% oxygen by mass (exact).
AIR_KG_PER_KG = 6 * 31.998 / 100.12 / 0.232
AIR_KG_M3 = 1.2


def polymer_share(modulus_mm, skin_mm, infill):
    """Share of a pattern's volume that is polymer: a skin on the whole surface, and a lattice within.

    Parameters: `modulus_mm` V/A of the pattern; `skin_mm` thickness [mm]; `infill` share of the inside [-].
    Returns: [-], at most 1. Source: geometry of a plate (exact); a sphere's skin is smaller, by the third at most
    of its share squared. Walls thinner than two skins are solid.

    >>> round(float(polymer_share(2.0, 0.8, 0.1)), 2), float(polymer_share(0.7, 0.8, 0.1))  # a wall of 4 mm, of 1.4
    (0.46, 1.0)
    """
    skin = np.minimum(np.asarray(skin_mm) / modulus_mm, 1)
    return skin + infill * (1 - skin)


def burning_h(polymer_kg, air_m3_h, excess):
    """Time in which a kiln's air burns a mass of polymer, were burning limited by air alone.

    Parameters: `polymer_kg` [kg]; `air_m3_h` drawn through the kiln [m3/h], above 0; `excess` air over the least
    that burns it [-]. Returns: [h]. Source: stoichiometry (exact) of methacrylate; styrene needs 1.6 times as much.

    >>> round(float(burning_h(1, 12, 2)), 2)  # 8.27 kg of air a kilogram, twice over, at 14.4 kg an hour
    1.15
    """
    check_numbers(air_flow=air_m3_h)
    return np.asarray(polymer_kg) * AIR_KG_PER_KG * excess / (AIR_KG_M3 * np.asarray(air_m3_h))


def shell_stress_mpa(radius_mm, thickness_mm, skin_mm, infill, c):
    """Hoop stress in a shell round a pattern that expands before it softens: a ball in a thin ceramic sphere.

    Skin and lattice want to grow by the same strain ε = αΔT, however sparse they are: what falls with the infill is
    the stiffness. A solid ball presses with E/(1 − 2ν) a unit of strain, a lattice with infill² of that (open cells
    that bend), a skin with 2sE/(r(1 − ν)); the shell gives way with r(1 − ν)/(2tE) of its own. The stress is p·r/(2t).
    It compares fillings; it does not predict cracks, since polymers creep as they soften, and a quick fire softens the
    surface first.

    Parameters: `radius_mm` of the pattern's thickest place, `thickness_mm` of the shell, `skin_mm` [mm]; `infill` [-],
    1 solid; `c` gives the entries of the ledger's section crack by name. Returns: [MPa], to hold against that section's
    green_strength. Source: elasticity of balls and thin spheres (exact, textbook); infill² Gibson & Ashby, Cellular
    Solids (from memory). The materials' values are uncertain: the ratio of two fillings is firmer than either stress.
    """
    check_numbers(radius_mm=radius_mm, thickness_mm=thickness_mm)
    check_numbers(True, infill=infill, skin_mm=skin_mm)
    radius, thickness = np.asarray(radius_mm, dtype=float), np.asarray(thickness_mm, dtype=float)
    lattice, strain = np.asarray(infill, dtype=float) ** 2, 1e-6 * c("expansion") * c("rise")
    ball = 1e3 * c("polymer_modulus") / (1 - 2 * c("polymer_poisson"))
    skin = 2e3 * np.asarray(skin_mm) * c("polymer_modulus") / (radius * (1 - c("polymer_poisson")))
    pattern = lattice * ball + (1 - lattice) * np.minimum(skin, ball)
    shell = 2e3 * thickness * c("shell_modulus") / (radius * (1 - c("shell_poisson")))
    return strain * pattern * shell / (pattern + shell) * radius / (2 * thickness)
