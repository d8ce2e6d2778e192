"""The trade's arithmetic against published numbers, textbook formulas and direct counting."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.errors import Infeasible, InputError
from pourprint.process.feeding import cylinder_cm3, feeder_diameter_mm, feeder_volume_cm3
from pourprint.process.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.machining import bore_stock_cm3, cutting_h, face_stock_cm3
from pourprint.process.packing import per_bed, per_cluster, per_stack
from pourprint.process.powder_bed import energy_density_j_mm3, exposure_h, recoating_h, volume_rate_mm3_s
from pourprint.process.sand_printing import block_mm, layers, printing_rate_l_h
from pourprint.process.shell import by_size, drying_h, shell_mass_kg

few = settings(max_examples=50, deadline=None)


# Laser powder bed -------------------------------------------------------------------------------------


def test_volume_rate_and_energy_density():
    # Complexity 2018, article 6910187, Table 2 (published): 300 W, 2000 mm/s, 0.12 mm, 0.02 mm.
    assert volume_rate_mm3_s(2000, 0.12, 0.02) == pytest.approx(4.8)
    assert volume_rate_mm3_s(2000, 0.12, 0.02) * 3.6 == pytest.approx(17.28)  # cm3/h
    assert energy_density_j_mm3(300, 2000, 0.12, 0.02) == pytest.approx(62.5)


@pytest.mark.parametrize(("lasers", "mm3_s", "cm3_h"), [(4, 18.1, 260.6), (1, 5.0, 18.0)])
def test_data_sheet_rates_in_an_hour(lasers, mm3_s, cm3_h):
    # EOS machine data sheets (published): AlSi10Mg with four lasers "up to 261 cm3/h"; Ti-6Al-4V 18 cm3/h.
    assert 1 / exposure_h(1, lasers * mm3_s) == pytest.approx(cm3_h, abs=0.05)


def test_build_time_of_a_tall_small_part():
    # 100 cm3, 100 mm tall, 30 µm, 5.1 mm3/s (EOS data sheet, published), 10 s a layer (assumed); exact arithmetic.
    assert exposure_h(100, 5.1) == pytest.approx(100_000 / 5.1 / 3600)
    assert exposure_h(100, 5.1) == pytest.approx(5.447, abs=5e-4)
    assert layers(100, 0.03) == 3334
    assert recoating_h(100, 0.03, 10) == pytest.approx(9.26, abs=5e-3)  # height, not volume, rules
    assert exposure_h(100, 5.1) + recoating_h(100, 0.03, 10) == pytest.approx(14.71, abs=5e-3)


def test_whole_heights_make_no_extra_layer():
    assert layers(3.0, 0.03) == 100  # 3/0.03 is 100.00000000000001 in floating point
    assert layers(np.array([0.3, 0.31, 0.6]), 0.3).tolist() == [1, 2, 2]


# Printed sand -----------------------------------------------------------------------------------------


def test_sand_printing_rate_and_box():
    assert printing_rate_l_h(4 * 2, 15.4) == pytest.approx(123.2)  # machine data, from memory; closes
    assert np.prod([1800, 1000, 700]) / 1e6 == 1260  # L, a published job box


def test_a_mould_block_is_box_and_walls_and_feeder():
    assert block_mm((100, 80, 60), 30, 50).tolist() == [160, 140, 170]
    # Walls as an array are walls of several moulds, not the three sides of one.
    assert block_mm((100, 80, 60), np.array([20, 30, 50]), 0)[:, 0].tolist() == [140, 160, 200]


# Ceramic shell ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("interval", "days"), [(1, 17), (8, 52), (24, 132)])
def test_shell_calendar_of_the_drying_trial(interval, days):
    # Published drying trial at 50 % humidity: five intervals, then 12 h.
    assert drying_h(5, interval, 12) == days


def test_shell_thickness_and_coats_grow_with_size_between_the_published_ends():
    # Foundry guides (published): 8 to 12 dips, 4.8 to 16 mm.
    assert by_size([60, 180, 300], 60, 300, 4.8, 16).tolist() == pytest.approx([4.8, 10.4, 16])
    assert by_size([10, 1000], 60, 300, 8, 12).tolist() == [8, 12]
    with pytest.raises(InputError):
        by_size(100, 200, 200, 8, 12)


def test_shell_mass_is_area_times_thickness_times_density():
    assert shell_mass_kg(1000, 5, 1.8) == pytest.approx(0.9)  # 1000 cm2 · 0.5 cm · 1.8 g/cm3


# Feeders ----------------------------------------------------------------------------------------------


@given(st.floats(1, 50), st.floats(1.0, 1.5), st.floats(0.8, 2.0))
@few
def test_feeder_modulus_is_the_asked_multiple_of_the_castings(modulus, ratio, slender):
    d = feeder_diameter_mm(modulus, ratio, slender)
    h = slender * d
    own = (np.pi / 4 * d**2 * h) / (np.pi * d * h + 2 * np.pi / 4 * d**2)  # V/A of a closed cylinder (exact)
    assert own == pytest.approx(ratio * modulus)


def test_feeder_textbook_values():
    # Cylinder H = D has modulus D/6, H = 1.5 D has 0.1875 D (exact). A 60 mm cube: V/A 10, feeder 12, D = 72 mm.
    assert feeder_diameter_mm(10, 1.2, 1.0) == pytest.approx(72)
    assert feeder_diameter_mm(0.1875, 1.0, 1.5) == pytest.approx(1)
    assert cylinder_cm3(10, 10) == pytest.approx(np.pi / 4)


@pytest.mark.parametrize(("shrinkage", "share", "digits"), [(0.066, 0.892, 3), (0.042, 0.43, 2), (0.03, 0.273, 3)])
def test_feeder_volume_by_the_metal_it_must_give(shrinkage, share, digits):
    # Campbell, Castings (from memory): aluminium, magnesium, steel at 14 % efficiency, in the digits given there.
    assert round(float(feeder_volume_cm3(1, shrinkage)), digits) == share
    volume = feeder_volume_cm3(100, shrinkage)
    assert 0.14 * volume == pytest.approx(shrinkage * (100 + volume))  # what it gives feeds part and feeder


def test_a_feeder_that_gives_less_than_the_alloy_takes_is_refused():
    with pytest.raises(Infeasible):
        feeder_volume_cm3(100, 0.066, 0.05)


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


@given(side, side, side, st.integers(0, 100))
@settings(max_examples=300, deadline=None)
def test_parts_on_a_bed_really_fit_and_one_more_row_would_not(x, y, z, gap):
    """Count one by one along each direction, both ways round."""

    def row(part, room):
        n = 0
        while (n + 1) * part + n * gap <= room:
            n += 1
        return n

    expected = max(row(x, 2501) * row(y, 2003), row(y, 2501) * row(x, 2003))
    box = (x / 10, y / 10, z / 10)
    assert per_bed(box, (250.1, 200.3), gap / 10) == expected
    assert per_stack(box, (250.1, 200.3, 180), gap / 10) == expected * row(z, 1800)


def test_a_box_exactly_as_large_as_the_bed_fits_once():
    assert per_bed((250, 200, 10), (250, 200), 5) == 1
    assert per_bed((251, 200, 10), (250, 200), 5) == 0


def test_a_cluster_counted_by_hand():
    # Part 60 × 40 × 20 on a 30 mm runner of 300 mm, gap 15: the ring at mid-length is π(30 + 60) = 282.7 mm,
    # 282.7/(40 + 15) → 5 a ring; (300 + 15)/(20 + 15) = 9 tiers; outside diameter 30 + 2·60 = 150.
    assert per_cluster((60, 40, 20), 30, 300, 420, 15) == 45
    assert per_cluster((20, 60, 40), 30, 300, 420, 15) == 45  # however the box lies
    assert per_cluster((60, 40, 20), 30, 300, 149, 15) == 0


@given(side, side, side, st.floats(1, 1.5))
@few
def test_a_larger_part_never_fits_more_often(x, y, z, factor):
    small = np.array([x, y, z]) / 10
    for bed, room in ((250, 200), (250, 200, 180)), ((300, 100), (300, 100, 90)):
        assert per_bed(factor * small, bed, 5) <= per_bed(small, bed, 5)
        assert per_stack(factor * small, room, 5) <= per_stack(small, room, 5)


# Machine hours and loans ------------------------------------------------------------------------------


def test_machine_hour_overlaps_the_published_band():
    # 1 000 000 over y years of 8760·u hours (exact). T. Simpson, Additive Manufacturing magazine (published):
    # about 30 to 50 an hour without overhead.
    low, high = pp.machine_hour(1_000_000, 5, 0.9), pp.machine_hour(1_000_000, 3, 0.7)
    assert (low, high) == pytest.approx((25.4, 54.4), abs=0.05)
    assert low < 50 and high > 30


def test_annuity():
    payment = pp.annuity(500_000, 8, 0.06)  # exact
    assert payment == pytest.approx(80_517.97, abs=0.005)
    left = 500_000.0
    for _ in range(8):
        left = left * 1.06 - payment
    assert left == pytest.approx(0, abs=1e-6)  # the eighth payment clears the loan
