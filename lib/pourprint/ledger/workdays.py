"""The working calendar: hands-on work only when someone is there; machines and drying run day and night.

Times are hours since midnight before the start [h]; days of work are all of one length.
Not valid for shifts that pass midnight or differ from day to day.
"""

import datetime as dt
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Annotated

import numpy as np
from pydantic import AfterValidator

from pourprint.ledger.checks import validated
from pourprint.ledger.errors import Infeasible, InputError

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HORIZON_DAYS = 20 * 365  # how far a calendar looks ahead
OPENS, BEFORE, SHIFT = range(3)  # what it knows of each day


def _hour_of(text):
    """Hours [h] of a time of the day such as "08:00"; midnight at its end is "24:00". Raises: ValueError."""
    try:
        time = dt.time.fromisoformat(text)
    except ValueError:
        time = None
    if text != "24:00" and (time is None or time.second or time.tzinfo):
        raise ValueError(f'must be a time such as "08:00", not {text!r}')
    return time.hour + time.minute / 60 if time else 24.0


def _clock(hour):
    """Hours of the day [h] as "HH:MM"."""
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@dataclass(frozen=True)
class WorkingHours:
    """When someone is there: the days of the week, from and to [h of the day], and holidays."""

    days: tuple[str, ...] = DAYS[:5]
    start_h: float = 8.0
    end_h: float = 16.0
    holidays: tuple[dt.date, ...] = ()

    def __post_init__(self):
        for name in ("days", "holidays"):  # a list is welcome too
            if isinstance(getattr(self, name), list):
                object.__setattr__(self, name, tuple(getattr(self, name)))
        faults = self._faults()
        if faults:
            raise InputError("; ".join(faults) + ".")

    def _faults(self):
        faults = []
        days, times = self.days, (self.start_h, self.end_h)
        if not (isinstance(days, tuple) and days and set(map(str, days)) <= {*DAYS} and len({*days}) == len(days)):
            faults.append(f"days must name each working day once, of {', '.join(DAYS)}, not {days!r}")
        if not all(type(time) in (int, float) for time in times) or not 0 <= times[0] < times[1] <= 24:
            faults.append(f"start must be before end, from 0 to 24 h, not {times[0]!r} and {times[1]!r}")
        if not isinstance(self.holidays, tuple) or any(type(day) is not dt.date for day in self.holidays):
            faults.append(f"holidays must be a list of dates such as [2026-12-25], not {self.holidays!r}")
        return faults

    @property
    def day_h(self):
        """Length of a working day [h]."""
        return self.end_h - self.start_h

    def works(self, day):
        """Whether a date is a working day and no holiday; no locale is asked for the names of days."""
        return DAYS[day.weekday()] in self.days and day not in self.holidays

    @classmethod
    def from_toml(cls, table):
        """(WorkingHours, faults) from the [hours] table of a rate card."""
        hours, faults = validated(_from_texts, table, "hours")
        return hours or cls(), faults

    def as_toml(self):
        """The [hours] table as plain values."""
        return {
            "days": list(self.days),
            "start": _clock(self.start_h),
            "end": _clock(self.end_h),
            "holidays": list(self.holidays),
        }


Hour = Annotated[str, AfterValidator(_hour_of)]


def _from_texts(days: list[str] = DAYS[:5], start: Hour = 8.0, end: Hour = 16.0, holidays: list[dt.date] = ()):
    return WorkingHours(tuple(days), start, end, tuple(holidays))


@dataclass(frozen=True)
class Calendar:
    """Working hours laid on real dates from `first_day` on; times are hours since its midnight [h]."""

    hours: WorkingHours
    first_day: np.datetime64

    @cached_property
    def days(self):
        """A row for each day and the one past the last, hours since the first midnight [h], (days + 1, 3).

        Of that day the first opening from its midnight on (infinite where there is none any more) and hours worked
        before it; of the working day of that number what to add to the hours worked up to some moment of it to get that
        moment (infinite past the last one): columns OPENS, BEFORE, SHIFT.
        """
        mask = [day in self.hours.days for day in DAYS]
        holidays = np.array(self.hours.holidays, dtype="datetime64[D]")
        days = np.arange(HORIZON_DAYS + 1)
        there = np.flatnonzero(np.is_busday(self.first_day + days[:-1], weekmask=mask, holidays=holidays))
        number, worked = np.searchsorted(there, days), days * self.hours.day_h  # of working days before each
        opening = np.append(24.0 * there + self.hours.start_h, np.full(days.size - there.size, np.inf))
        return np.stack([opening[number], worked[number], opening - worked], axis=1)

    @cached_property
    def listed(self):
        """The `days` as lists, which are quicker one number at a time."""
        return self.days.tolist()

    def opening(self, at_h, whole_h=0.0):
        """First moment at or after a time when somebody is there, for so many hours in one go if a day holds them.

        Parameters: `at_h`, `whole_h` [h], broadcast. Returns: [h]. Raises: InputError past the calendar's horizon.
        """
        opening, day_h, at_h = self.days[:, OPENS], self.hours.day_h, np.asarray(at_h, dtype=float)
        day = self._day(at_h)
        opens_h, next_h, begin_h = opening[day], opening[day + 1], np.maximum(at_h, opening[day])
        # The slack absorbs rounding: at closing time the next opening is meant. Only over a night is anything put off.
        late = (begin_h + np.maximum(whole_h, 2e-9) > opens_h + day_h + 1e-9) & (next_h > opens_h + day_h)
        begin_h = np.where(late & (begin_h > opens_h + 1e-9), next_h, begin_h)
        if np.isinf(begin_h).any():
            raise past_horizon()
        return begin_h

    def _day(self, at_h):
        """The day of each time. Raises: InputError past the calendar's horizon."""
        day = (at_h * (1 / 24)).astype(int)
        if np.any(day >= HORIZON_DAYS):
            raise past_horizon()
        return day

    def open_spans(self, begin_h, end_h):
        """When someone is there between two times: [(from, to)], each [h]. Raises: InputError, as `opening`."""
        spans, at_h = [], begin_h
        while (opens_h := float(self.opening(at_h))) < end_h - 1e-9:
            at_h = min(24 * (opens_h // 24) + self.hours.end_h, end_h)
            spans.append((opens_h, at_h))
        return spans


@cache
def calendar_from(hours, first_day):
    """The Calendar of some WorkingHours from a day on, made once (its tables cover twenty years)."""
    return Calendar(hours, np.datetime64(first_day, "D"))


def generic_calendar(hours):
    """A calendar that starts on some Monday and knows no holidays, for plans without a start date."""
    return calendar_from(replace(hours, holidays=()), "2001-01-01")


def past_horizon():
    """The Infeasible of a job that runs past the end of the calendar."""
    return Infeasible(
        f"the job runs past {HORIZON_DAYS // 365} years: make fewer, or check the step times and working hours."
    )


def moment_of(start):
    """A start given as "2026-11-25T08:00", date or datetime as a datetime. Raises: InputError."""
    try:
        moment = dt.datetime.fromisoformat(start if isinstance(start, str) else start.isoformat())
    except (ValueError, AttributeError):
        raise InputError(f'start must be a date and time such as "2026-11-25T08:00", not {start!r}.') from None
    if moment.tzinfo:
        raise InputError(f"start must be local time without a time zone, not {start!r}.")
    return moment


def end_of(day):
    """A deadline as a datetime: a date means its end."""
    moment = moment_of(day)
    return moment + dt.timedelta(days=moment.time() == dt.time())


def begin_of(start, hours):
    """When work may begin, as a datetime: at the start's own hour, or on a date alone when the lab opens."""
    moment = moment_of(start)
    return moment if moment.time() != dt.time() else moment + dt.timedelta(hours=hours.start_h)
