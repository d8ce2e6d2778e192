"""A tube bonded into a socket: shear along the joint, thermal stress, gap by tolerance, and what keeps metals apart.

Elastic and axially symmetric (Volkersen): no peel, no bending of the boss's rim, no yielding of the adhesive, no tube
off the middle of its socket, no voids. A blind socket traps air: give it a vent. Real joints are designed with the
adhesive maker's data and proved by coupons and proof loads; no result here approves a joint. Qualified persons verify.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import joints, values_of
from pourprint.ledger.errors import InputError
from pourprint.process.finish.fits import bond_gap_mm

ISOLATIONS = ("filled_line", "glass_cloth", "anodised")


@dataclass(frozen=True)
class Lap:
    """A tube in a socket. tube_mm outer diameter, tube_wall_mm, tube_gpa along it, tube_um_mk its expansion; the same
    of the boss: boss_wall_mm, boss_gpa, boss_um_mk; length_mm of bond, gap_mm radial; adhesive_mpa shear modulus; of
    the gap, layer_mm may be an isolating layer of shear modulus layer_mpa. gap_mm, length_mm may be arrays (…)."""

    tube_mm: float
    tube_wall_mm: float
    tube_gpa: float
    tube_um_mk: float
    boss_wall_mm: float
    boss_gpa: float
    boss_um_mk: float
    length_mm: float
    gap_mm: float = 0.2
    adhesive_mpa: float = 1100.0
    layer_mm: float = 0.0
    layer_mpa: float = 3000.0

    def __post_init__(self):
        given = dict(vars(self))
        zero = {key: given.pop(key) for key in ("tube_um_mk", "boss_um_mk", "layer_mm")}
        check_numbers(**given)
        check_numbers(True, **zero)
        if 2 * self.tube_wall_mm >= self.tube_mm or np.any(np.asarray(self.gap_mm) <= self.layer_mm):
            raise InputError("a Lap needs tube_wall_mm below half of tube_mm, and gap_mm above layer_mm.")

    @property
    def radius_mm(self):
        """Radius of the middle of the bond line [mm]."""
        return self.tube_mm / 2 + self.gap_mm / 2

    @property
    def compliances(self):
        """Strain per force of tube and boss, 1/(E A) each [1/N]."""
        inner, bore = self.tube_mm / 2 - self.tube_wall_mm, self.tube_mm / 2 + self.gap_mm
        tube = 1000 * self.tube_gpa * np.pi * (self.tube_mm**2 / 4 - inner**2)
        return 1 / tube, 1 / (1000 * self.boss_gpa * np.pi * ((bore + self.boss_wall_mm) ** 2 - bore**2))

    @property
    def slip_mpa_mm(self):
        """Shear stress per slip between tube and boss [MPa/mm]: adhesive and layer in series."""
        return 1 / ((self.gap_mm - self.layer_mm) / self.adhesive_mpa + self.layer_mm / self.layer_mpa)

    @property
    def decay_mm(self):
        """β [1/mm]: over 1/β the shear decays from an end."""
        return np.sqrt(self.slip_mpa_mm * 2 * np.pi * self.radius_mm * sum(self.compliances))

    def load_shear_mpa(self, x_mm, force_n):
        """Shear [MPa] at x_mm from the socket's mouth under a pull force_n [N] on the tube. Source: Volkersen (exact).

        >>> joint = Lap(30, 2, 70, 1.1, 3.8, 72, 21.5, 40)
        >>> [round(float(joint.load_shear_mpa(x, 10_000)), 3) for x in (0, 40)]
        [18.215, 7.632]
        """
        b, (tube, boss) = self.decay_mm, self.compliances
        ends = tube * np.cosh(b * (self.length_mm - x_mm)) + boss * np.cosh(b * x_mm)
        return self.slip_mpa_mm * force_n / b * ends / np.sinh(b * self.length_mm)

    def thermal_shear_mpa(self, x_mm, warmer_k):
        """Shear [MPa] at x_mm when the joint is warmer_k [K] above the temperature at which it was free of stress; the
        sign is that of a pull at the mouth. Tube and boss end freely at both ends of the bond. Source: exact."""
        b, half = self.decay_mm, self.length_mm / 2
        growth = (self.tube_um_mk - self.boss_um_mk) * 1e-6 * warmer_k
        return self.slip_mpa_mm * growth / b * np.sinh(b * (half - x_mm)) / np.cosh(b * half)

    def worst_shear_mpa(self, force_n, warmer_k=0.0):
        """Greatest shear [MPa], at an end, under a force along the tube of either sign, with the thermal stress."""
        ends = (np.abs(self.load_shear_mpa(x, force_n)) for x in (0.0, self.length_mm))
        return np.maximum(*ends) + np.abs(self.thermal_shear_mpa(0.0, warmer_k))  # thermal stress is alike at both

    def mean_shear_mpa(self, force_n):
        """Mean shear [MPa] under a force along the tube [N]."""
        return force_n / (2 * np.pi * self.radius_mm * self.length_mm)

    def useful_length_mm(self, more=0.05):
        """Length [mm] beyond which a longer joint has a peak at most `more` lower [-]; elastic. The end's share is
        coth βL + r / sinh βL of an endless joint's, r of the stiffer part to the softer: solved for e^(βL)."""
        ratio = min(self.compliances) / max(self.compliances)
        return math.log((ratio + math.sqrt(ratio**2 + more * (2 + more))) / more) / self.decay_mm


def isolated(lap, isolation):
    """A Lap with one of ISOLATIONS in its gap. Raises: InputError.

    The layer takes part of the gap; where too little is left for the adhesive, Lap says so.
    """
    check_known(ISOLATIONS, isolation=isolation)
    thickness, modulus = (joints()[f"{isolation}.{name}"].value for name in ("thickness", "shear_modulus"))
    return replace(lap, layer_mm=thickness, layer_mpa=modulus)


def gap_spread_mm(target_mm, hole_tolerance_mm, tube_tolerance_mm):
    """Radial gap of tube and socket: (least, greatest) at worst, and (least, greatest) of 99.7% of the pieces [mm].

    Both diameters spread normally about their middle, their tolerance being 6 standard deviations. Source: exact.

    >>> worst, usual = gap_spread_mm(0.2, 0.46, 0.1)
    >>> [round(float(g), 3) for g in (*worst, *usual)]
    [0.06, 0.34, 0.082, 0.318]
    """
    half = np.hypot(hole_tolerance_mm, tube_tolerance_mm) / 4
    return bond_gap_mm(target_mm, hole_tolerance_mm, tube_tolerance_mm), (target_mm - half, target_mm + half)


def allowable_mpa():
    """Shear [MPa] that the course lets the adhesive carry: its strength times every knock-down, each an assumption."""
    value = values_of(joints())
    kept = (value[f"knock_down.{name}"] for name in ("damp_and_warm", "surface", "repeated", "safety"))
    return value["adhesive.shear_strength"] * math.prod(kept)


def equal_pull_n(lap, force_n, moment_nmm=0.0):
    """Pull [N] that loads the joint as much as force and bending do: |N| + 2 M / r, the outer fibre's share of a thin
    tube taken all round (safe for shear; a moment also peels, which is left out)."""
    return np.abs(force_n) + 2 * np.abs(moment_nmm) / (lap.tube_mm / 2 - lap.tube_wall_mm / 2)
