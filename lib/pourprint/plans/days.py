"""From a plan to its days: its steps as visits that the scheduler leads through the calendar."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.workdays import HORIZON_DAYS, calendar_from, generic_calendar, past_horizon
from pourprint.plans.dispatch import schedule
from pourprint.plans.steps import Step

STEADY = 100  # batches, from which on each follows at the pace of the last half of them (within 1%: tested)


@dataclass(frozen=True)
class Span:
    """One round of a step in the calendar, hours since the start [h]: `ready_h` to `begin_h` it waits for somebody or a
    machine, to `worked_h` hands work, at `starts_h` the machine starts (late where a clock starts it so that the next
    step falls in working hours), to `ran_h` it runs and cools, to `unloaded_h` it is emptied, to `end_h` it dries or
    cools. `hands` are the stretches (from, to) in which somebody works at it, closed hours in between."""

    step: Step
    ready_h: float
    begin_h: float
    worked_h: float
    starts_h: float
    ran_h: float
    unloaded_h: float
    end_h: float
    hands: tuple[tuple[float, float], ...]


def spans_of(steps, runs_h, log, begin_h):
    """{(batch, visit, round): Span, hours since `begin_h`} of a schedule's log; `steps` of each visit, and `runs_h` how
    long its machine runs in a round [h]."""
    spans = {}
    for (batch, stretch, turn), times in log.items():
        if stretch % 2 == 0:  # followed by the stretch in which it is emptied
            ready_h, *set_up, ran_h = (float(at_h - begin_h) for at_h in times)
            _, *unloaded, end_h = (float(at_h - begin_h) for at_h in log[batch, stretch + 1, turn])
            by_hand, visit = iter([*set_up, *unloaded]), stretch // 2
            hands = tuple((from_h, to_h) for from_h, to_h in zip(by_hand, by_hand, strict=True) if to_h > from_h)
            starts_h = max(set_up[-1], ran_h - float(runs_h[visit]))
            times = ready_h, set_up[0], set_up[-1], starts_h, ran_h, unloaded[-1], end_h
            spans[batch, visit, turn] = Span(steps[visit], *times, hands)
    return spans


def days_of(plan, log=None):
    """Calendar days of a plan from its job's start to delivery, as `Plan.lead_time_days`; `log` as of `schedule`."""
    (ends, full), (_, begin_h) = _led(plan, STEADY, log), calendar_of(plan)
    if (full > STEADY).any():
        half, _ = _led(plan, STEADY // 2)
        ends += (full - STEADY).clip(0) * (ends - half) / (STEADY - STEADY // 2)
        if ends.max() > 24 * HORIZON_DAYS:
            raise past_horizon()
    days = (ends - begin_h) / 24 + plan.job.delivery_days
    return days.reshape(plan.shape) if plan.shape else float(days[0])


def _led(plan, most, log=None):
    """Lead a plan's batches through the calendar, full ones up to a number: (when the job is done [h], its full batches
    [-]), each as many as the plan's results."""
    (calendar, begin_h), quantity, (one_off, each) = calendar_of(plan), plan.job.quantity, plan.once_and_each
    size, steps, once = plan.job.batch_size if each else quantity, (*one_off, *each), len(one_off)
    # The visits of a case: one-off work, a batch, a last partial one. The first batch makes those of both at first.
    first, rest = np.minimum(quantity, size), np.where(quantity > size, quantity % size, 0)
    kinds = plan.visits_of(one_off, 1), plan.visits_of(each, first), plan.visits_of(each, rest)
    hours = (value for rows in kinds for row in rows for value in row)
    values = [*hours, np.maximum(quantity // size, 1), rest > 0]
    table = np.empty((*plan.shape, len(values)))
    for i, value in enumerate(values):
        table[..., i] = value
    cases, which = table.reshape(-1, len(values)), np.zeros(1, int)
    if plan.shape:  # what only prices tell apart is one case; rows are told apart by their bytes, which is quick
        rows = cases.view((np.void, cases[0].nbytes)).ravel()
        _, one, which = np.unique(rows, return_index=True, return_inverse=True)
        cases = cases[one]
    (full, more), hours = cases[:, -2:].T.astype(int), cases[:, :-2].reshape(-1, 5).T
    whole, visits = len(steps), len(steps) + len(each)
    led = np.minimum(full, most)
    runs = np.append(0, np.cumsum(led + more))
    case = np.repeat(np.arange(full.size), np.diff(runs))
    turn = np.arange(runs[-1]) - runs[case]
    kind = np.where(turn == 0, 0, np.where(turn < led[case], 1, 2))
    from_, to = (visits * case + np.array(at)[kind] for at in ((0, once, whole), (whole, whole, visits)))
    batches = from_, to, begin_h, np.where((turn > 0) & (once > 0), runs[case], -1), from_ + once
    visited = np.tile(np.r_[:whole, once:whole], full.size)
    ends = schedule(lambda who: calendar, steps, visited, hours, batches, runs, log=log)
    return np.maximum.reduceat(ends, runs[:-1])[which.ravel()], full[which.ravel()]


def spans_and_days(plan):
    """Of a plan of single numbers the spans of the first batch with its one-off work, the days to delivery, and the log
    of all batches, as of `schedule`."""
    log = {}
    days, (_, begin_h) = days_of(plan, log), calendar_of(plan)
    first = {place: times for place, times in log.items() if place[0] == 0}
    one_off, each = plan.once_and_each
    visits = plan.visits_of(one_off, 1) + plan.visits_of(each, min(plan.job.quantity, plan.job.batch_size))
    runs_h = [run_h for _, _, run_h, _, _ in visits]
    return tuple(spans_of(one_off + each, runs_h, first, begin_h).values()), days, log


def calendar_of(plan):
    """(Calendar, begin [h since its first midnight]) of a plan, from its job's start or from some Monday's opening."""
    hours = plan.rates.hours
    if plan.job.start is None:
        return generic_calendar(hours), hours.start_h
    midnight = dt.datetime.combine(plan.begin, dt.time())
    return calendar_from(hours, plan.begin.date().isoformat()), (plan.begin - midnight) / dt.timedelta(hours=1)
