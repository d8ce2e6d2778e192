"""The trade's arithmetic against published numbers, textbook formulas and direct counting."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.finish.machining import bore_stock_cm3, cutting_h, face_stock_cm3
from pourprint.process.freezing.solidification import Melt, Mould, shake_out_s
from pourprint.process.geometry import own_frame
from pourprint.process.heating import melt_kj_kg
from pourprint.process.packing import layers, per_bed
from pourprint.process.shell.hot_shell import knock_out_s

few = settings(max_examples=50)


# Layers ------------------------------------------------------------------------------------------------


def test_whole_heights_make_no_extra_layer():
    assert layers(3.0, 0.03) == 100  # 3/0.03 is 100.00000000000001 in floating point
    assert layers(np.array([0.3, 0.31, 0.6]), 0.3).tolist() == [1, 2, 2]


# Tolerances and bond gaps -----------------------------------------------------------------------------

DCTG = {  # ISO 8062-3:2007 (published), total mm, grades 4 to 13, by size above … up to
    (16, 25): [0.30, 0.42, 0.58, 0.82, 1.2, 1.7, 2.4, 3.2, 4.6, 6],
    (25, 40): [0.32, 0.46, 0.64, 0.9, 1.3, 1.8, 2.6, 3.6, 5, 7],
    (40, 63): [0.36, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8],
    (63, 100): [0.40, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2, 4.4, 6, 9],
    (100, 160): [0.44, 0.62, 0.88, 1.2, 1.8, 2.5, 3.6, 5, 7, 10],
}


@pytest.mark.parametrize(("sizes", "row"), DCTG.items())
def test_casting_tolerance_table(sizes, row):
    above, to = sizes
    for size in (above + 0.01, (above + to) / 2, to):  # the upper limit belongs to the row
        assert [float(casting_tolerance_mm(size, grade)) for grade in range(4, 14)] == row
    assert casting_tolerance_mm(size, np.arange(4, 14)).tolist() == row


@pytest.mark.parametrize(("size", "grade"), [(30, 3), (30, 14), (30, 5.5), (0, 5), (161, 5), (np.nan, 5)])
def test_outside_the_table_there_is_no_tolerance(size, grade):
    with pytest.raises(InputError):
        casting_tolerance_mm(size, grade)


@pytest.mark.parametrize(
    ("hole", "least", "most"),
    [
        (casting_tolerance_mm(30, 5), 0.060, 0.340),
        (casting_tolerance_mm(30, 9), -0.275, 0.675),  # the tube does not go in: must be machined
        (0.2, 0.125, 0.275),  # printed ±0.1
        (0.052, 0.162, 0.238),  # machined H9: IT9 of 18 to 30 mm is 52 µm (ISO 286, from memory)
    ],
)
def test_bond_gap_of_a_30_mm_tube(hole, least, most):
    # Radial gap 0.2 mm, tube ±0.05 mm: worst cases (exact).
    assert bond_gap_mm(0.2, hole, 0.1) == pytest.approx((least, most), abs=1e-9)


# Machining --------------------------------------------------------------------------------------------


def test_stock_in_a_bore_on_a_face_and_the_time_to_cut_it():
    assert bore_stock_cm3(20, 10, 1) == pytest.approx(np.pi / 4 * (2.0**2 - 1.8**2) * 1.0)
    assert bore_stock_cm3(2, 10, 3) == pytest.approx(np.pi / 4 * 0.2**2 * 1.0)  # cast shut: the whole bore
    assert face_stock_cm3(10, 0.7) == pytest.approx(0.7)
    assert cutting_h(3, 30, 0.1, 60) == pytest.approx(0.8)


# How many fit -----------------------------------------------------------------------------------------

side = st.integers(50, 1200)  # tenths of a millimetre: the direct count stays exact


@given(side, side, st.integers(0, 100))
@settings(max_examples=300)
def test_parts_on_a_bed_really_fit_and_one_more_row_would_not(x, y, gap):
    """Count one by one along each direction, both ways round."""

    def row(part, room):
        n = 0
        while (n + 1) * part + n * gap <= room:
            n += 1
        return n

    expected = max(row(x, 2501) * row(y, 2003), row(y, 2501) * row(x, 2003))
    box = (x / 10, y / 10, 30)
    assert per_bed(box, (250.1, 200.3), gap / 10) == expected


def test_a_box_exactly_as_large_as_the_bed_fits_once():
    assert per_bed((250, 200, 10), (250, 200), 5) == 1
    assert per_bed((251, 200, 10), (250, 200), 5) == 0


@given(side, side, side, st.floats(1, 1.5))
@few
def test_a_larger_part_never_fits_more_often(x, y, z, factor):
    small = np.array([x, y, z]) / 10
    for bed in ((250, 200), (300, 100)):
        assert per_bed(factor * small, bed, 5) <= per_bed(small, bed, 5)


# Machine hours and loans ------------------------------------------------------------------------------


def test_machine_hour_overlaps_the_published_band():
    # 1 000 000 over y years of 8760·u hours (exact). T. Simpson, Additive Manufacturing magazine (published):
    # about 30 to 50 an hour without overhead.
    low, high = pp.machine_hour(1_000_000, 5, 0.9), pp.machine_hour(1_000_000, 3, 0.7)
    assert (low, high) == pytest.approx((25.4, 54.4), abs=0.05)
    assert low < 50 and high > 30


def test_one_bad_share_of_hours_among_good_ones_is_refused():
    with pytest.raises(pp.InputError, match="must not pass 1"):
        pp.machine_hour(1_000_000, 5, np.array([0.5, 1.2]))


def test_annuity():
    # Hardly any interest: the price over the years (exact limit). A per cent number is refused.
    assert pp.annuity(800.0, 8, 1e-14) == pytest.approx(100, rel=1e-12)
    with pytest.raises(pp.InputError, match=r"0\.06 for 6%"):
        pp.annuity(800.0, 8, 6)
    payment = pp.annuity(500_000, 8, 0.06)  # exact
    assert payment == pytest.approx(80_517.97, abs=0.005)
    left = 500_000.0
    for _ in range(8):
        left = left * 1.06 - payment
    assert left == pytest.approx(0, abs=1e-6)  # the eighth payment clears the loan


# Cooling in the mould ---------------------------------------------------------------------------------


def cooled_s(melt, mould, out_c, modulus_mm, bar, cells=4):
    """When the middle of a wall, or of a long bar of the same V/A, is down to a temperature, by finite differences.

    The metal conducts as steel at most, which changes little beside the mould's resistance and saves steps.
    """
    reach = modulus_mm * (2 if bar else 1) / 1000
    step, thick = reach / cells, min(mould.thickness_mm / 1000, 40 * reach)
    r = (np.arange(round((reach + thick) / step)) + 0.5) * step
    metal = r < reach
    k = np.where(metal, min(melt.conductivity_w_mk, 15), mould.conductivity_w_mk)
    c, latent = melt.density_kg_m3 * melt.heat_j_kgk, melt.density_kg_m3 * melt.latent_j_kg
    held = np.where(metal, c, mould.density_kg_m3 * mould.heat_j_kgk)
    volume, area = (r**bar * step), ((np.arange(r.size - 1) + 1) * step) ** bar
    link = area / (step / 2 / k[:-1] + step / 2 / k[1:])
    outside = (reach + thick) ** bar * mould.loss_w_m2k
    hot = np.where(metal, melt.pour_c, mould.start_c).astype(float)
    heat, now, dt = held * hot + metal * latent, 0.0, 0.4 * np.min(held * step**2 / k / 2)
    solid, liquid = c * melt.solidus_c, c * melt.liquidus_c + latent
    while hot[0] > out_c:
        flow = link * np.diff(hot)
        gain = np.append(flow, -outside * (hot[-1] - mould.air_c)) - np.append(0, flow)
        heat, now = heat + dt * gain / volume, now + dt
        hot = np.where(
            metal,
            np.interp(
                heat, [0, solid, liquid, 2 * liquid], [0, melt.solidus_c, melt.liquidus_c, melt.liquidus_c + liquid / c]
            ),
            heat / held,
        )
    return now


@pytest.mark.parametrize("alloy", ["AlSi7Mg", "316L"])
def test_shake_out_lies_between_a_wall_and_a_bar_in_sand(alloy):
    """Against heat flow of its own: 20 to 27% early for a wall, three times late for a bar of the same V/A."""
    melt, sand, out_c = Melt.of(pp.alloys()[alloy]), Mould.sand(), 0.3 * pp.alloys()[alloy]["solidus"]
    said = shake_out_s(5, melt, sand, out_c)
    assert 0.70 < said / cooled_s(melt, sand, out_c, 5, bar=0) < 0.82
    assert 2.7 < said / cooled_s(melt, sand, out_c, 5, bar=1) < 3.6


@pytest.mark.parametrize(("alloy", "modulus_mm", "shell_mm"), [("AlSi7Mg", 7.5, 7.5), ("316L", 6.0, 12.0)])
def test_knock_out_lies_between_a_wall_and_a_bar_in_a_shell(alloy, modulus_mm, shell_mm):
    metal = pp.alloys()[alloy]
    melt, shell = Melt.of(metal), Mould.shell(shell_mm, start_c=0.63 * metal["solidus"], loss_w_m2k=20.0)
    said = knock_out_s(modulus_mm, melt, shell, 60.0)
    assert 0.85 < said / cooled_s(melt, shell, 60.0, modulus_mm, bar=0) < 0.93
    assert 1.2 < said / cooled_s(melt, shell, 60.0, modulus_mm, bar=1) < 1.45


@pytest.mark.parametrize("out_c", [20.0, 25.0, 600.0, np.array([100.0, 600.0])])
def test_a_mould_is_not_broken_at_a_temperature_that_never_comes_or_at_which_the_metal_is_liquid(out_c):
    melt = Melt.of(pp.alloys()["AlSi7Mg"])
    for refuse in (
        lambda: shake_out_s(5, melt, Mould.sand(), out_c),
        lambda: knock_out_s(5, melt, Mould.shell(7), out_c),
    ):
        with pytest.raises(InputError, match=r"solidus, 557 °C"):
            refuse()


def test_the_heat_in_a_melt():
    # A356 heated by 675 K to 700 °C: 1.0558 MJ/kg by the course's table of facts; one specific heat gives 1.6% less.
    assert melt_kj_kg(Melt.of(pp.alloys()["AlSi7Mg"], pour_c=700.0), 25.0) == pytest.approx(1055.8, rel=0.02)


def test_a_parts_own_box_is_the_least_though_its_largest_side_lies_aslant():
    """By hand: along (3, 2)/√13 the four corners reach 310/√13, across it 40/√13: 954 mm2 in place of 1140 mm2."""
    ends = [(x, y, z) for x, y in ((10, 30), (70, 60), (80, 80), (50, 60)) for z in (0, 200)]
    bar = trimesh.convex.convex_hull(np.array(ends, dtype=float))
    sides = np.ptp(bar.vertices @ own_frame(bar.vertices, bar.faces).T, axis=0)
    assert sides == pytest.approx([200, 310 / 13**0.5, 40 / 13**0.5])
