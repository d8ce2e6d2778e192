"""Bonded sockets against Volkersen's closed forms, a boundary-value solver and a bimetal sleeve."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_bvp

from pourprint.ledger.errors import InputError
from pourprint.process.finish.bonding import (
    ISOLATIONS,
    Lap,
    allowable_mpa,
    equal_pull_n,
    gap_spread_mm,
    isolated,
)

GIVEN = dict(tube_mm=30.0, tube_wall_mm=2.0, tube_gpa=70.0, tube_um_mk=1.1, boss_wall_mm=3.8, boss_gpa=72.0,
             boss_um_mk=21.5, length_mm=40.0)  # fmt: skip
JOINT = Lap(**GIVEN)


def test_the_facts_joint():
    """Tube 30/26 (70 GPa) in boss 30.4/38 (72 GPa), 40 mm, G 1100 MPa, 10 kN: exact, course's table of facts."""
    assert JOINT.decay_mm == pytest.approx(0.24520, abs=5e-6)
    assert JOINT.load_shear_mpa(np.array([0, 40.0]), 10_000) == pytest.approx([18.215, 7.632], abs=5e-4)
    mean = quad(lambda x: JOINT.load_shear_mpa(x, 10_000), 0, 40)[0] / 40
    assert mean == pytest.approx(10_000 / (2 * np.pi * 15.1 * 40), rel=1e-9)
    assert mean == pytest.approx(2.635, abs=5e-4)
    # Cooled by 60 K after cure: 27.5 MPa at the ends, more than the load's.
    assert abs(JOINT.thermal_shear_mpa(0, -60)) == pytest.approx(27.5, abs=0.1)
    assert JOINT.useful_length_mm() < 20


def test_flat_strips_of_unlike_adherends():
    """(ωL/2)[coth(ωL/2) ± ((E₂t₂ − E₁t₁)/(E₂t₂ + E₁t₁))·tanh(ωL/2)] = 8.202 and 2.637 (Volkersen, exact), as a tube
    so wide that it is flat; balanced with ωL = 3.373: 1.806."""
    wide = 1e6
    strip = Lap(wide, 1.5, 60.0, 0.0, 4.0, 70.0, 0.0, 40.0, 0.2, 1000.0)
    mean = 1.0 / (2 * np.pi * strip.radius_mm * 40)
    assert strip.load_shear_mpa(np.array([0.0, 40.0]), 1.0) / mean == pytest.approx([8.202, 2.637], abs=1e-3)
    half = np.sqrt(2 * 1000 / 0.2 / (70e3 * 2.0))
    alike = Lap(wide, 2.0, 70.0, 0.0, 2.0, 70.0, 0.0, 3.373 / half, 0.2, 1000.0)
    mean = 1.0 / (2 * np.pi * alike.radius_mm * alike.length_mm)
    assert alike.load_shear_mpa(0.0, 1.0) / mean == pytest.approx(1.806, abs=1e-3)


@pytest.mark.parametrize(("force", "warmer"), [(5000.0, 0.0), (0.0, -40.0), (-3000.0, 55.0)])
def test_against_a_boundary_value_solver(force, warmer):
    """Two bars with a shear spring between, from equilibrium and Hooke: slip s [µm] and the tube's force N [kN]."""
    a, b = JOINT.compliances
    k, around = JOINT.slip_mpa_mm, 2 * np.pi * JOINT.radius_mm
    apart = (JOINT.tube_um_mk - JOINT.boss_um_mk) * 1e-6 * warmer

    def equations(x, y):  # x from the mouth inward; what the tube has lost, the boss has
        slip, tube = y
        return np.array([1e6 * (a * tube - b * (force / 1000 - tube)) + 1e3 * apart, around * k * slip / 1e6])

    found = solve_bvp(equations, lambda y0, y1: np.array([y0[1] - force / 1000, y1[1]]), np.linspace(0, 40, 81),
                      np.zeros((2, 81)), tol=1e-8)  # fmt: skip
    assert found.success
    x = np.array([0.0, 7.0, 20.0, 40.0])
    shear = -k * found.sol(x)[0] / 1000  # a pull slips outward, against x
    ours = JOINT.load_shear_mpa(x, force) + JOINT.thermal_shear_mpa(x, warmer)
    assert shear == pytest.approx(ours, abs=1e-5 * np.abs(ours).max())


def test_bimetal_sleeve():
    """Far from its ends a bonded sleeve of two metals carries F = Δα ΔT / (a₁ + a₂) in each, exactly."""
    long = Lap(**{**GIVEN, "length_mm": 300.0})
    carried = quad(lambda x: long.thermal_shear_mpa(x, -50.0), 0, 150, limit=200, points=[10, 30])[0]
    force = carried * 2 * np.pi * long.radius_mm
    assert force == pytest.approx(20.4e-6 * 50 / sum(long.compliances), rel=1e-6)


@given(st.floats(0.1, 0.4), st.floats(10, 80), st.floats(100, 1e4))
def test_all_of_the_load_goes_through_the_line(gap, length, force):
    joint = Lap(**{**GIVEN, "gap_mm": gap, "length_mm": length})
    x = np.linspace(0, length, 4001)
    around = 2 * np.pi * joint.radius_mm
    assert np.trapezoid(joint.load_shear_mpa(x, force), x) * around == pytest.approx(force, rel=1e-4)
    assert joint.worst_shear_mpa(force) >= force / (around * length)


def test_beyond_its_useful_length_a_joint_gains_little():
    useful = JOINT.useful_length_mm(0.05)
    here, far = (Lap(**{**GIVEN, "length_mm": n}).worst_shear_mpa(1000.0) for n in (useful, 10 * useful))
    assert here == pytest.approx(1.05 * far, rel=1e-6)


def test_a_thicker_line_is_softer_and_isolation_stiffens_it():
    peaks = [Lap(**{**GIVEN, "gap_mm": g}).worst_shear_mpa(1000.0) for g in (0.1, 0.2, 0.4)]
    assert peaks == sorted(peaks, reverse=True)
    plain, cloth, oxide = (isolated(Lap(**GIVEN), name).slip_mpa_mm for name in ISOLATIONS)
    assert plain < oxide < cloth  # half the gap is stiffer cloth; the oxide is thin
    assert cloth == pytest.approx(1 / (0.1 / 1100 + 0.1 / 4000))
    with pytest.raises(InputError, match="glass_cloth"):
        isolated(Lap(**GIVEN), "paint")
    with pytest.raises(InputError, match="gap_mm above layer_mm"):
        isolated(Lap(**{**GIVEN, "gap_mm": 0.1}), "glass_cloth")


def test_gap_by_tolerance():
    """0.2 mm and a tube of ±0.05: worst cases of the course's table of facts (exact); usual by drawing pieces."""
    rows = [(0.46, 0.060, 0.340), (1.8, -0.275, 0.675), (0.2, 0.125, 0.275), (0.052, 0.162, 0.238)]
    for tolerance, least, greatest in rows:
        worst, usual = gap_spread_mm(0.2, tolerance, 0.1)
        assert worst == pytest.approx((least, greatest), abs=5e-4)
        assert worst[0] < usual[0] < usual[1] < worst[1]
    rng = np.random.default_rng(2)
    drawn = 0.2 + (rng.normal(0, 0.46 / 6, 300_000) - rng.normal(0, 0.1 / 6, 300_000)) / 2
    assert np.quantile(drawn, [0.00135, 0.99865]) == pytest.approx(gap_spread_mm(0.2, 0.46, 0.1)[1], abs=3e-3)


def test_bending_as_a_pull():
    """The outer fibre of a thin tube: M/(π r² t) is the stress of a pull 2 M / r (thin-walled, exact in the limit)."""
    thin = Lap(**{**GIVEN, "tube_wall_mm": 0.1})
    r = 15 - 0.05
    assert equal_pull_n(thin, 0.0, 1000.0) / (2 * np.pi * r * 0.1) == pytest.approx(1000 / (np.pi * r**2 * 0.1))


def test_knock_downs_multiply():
    assert allowable_mpa() == pytest.approx(25 * 0.7 * 0.8 * 0.4 * 0.5)
