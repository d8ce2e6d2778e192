"""One account of failures for every answer: what they add to a plan's cost and days in the mean.

Every input stands at its value here; runs in which inputs are drawn too are in `risk/simulation`.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pourprint.plans.steps import JOB
from pourprint.risk.rework import rework

MANY_PIECES = 150  # in a batch: beyond, shares are read from smaller batches
AT_VALUES = "failures in the mean, every input at its value"  # what the numbers say of themselves


@dataclass(frozen=True)
class Expected:
    """A job with its failures, in the mean: `cost` [currency] and calendar `days` [d]."""

    cost: float
    days: float


def expected(plan, start=None):
    """Mean cost and days of a plan with failures and rework, without drawing anything: Expected.

    Cost is exact (`rework`). Days are an estimate: the first batch's exact extra hours by the clock, stretched as its
    own hours are by nights and closed days, and further batches longer by the share of work that is done again; for
    one batch within a tenth of simulated means, for many within a fifth (demo kit).
    Parameters: `plan` of single numbers; `start` date and time (default: some Monday). Raises: InputError.
    """
    found, days = rework(plan), plan.days(start)
    first = plan.at(quantity=min(plan.job.quantity, plan.job.batch_size))
    one_off, each = plan.legs
    clock_h = sum(rounds * sum(hours) for rounds, *hours in first.visits_of(first.job.quantity))
    once_h = sum(work.held_h + work.wait_h for step in one_off for work in step.work)
    batch = replace(first, steps=tuple(replace(s, work=tuple(w for w in s.work if w.level is not JOB)) for s in each))
    longer = (found.clock_h - once_h - clock_h) / clock_h * batch.days()
    later = (days - first.days(start)) * (found.cost / found.failure_free_cost - 1)
    return Expected(found.cost, float(days + longer + later))


class Shares(NamedTuple):
    """What failures make of a plan: `cost` and `days` with them over those without [-]."""

    cost: float = 1.0
    days: float = 1.0


def shares(plan, start=None):
    """What failures make of a plan's cost and days: Shares.

    Parameters, raises: as for `expected`, which it asks; for batches of more than MANY_PIECES it asks for batches of
    so many and of half as many, and reads on along one over the pieces: for a batch of four times as many within 4 % of
    the exact cost and a quarter of the days, of ten times within 5 % and 40 % (demo kit).
    """
    job = plan.job
    most = max(2, MANY_PIECES // job.kit.nodes)
    kits = min(job.quantity, job.batch_size)
    if kits <= most:
        return _exact(plan, start)
    half, full = (_exact(plan.at(quantity=n, batch_size=n), start) for n in (most // 2, most))
    return Shares(*(_read_on(most // 2, most, kits, *ends) for ends in zip(half, full, strict=True)))


def _read_on(half, full, kits, at_half, at_full):
    """A share at more kits: what failures add falls on as a power of the kits, as it does from half to full."""
    first, last = at_half - 1, at_full - 1
    if min(first, last) <= 0:
        return at_full
    return 1 + last * (kits / full) ** min(np.log(last / first) / np.log(full / half), 0.0)


def _exact(plan, start):
    mean = expected(plan, start)
    return Shares(mean.cost / plan.total_cost, mean.days / plan.days(start))
