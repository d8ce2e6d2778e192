"""From a plan to its days: its steps as visits that the scheduler leads through the calendar."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.workdays import HORIZON_DAYS, calendar_from, generic_calendar, past_horizon
from pourprint.plans.dispatch import Shop, schedule
from pourprint.plans.scheduler import Batches
from pourprint.plans.steps import Step

STEADY = 100  # batches, from which on each follows at the pace of the last half of them (within 1 %: tested)


@dataclass(frozen=True)
class Span:
    """One round of a step in the calendar, hours since the start [h]: `ready_h` to `begin_h` it waits for somebody or a
    machine, to `worked_h` hands work, to `ran_h` the machine runs and cools, to `unloaded_h` it is emptied, to `end_h`
    it dries or cools. `hands` are the stretches (from, to) in which somebody works at it, closed hours in between."""

    step: Step
    ready_h: float
    begin_h: float
    worked_h: float
    ran_h: float
    unloaded_h: float
    end_h: float
    hands: tuple[tuple[float, float], ...]


def spans_of(steps, rows, pieces, begin_h):
    """The rows of a schedule's log as Spans, hours since `begin_h`; `steps` of each visit."""
    hands = [[] for _ in rows]
    for row, *stretch in pieces:
        hands[int(row)].append(tuple(float(at_h - begin_h) for at_h in stretch))
    times = (rows[:, 3:] - begin_h).tolist()
    return [Span(steps[int(row[1])], *of, tuple(mine)) for row, of, mine in zip(rows, times, hands, strict=True)]


@dataclass(frozen=True)
class Walk:
    """A plan's work as visits: `hours` (5, V, n) of n different cases (rounds, and hands-on, run, unloading and waiting
    hours of each round), of one-off work, of a full batch and of a last partial one; `full` batches and whether there
    is such a `rest` (n,); `which` case each of the plan's results is."""

    steps: tuple[Step, ...]
    one_off: int
    hours: np.ndarray
    full: np.ndarray
    rest: np.ndarray
    which: np.ndarray

    @property
    def turns(self):
        """Which of the steps each visit is, (V,)."""
        return np.r_[: len(self.steps), self.one_off : len(self.steps)]

    def lead(self, calendar, begin_h, full, log=False):
        """Lead one-off work, then so many `full` batches of each case and the partial one through the calendar: as of
        `schedule`, the ends those of the cases (n,)."""
        visits, cases, once = self.turns.size, self.full.size, self.one_off > 0
        runs = np.append(0, np.cumsum(once + full + self.rest))
        case = np.repeat(np.arange(cases), np.diff(runs))
        turn = np.arange(runs[-1]) - runs[case] - once
        kind = np.where(turn < 0, 0, np.where(turn < full[case], 1, 2))
        edges = np.array([0, self.one_off, len(self.steps), visits])
        after = np.where((turn >= 0) & once, runs[case], -1)
        ready_h = np.where(after < 0, float(begin_h), np.inf)
        batches = Batches(case * visits + edges[kind], case * visits + edges[kind + 1], ready_h, after)
        hours = self.hours.swapaxes(1, 2).reshape(5, -1)
        ends, *noted = schedule(Shop(calendar), self.steps, np.tile(self.turns, cases), hours, batches, runs, log)
        return np.maximum.reduceat(ends, runs[:-1]), *noted

    def ends(self, calendar, begin_h):
        """When each case is done, (n,) [h]; beyond STEADY batches at the pace of the last half of them.

        Raises: InputError past the calendar's end.
        """
        ends, *_ = self.lead(calendar, begin_h, np.minimum(self.full, STEADY))
        if (self.full > STEADY).any():
            half, *_ = self.lead(calendar, begin_h, np.minimum(self.full, STEADY // 2))
            ends += (self.full - STEADY).clip(0) * (ends - half) / (STEADY - STEADY // 2)
            if ends.max() > 24 * HORIZON_DAYS:
                raise past_horizon()
        return ends


def walk_of(plan):
    """The Walk of a plan."""
    size, quantity, shape = plan.job.batch_size, plan.job.quantity, plan.shape
    first, rest = np.minimum(quantity, size), np.where(quantity > size, quantity % size, 0)
    one_off, each = plan.legs
    rows = [*plan.once, *plan.visits_of(first), *plan.visits_of(rest)]
    if shape:
        rows = [[np.broadcast_to(value, shape) for value in row] for row in rows]
    hours = np.array(rows, dtype=float).reshape(len(rows), 5, -1).swapaxes(0, 1)
    many = np.maximum(quantity // size, 1), rest > 0
    full, more = (np.broadcast_to(value * bool(each), shape).ravel() for value in many)
    which = np.zeros(full.size, int)
    if full.size > 1:  # what only prices tell apart takes the same days
        every = np.vstack([hours.reshape(-1, full.size), full, more])
        _, index, which = np.unique(every, axis=1, return_index=True, return_inverse=True)
        hours, full, more = hours[..., index], full[index], more[index]
    return Walk((*one_off, *each), len(one_off), hours, full, more.astype(int), which.ravel())


def days_of(plan):
    """Calendar days of a plan from its job's start to delivery, as `Plan.lead_time_days`."""
    calendar, begin_h = calendar_of(plan)
    walk = walk_of(plan)
    days = (walk.ends(calendar, begin_h) - begin_h) / 24 + plan.job.delivery_days
    return days[walk.which].reshape(plan.shape) if plan.shape else float(days[0])


def spans_and_days(plan):
    """The spans of the first batch, with its one-off work, and the days to delivery of a plan of single numbers."""
    calendar, begin_h = calendar_of(plan)
    walk = walk_of(plan)
    ends, rows, pieces = walk.lead(calendar, begin_h, np.minimum(walk.full, STEADY), log=True)
    if walk.full[0] > STEADY:
        ends = walk.ends(calendar, begin_h)
    spans = spans_of([walk.steps[turn] for turn in walk.turns], rows, pieces, begin_h)
    first = tuple(span for span, row in zip(spans, rows, strict=True) if row[0] <= (walk.one_off > 0))
    return first, float((ends[0] - begin_h) / 24 + plan.job.delivery_days)


def calendar_of(plan):
    """(Calendar, begin [h since its first midnight]) of a plan, from its job's start or from some Monday's opening."""
    hours = plan.rates.hours
    if plan.job.start is None:
        return generic_calendar(hours), hours.start_h
    midnight = dt.datetime.combine(plan.begin, dt.time())
    return calendar_from(hours, plan.begin.date().isoformat()), (plan.begin - midnight) / dt.timedelta(hours=1)
