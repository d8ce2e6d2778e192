"""Numbers as people type them, in the ways that SI brochure 9 (5.4.4), ISO 80000-1 and everyday use write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number

THIN, NARROW, FIXED = "\u2009", "\u202f", "\u00a0"


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("38,5", 38.5),
        ("38.5", 38.5),
        (" 38.5 ", 38.5),
        ("4", 4),
        ("+4", 4),
        ("−4,5", -4.5),
        ("007", 7),
        ("6,900", 6900),  # the rule for what is ambiguous: a comma before three digits sets off thousands
        ("6.900", 6.9),  # and a single point is the decimal mark
        ("1.086", 1.086),
        ("1,086", 1086),
        ("0,125", 0.125),
        ("00,125", 0.125),
        ("6,90", 6.9),
        ("6900,125", 6900.125),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1,234,567", 1234567),
        ("1.234.567", 1234567),
        ("6'900", 6900),
        ("6’900.50", 6900.5),
        (f"6{THIN}900", 6900),
        (f"6{NARROW}900,5", 6900.5),
        (f"12{FIXED}345{FIXED}678", 12345678),
        (",5", 0.5),
        ("5.", 5),
        ("1.5e-3", 0.0015),
        ("2E3", 2000),
    ],
)
def test_a_number_is_read_as_it_is_meant(text, number):
    assert read_number(text) == number


@pytest.mark.parametrize(
    "text",
    ["", "  ", "abc", "12 mm", "1,2,3", "1.2.3", "1 23", "1,23,456", "3/4", "nan", "inf", "--3", ".", "1e", "12%"],
)
def test_what_is_no_number_is_refused_with_the_reason(text):
    with pytest.raises(InputError, match="cannot be read as a number: type"):
        read_number(text)


@given(st.decimals(-(10**9), 10**9, places=2))
def test_every_way_of_writing_a_number_of_two_decimals_reads_back(value):
    point = f"{value:,.2f}"
    swapped = point.translate(str.maketrans(",.", ".,"))
    for text in (point, swapped, point.replace(",", " "), point.replace(",", "'"), f"{value:.2f}".replace(".", ",")):
        assert read_number(text) == float(value)
