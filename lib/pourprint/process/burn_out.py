"""Burn-out patterns: how much polymer is in one, the air that burns it, the ash it leaves, and how it loads the shell.

Planning figures: a sparse pattern is a closed skin with a lattice inside, vented so that air gets in.
"""

import numpy as np

from pourprint.checks import check_numbers

# Stoichiometry of a methacrylate pattern, C5H8O2 + 6 O2 → 5 CO2 + 4 H2O, in air of 23.2 % oxygen by mass (exact).
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


def ash_g(polymer_kg, ash_percent):
    """Ash left by a mass of polymer: [kg], [%] → [g]."""
    return np.asarray(polymer_kg) * np.asarray(ash_percent) * 10


def shell_stress_mpa(
    radius_mm,
    thickness_mm,
    skin_mm,
    infill,
    rise_k=40.0,
    expansion_per_k=80e-6,
    polymer_gpa=2.5,
    polymer_poisson=0.38,
    shell_gpa=6.0,
    shell_poisson=0.2,
):
    """Hoop stress in a shell round a pattern that expands before it softens: a ball in a thin ceramic sphere.

    Skin and lattice want to grow by the same strain ε = αΔT, however sparse they are: what falls with the infill is
    the stiffness. A solid ball presses with E/(1 − 2ν) a unit of strain, a lattice with infill² of that (open cells
    that bend), a skin with 2sE/(r(1 − ν)); the shell gives way with r(1 − ν)/(2tE) of its own. The stress is p·r/(2t).
    It compares fillings; it does not predict cracks, since polymers creep as they soften, and a quick fire softens the
    surface first.

    Parameters: `radius_mm` of the pattern's thickest place, `thickness_mm` of the shell, `skin_mm` [mm]; `infill` [-],
    1 solid; `rise_k` up to softening [K]; moduli [GPa] at room temperature, `expansion_per_k` [1/K], Poisson's ratios
    [-]. Returns: [MPa], to hold against a green shell's bending strength of about 2 to 5 MPa (from memory). Source:
    elasticity of balls and thin spheres (exact, textbook); infill² Gibson & Ashby, Cellular Solids (from memory); the
    materials' values are from memory, so the ratio of two fillings is firmer than either stress.

    >>> [round(float(shell_stress_mpa(20, 7, 0.8, f)), 1) for f in (1.0, 0.35, 0.12)]
    [16.0, 5.5, 2.0]
    """
    check_numbers(radius_mm=radius_mm, thickness_mm=thickness_mm)
    check_numbers(True, infill=infill, skin_mm=skin_mm)
    radius, thickness = np.asarray(radius_mm, dtype=float), np.asarray(thickness_mm, dtype=float)
    lattice, strain = np.asarray(infill, dtype=float) ** 2, expansion_per_k * rise_k
    ball = 1e3 * polymer_gpa / (1 - 2 * polymer_poisson)
    skin = np.minimum(2e3 * np.asarray(skin_mm) * polymer_gpa / (radius * (1 - polymer_poisson)), ball)
    pattern = lattice * ball + (1 - lattice) * skin
    shell = 2e3 * thickness * shell_gpa / (radius * (1 - shell_poisson))
    return strain * pattern * shell / (pattern + shell) * radius / (2 * thickness)
