"""Space frames against closed forms of the strength of materials, each exact for these bars."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.process.strength.beams import Bar, solve_frame

EA, EI, GJ, L, F = 7e6, 2e8, 1.5e8, 500.0, 100.0
BAR = Bar("a", (0, 1), EA, EI, GJ)
CLAMPED = range(6)  # the freedoms of the first point


def loads(points, *given):
    """Load array of one case from (point, freedom, value)."""
    array = np.zeros((points, 6, 1))
    for point, freedom, value in given:
        array[point, freedom, 0] = value
    return array


def solved(points, bars, given, held=CLAMPED):
    """Displacements and forces for points that are numbered, not named."""
    return solve_frame(dict(enumerate(points)), bars, given, held=held)


def tip(bar, *given):
    return solved(((0, 0, 0), (L, 0, 0)), [bar], loads(2, *given))[0][1, :, 0]


def test_cantilever():
    moved = tip(BAR, (1, 2, -F), (1, 0, F), (1, 3, 1000.0))
    assert moved[2] == pytest.approx(-F * L**3 / (3 * EI), rel=1e-10)  # exact
    assert moved[4] == pytest.approx(F * L**2 / (2 * EI), rel=1e-10)  # dips forward: a turn about +y
    assert moved[0] == pytest.approx(F * L / EA, rel=1e-10)
    assert moved[3] == pytest.approx(1000 * L / GJ, rel=1e-10)


def test_shear_adds_to_bending():
    assert tip(replace(BAR, ga=1e5), (1, 1, F))[1] == pytest.approx(F * L**3 / (3 * EI) + F * L / 1e5, rel=1e-10)
    # Under an end moment there is no shear: the tip is that of the slender bar.
    assert tip(replace(BAR, ga=1e5), (1, 5, 1e4))[1] == pytest.approx(1e4 * L**2 / (2 * EI), rel=1e-10)


def test_a_rigid_root_shortens_the_bar():
    a = 60.0
    moved = tip(replace(BAR, offset_mm=(a, 0.0)), (1, 1, F))
    assert moved[1] == pytest.approx(F * (L - a) ** 3 / (3 * EI), rel=1e-10)  # exact: the arm is held with the point
    # A rigid tip of length b: deflection and slope of the bar's end, carried on by the arm.
    b, free = 60.0, L - 60.0
    end = F * free**3 / (3 * EI) + F * b * free**2 / (2 * EI)
    slope = F * free**2 / (2 * EI) + F * b * free / EI
    assert tip(replace(BAR, offset_mm=(0.0, b)), (1, 1, F))[1] == pytest.approx(end + slope * b, rel=1e-10)


def test_a_sprung_root_adds_fl2_over_k():
    k = 5e6
    for freedom, axis in ((5, 1), (4, 2)):
        # The bar's own axes may stand otherwise than x, y, z: both bends are sprung alike.
        soft = replace(BAR, soft=((4, 1 / k), (5, 1 / k)))
        assert tip(soft, (1, axis, F))[axis] == pytest.approx(F * L**3 / (3 * EI) + F * L**2 / k, rel=1e-9), freedom


def test_an_l_frame_twists_its_first_leg():
    a, b = 400.0, 300.0
    points = ((0, 0, 0), (a, 0, 0), (a, b, 0))
    bars = [BAR, replace(BAR, name="b", ends=(1, 2))]
    moved = solved(points, bars, loads(3, (2, 2, -F)))[0][2, 2, 0]
    # Exact: bending of both legs, and the first leg's twist by F·b carried along the second.
    assert moved == pytest.approx(-F * (a**3 / (3 * EI) + b**3 / (3 * EI) + a * b**2 / GJ), rel=1e-8)


def test_fixed_portal():
    """Foot moments of a sway portal with fixed feet: (P h / 2)·(3k + 1)/(6k + 1), k = I_b h / (I_c l); exact for bars
    that do not stretch (frame formulas as Kleinlogel's, from memory)."""
    h, l_, ratio = 300.0, 450.0, 1.7
    stiff = replace(BAR, ea=1e6 * EA)  # hardly stretches: 3 EI / (EA h²) is 1e-9
    bars = [stiff, replace(stiff, name="beam", ends=(1, 2), ei=EI * ratio), replace(stiff, name="post", ends=(2, 3))]
    points = ((0, 0, 0), (0, 0, h), (l_, 0, h), (l_, 0, 0))
    _, forces = solved(points, bars, loads(4, (1, 0, F / 2), (2, 0, F / 2)), (*range(6), *range(18, 24)))
    k = ratio * h / l_
    assert np.linalg.norm(forces["a"][3:6, 0]) == pytest.approx(F * h / 2 * (3 * k + 1) / (6 * k + 1), rel=1e-8)


def test_a_released_end_carries_no_moment():
    """Propped cantilever, load P in the middle: the prop carries 5/16 P (exact)."""
    points = ((0, 0, 0), (L / 2, 0, 0), (L, 0, 0))
    bars = [BAR, Bar("b", (1, 2), EA, EI, GJ, soft=((10, math.inf), (11, math.inf)))]
    _, forces = solved(points, bars, loads(3, (1, 2, -F)), (*range(6), *range(12, 18)))
    assert forces["b"][9:, 0] == pytest.approx([0, 0, 0], abs=1e-6)
    assert np.linalg.norm(forces["b"][6:9, 0]) == pytest.approx(5 / 16 * F, rel=1e-9)


@settings(max_examples=25)
@given(st.tuples(*[st.floats(-3, 3)] * 3), st.integers(0, 5))
def test_a_turned_frame_moves_the_same(turn, freedom):
    from scipy.spatial.transform import Rotation

    matrix = Rotation.from_rotvec(turn).as_matrix()
    bar = replace(BAR, offset_mm=(30.0, 10.0), soft=((4, 1e-8), (5, 1e-8)))
    load = loads(2, (1, freedom, F))
    plain = solved(((0, 0, 0), (L, 0, 0)), [bar], load)[0][1, :, 0].reshape(2, 3)
    turned_load = loads(2)
    turned_load[1, :, 0] = (load[1, :, 0].reshape(2, 3) @ matrix.T).ravel()
    turned = solved([(0, 0, 0), matrix @ (L, 0, 0)], [bar], turned_load)[0][1, :, 0]
    assert turned.reshape(2, 3) @ matrix == pytest.approx(plain, rel=1e-7, abs=1e-9 * np.abs(plain).max())


def test_a_mechanism_is_refused_by_its_joint():
    points = ((0, 0, 0), (L, 0, 0), (2 * L, 0, 0))
    bars = [BAR, Bar("boom", (1, 2), EA, EI, GJ, soft=((4, math.inf), (5, math.inf)))]
    with pytest.raises(InputError, match="boom turns freely at point 1"):
        solved(points, bars, loads(3, (2, 2, F)))
    with pytest.raises(InputError, match="nothing holds"):
        solved(points[:2], [BAR], loads(2, (1, 2, F)), held=())
