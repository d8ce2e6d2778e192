"""The working calendar: examples worked by hand, an independent clock, and what must always hold.

Monday 2 November 2026, 00:00 is hour 0; days run 8 to 16, Monday to Friday, unless a test says otherwise.
"""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import DAYS, WorkingHours, calendar_from
from pourprint.plans.scheduler import slot, stint
from scenes import ROUND_THE_CLOCK

MONDAY = "2026-11-02"
OFFICE = WorkingHours()
FRI, SAT, NEXT_MON = 96, 120, 168
TUESDAY_OFF = WorkingHours(holidays=(dt.date(2026, 11, 3),))
EVERY_DAY = WorkingHours(days=DAYS)


def floor(hours):
    """One person of some working hours, as the scheduler knows them, with nothing else to do."""
    days = [calendar_from(hours, MONDAY).listed]
    return SimpleNamespace(days=days, day_h=hours.day_h, people=[1], bookings=[], booked=[0])


def done(begin_h, hands_on_h, hours=OFFICE):
    return slot(floor(hours), 0, begin_h, hands_on_h, whole=False)[1]


def begun(begin_h, whole_h, hours=OFFICE):
    return stint(floor(hours), 0, begin_h, whole_h, whole=whole_h > 0)[0]


BY_HAND = [
    ("inside one day", 9, 3, OFFICE, 12),  # Mon 9 + 3
    ("comes before opening: starts at 8", 6, 1, OFFICE, 9),
    ("ends exactly at closing time, not the next morning", 8, 8, OFFICE, 16),
    ("ready exactly at closing time: starts the next morning", 16, 1, OFFICE, 24 + 9),
    ("split over two days", 14, 4, OFFICE, 24 + 10),  # Mon 14–16, Tue 8–10
    ("three days", 8, 20, OFFICE, 48 + 12),  # 8 + 8 + 4
    ("Friday night waits for Monday", FRI + 20, 1, OFFICE, NEXT_MON + 9),
    ("Saturday noon waits for Monday", SAT + 12, 2, OFFICE, NEXT_MON + 10),
    ("split over a weekend", FRI + 15, 3, OFFICE, NEXT_MON + 10),  # Fri 15–16, Mon 8–10
    ("a whole week", 8, 40, OFFICE, FRI + 16),
    ("a week and an hour", 8, 41, OFFICE, NEXT_MON + 9),
    ("a holiday is skipped", 14, 4, TUESDAY_OFF, 48 + 10),  # Mon 14–16, Wed 8–10
    ("ready on a holiday", 24 + 10, 1, TUESDAY_OFF, 48 + 9),
    ("seven days a week: Saturday works", FRI + 15, 3, EVERY_DAY, SAT + 10),
    ("round the clock nothing waits", FRI + 20, 30, ROUND_THE_CLOCK, FRI + 50),
    ("no work takes no time, even at night", SAT + 3.5, 0, OFFICE, SAT + 3.5),
    ("one short day a week", 9, 5, WorkingHours(("Wed",), 10, 12), 48 + 2 * NEXT_MON + 11),  # Wed 2 + 2 + 1
]


@pytest.mark.parametrize(("name", "begin", "hands_on", "hours", "end"), BY_HAND, ids=[row[0] for row in BY_HAND])
def test_examples_worked_by_hand(name, begin, hands_on, hours, end):
    assert done(begin, hands_on, hours) == pytest.approx(end, abs=1e-9)


@pytest.mark.parametrize(("at", "opens"), [(6, 8), (9.5, 9.5), (16, 32), (FRI + 16, NEXT_MON + 8), (SAT, NEXT_MON + 8)])
def test_opening_is_the_first_moment_when_someone_is_there(at, opens):
    assert float(calendar_from(OFFICE, MONDAY).opening(at)) == pytest.approx(opens)


WHOLE = [
    ("fits into what is left of the day", 9, 3, OFFICE, 9),
    ("just fits", 13, 3, OFFICE, 13),
    ("does not fit: the next morning", 14, 3, OFFICE, 24 + 8),
    ("before opening", 6, 3, OFFICE, 8),
    ("Friday afternoon: Monday", FRI + 14, 3, OFFICE, NEXT_MON + 8),
    ("Saturday: Monday", SAT + 3, 3, OFFICE, NEXT_MON + 8),
    ("the day after is a holiday", 14, 3, TUESDAY_OFF, 48 + 8),
    ("longer than a day begins with a day", 9, 10, OFFICE, 24 + 8),
    ("longer than a day, at opening time", 8, 10, OFFICE, 8),
    ("days that join up are one", 20, 10, ROUND_THE_CLOCK, 20),
]


@pytest.mark.parametrize(("name", "begin", "hands_on", "hours", "starts"), WHOLE, ids=[row[0] for row in WHOLE])
def test_a_pour_begins_only_when_it_fits(name, begin, hands_on, hours, starts):
    assert begun(begin, hands_on, hours) == pytest.approx(starts, abs=1e-9)
    assert float(calendar_from(hours, MONDAY).opening(begin, hands_on)) == pytest.approx(starts, abs=1e-9)


@given(st.floats(0, 400), st.floats(0.01, 8))
def test_what_fits_a_day_is_done_without_a_break_and_no_later_than_the_next_day(begin_h, hands_on_h):
    starts_h, opens_h = begun(begin_h, hands_on_h), begun(begin_h, 0.0)
    assert done(starts_h, hands_on_h) == pytest.approx(starts_h + hands_on_h, abs=1e-6)
    assert done(begin_h, hands_on_h) - 1e-6 <= starts_h + hands_on_h  # as if it could be split
    assert opens_h <= starts_h + 1e-6 <= opens_h + 72 + 8


def test_arrays_of_openings_are_those_of_single_numbers():
    begin, whole = np.array([6.0, 9.0, 14.0, 16.0, FRI + 14, SAT]), np.array([[0.0], [3.0], [10.0]])
    for hours in (OFFICE, TUESDAY_OFF, ROUND_THE_CLOCK):
        expected = [[begun(b, w, hours) for b in begin] for w in whole[:, 0]]
        assert calendar_from(hours, MONDAY).opening(begin, whole).tolist() == expected


def test_work_in_one_go_that_no_day_holds_goes_on_after_closing():
    assert stint(floor(OFFICE), 0, 8.0, 10.0, whole=True) == (8.0, 18.0)


def test_work_past_the_calendar_has_no_end():
    assert done(0.0, 1e6) == done(1e9, 1.0) == begun(1e9, 1.0) == np.inf


def test_open_spans_are_the_hours_in_which_someone_is_there():
    office = calendar_from(OFFICE, MONDAY)
    # Fri 15:00 to Mon 10:00: an hour on Friday, two on Monday; a Saturday holds none.
    assert office.open_spans(FRI + 15, NEXT_MON + 10) == [(FRI + 15, FRI + 16), (NEXT_MON + 8, NEXT_MON + 10)]
    assert office.open_spans(SAT, SAT + 20) == office.open_spans(9, 9) == []
    assert calendar_from(ROUND_THE_CLOCK, MONDAY).open_spans(20, 30) == [(20, 24), (24, 30)]


@given(st.floats(0, 400), st.floats(0.1, 100))
def test_open_spans_add_up_to_the_work_between_begin_and_finish(begin_h, hands_on_h):
    office = calendar_from(OFFICE, MONDAY)
    spans = office.open_spans(begin_h, done(begin_h, hands_on_h))
    assert sum(to_h - from_h for from_h, to_h in spans) == pytest.approx(hands_on_h, abs=1e-6)


hours_of_work = st.builds(
    lambda days, start, length, off: WorkingHours(
        tuple(sorted(days, key=DAYS.index)), start / 4, (start + length) / 4, tuple(off)
    ),
    st.sets(st.sampled_from(DAYS), min_size=1),
    st.integers(0, 60),
    st.integers(1, 36),
    st.sets(st.dates(dt.date(2026, 11, 2), dt.date(2026, 11, 20)), max_size=4),
)
quarters = st.integers(0, 4 * 24 * 12)  # a quarter of an hour is the grid of the independent clock
work = st.integers(1, 4 * 60)
few = settings(max_examples=60)


@few
@given(hours_of_work, quarters, work)
def test_an_independent_clock_that_ticks_every_quarter_hour_agrees(hours, begin, amount):
    tick, left = begin, amount
    while left:
        day, quarter = divmod(tick, 96)
        date = dt.date(2026, 11, 2) + dt.timedelta(days=day)
        there = DAYS[date.weekday()] in hours.days and date not in hours.holidays
        left -= there and 4 * hours.start_h <= quarter < 4 * hours.end_h
        tick += 1
    assert done(begin / 4, amount / 4, hours) == pytest.approx(tick / 4, abs=1e-6)


@few
@given(hours_of_work, quarters, quarters, work, work)
def test_a_later_start_or_more_work_never_ends_earlier(hours, a, b, less, more):
    (a, b), (less, more) = sorted((a, b)), sorted((less, more))
    assert done(a / 4, less / 4, hours) <= done(b / 4, more / 4, hours) + 1e-6


@few
@given(hours_of_work, quarters, st.floats(0.01, 30), st.floats(0.01, 30))
def test_work_in_two_pieces_ends_when_the_whole_does(hours, begin, first, second):
    in_two = done(done(begin / 4, first, hours), second, hours)
    assert in_two == pytest.approx(done(begin / 4, first + second, hours), abs=1e-6)


@few
@given(hours_of_work, quarters, st.floats(0.01, 60))
def test_work_ends_within_working_hours_and_takes_at_least_its_own_time(hours, begin, amount):
    end = done(begin / 4, amount, hours)
    day, of_day = divmod(end - 1e-6, 24)  # just before the end someone is at work
    date = dt.date(2026, 11, 2) + dt.timedelta(days=int(day))
    assert DAYS[date.weekday()] in hours.days and date not in hours.holidays
    assert hours.start_h - 1e-5 <= of_day <= hours.end_h
    assert end >= begin / 4 + amount - 1e-6


def test_a_job_past_the_calendar_is_refused_in_a_sentence():
    with pytest.raises(InputError, match="years"):
        calendar_from(OFFICE, MONDAY).opening(1e9)


@pytest.mark.parametrize("hours", [OFFICE, TUESDAY_OFF, EVERY_DAY, ROUND_THE_CLOCK, replace(OFFICE, start_h=7.5)])
def test_hours_written_for_a_card_read_back_the_same(hours):
    assert WorkingHours.from_toml(hours.as_toml()) == (hours, [])


def test_a_working_day_is_told_as_numpy_tells_it_whatever_a_locale_calls_it():
    hours = WorkingHours(("Mon", "Wed", "Sat"), holidays=(dt.date(2026, 12, 26), dt.date(2027, 1, 6)))
    days = [dt.date(2026, 12, 1) + dt.timedelta(days=n) for n in range(400)]
    told = np.is_busday(np.array(days, "datetime64[D]"), "1010010", np.array(hours.holidays, "datetime64[D]"))
    assert [hours.works(day) for day in days] == told.tolist()
    assert 0 < told.sum() < 400 * 3 / 7
