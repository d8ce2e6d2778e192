"""Limits and fits, and what a bearing pressed into a node feels: ISO 286 limits and Lamé's rings.

Elastic, round, thick rings of even wall and equal length; no bending of a thin boss, no creep, no rough peaks pressed
flat. Estimates for teaching: the bearing maker's recommendations come first.
"""

import re
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers, own_data
from pourprint.ledger.errors import InputError


def _at(row, size_mm):
    """Value [µm] of a table's row for one nominal size [mm]."""
    check_numbers(arrays=False, size_mm=size_mm)
    sizes = own_data("iso_fits")["sizes_mm"]
    if size_mm > sizes[-1]:
        raise InputError(f"size_mm={size_mm!r} is beyond the table of fits, which reaches to {sizes[-1]} mm.")
    return row[int(np.searchsorted(sizes, size_mm))]


def tolerance_um(size_mm, grade):
    """Width of a tolerance grade [µm] at a nominal size [mm], grades 4 to 13. Raises: InputError.

    >>> tolerance_um(28, 7)
    21
    """
    grades = own_data("iso_fits")["grades"]
    if f"IT{grade}" not in grades:
        raise InputError(f"grade {grade!r} must be a whole number from 4 to {len(grades) + 3}.")
    return _at(grades[f"IT{grade}"], size_mm)


def limits_um(size_mm, zone):
    """Lower and upper limit [µm] above the nominal size, of a hole (capital) or a shaft (small letter).

    zone: as "N7" or "p6"; letters d to h, js, k, m, n, p, r, s of both kinds. size_mm [mm], at most 180.
    Raises: InputError. Source: ISO 286-1 (data/iso_fits.toml, from memory).

    >>> limits_um(28, "N7"), limits_um(50, "p6")
    ((-28, -7), (26, 42))
    """
    found = re.fullmatch(r"([A-Za-z]{1,2})(\d{1,2})", str(zone))
    letter, grade = (found[1], int(found[2])) if found else ("", 0)
    data, small = own_data("iso_fits"), letter.lower()
    known = (*data["below"], "js", *data["above"])
    if small not in known or letter not in (small, small.upper()):
        raise InputError(f"zone={zone!r} must be a letter of {', '.join(known)}, small or capital, and a grade, as H7.")
    wide = tolerance_um(size_mm, grade)
    if small == "js":
        return -wide / 2, wide / 2
    if small in data["below"]:
        away = _at(data["below"][small], size_mm)
        return (-away - wide, -away) if letter == small else (away, away + wide)
    away = _at(data["above"][small], size_mm)
    if letter == small:
        away = away if small != "k" or grade <= 7 else 0
        return away, away + wide
    upper = -away
    if small == "n" and grade > 8 and size_mm > 3:
        upper = 0
    elif small == "k" and grade > 8 and size_mm > 3:
        raise InputError(f"zone={zone!r} is not in the standard above 3 mm; take a grade up to 8.")
    elif grade <= (8 if small in "kmn" else 7) and size_mm > 3:
        upper += wide - tolerance_um(size_mm, grade - 1)  # so that H7/p6 and P7/h6 press alike
    return upper - wide, upper


def limits_mm(size_mm, zone):
    """The same [mm]; both 0 where the tables do not reach, so that nothing is left as made.

    >>> limits_mm(28, "N7"), limits_mm(28, "H13"), limits_mm(300, "H13")
    ((-0.028, -0.007), (0.0, 0.33), (0.0, 0.0))
    """
    try:
        low, high = limits_um(size_mm, zone)
    except InputError:
        return 0.0, 0.0
    return low / 1000, high / 1000


def fit_um(size_mm, hole, shaft):
    """Least and greatest interference [µm] of a hole and a shaft zone; negative is play.

    >>> fit_um(50, "H7", "p6")
    (1, 42)
    """
    (low_hole, high_hole), (low_shaft, high_shaft) = limits_um(size_mm, hole), limits_um(size_mm, shaft)
    return low_shaft - high_hole, high_shaft - low_hole


def ring_fit_um(size_mm, hole):
    """Least and greatest interference [µm] of a bearing's outer ring, normal class, in a hole zone."""
    low, high = limits_um(size_mm, hole)
    return -_at(own_data("iso_fits")["ring"]["under"], size_mm) - high, -low


@dataclass(frozen=True)
class Ring:
    """A ring or a rod: bore_mm (0 for solid), outer_mm [mm], youngs_gpa [GPa], poisson [-], expansion [µm/mK]."""

    bore_mm: float
    outer_mm: float
    youngs_gpa: float
    poisson: float
    expansion_um_mk: float

    def __post_init__(self):
        check_numbers(True, arrays=False, bore_mm=self.bore_mm, expansion_um_mk=self.expansion_um_mk)
        check_numbers(arrays=False, outer_mm=self.outer_mm, youngs_gpa=self.youngs_gpa, poisson=self.poisson)
        if self.bore_mm >= self.outer_mm:
            raise InputError(f"bore_mm={self.bore_mm!r} must be below outer_mm={self.outer_mm!r}.")


@dataclass(frozen=True)
class Press:
    """A pressed seat: interference_um left [µm], pressure_mpa, hoop_mpa and mises_mpa at the boss's bore [MPa], (…)."""

    interference_um: np.ndarray
    pressure_mpa: np.ndarray
    hoop_mpa: np.ndarray
    mises_mpa: np.ndarray

    def holding_n(self, diameter_mm, length_mm, friction):
        """Force along the axis at which the seat slips [N]."""
        return friction * self.pressure_mpa * np.pi * diameter_mm * length_mm


def pressed(ring, boss, interference_um, warmer_k=0.0):
    """A ring in a boss at interference_um (…) [µm], both warmer_k (…) above the room [K].

    Returns: Press; no pressure where only play is left. The seat's diameter is the boss's bore.
    Source: Lamé's thick rings, open ends (exact).

    >>> steel = Ring(0, 50, 207, 0.292, 11.7)
    >>> round(float(pressed(steel, Ring(50, 100, 207, 0.292, 11.7), 42).pressure_mpa), 3)
    65.205
    """
    d, wide, inner = boss.bore_mm, boss.outer_mm, ring.bore_mm
    left = np.asarray(interference_um) - (boss.expansion_um_mk - ring.expansion_um_mk) * np.asarray(warmer_k) * d / 1000
    outward = (wide**2 + d**2) / (wide**2 - d**2)
    inward = (d**2 + inner**2) / (d**2 - inner**2)
    give = ((outward + boss.poisson) / boss.youngs_gpa + (inward - ring.poisson) / ring.youngs_gpa) / 1000
    pressure = np.maximum(left, 0) / 1000 / d / give
    hoop = pressure * outward
    return Press(left, pressure, hoop, np.sqrt(hoop**2 + hoop * pressure + pressure**2))


def warm_to_fit_k(diameter_mm, interference_um, play_um, expansion_um_mk):
    """How much warmer than its ring a boss must be for the ring to drop in with some play [K].

    >>> round(warm_to_fit_k(28, 28, 20, 21.5))
    80
    """
    return (interference_um + play_um) / (expansion_um_mk * diameter_mm / 1000)
