"""One account of failures for every answer: what they add to a plan's cost and days in the mean.

Every input stands at its value here; runs in which inputs are drawn too are in `risk/simulation`.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pourprint.plans.steps import JOB
from pourprint.risk.rework import rework

MANY_PIECES = 150  # in a batch: beyond, shares are read from smaller batches
KNOTS = (1, 2, 5, 10, 20, 50, 100, 200)  # numbers of kits at which shares are asked for; between, they are read


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
    """What failures make of a plan's cost and days: Shares. Parameters, raises, limits: as for `shares_along`."""
    if _pieces(plan) <= MANY_PIECES:
        return _exact(plan, start)
    key = "quantity" if plan.job.all_at_once else "batch_size"
    return Shares(*shares_along(plan, key, start).at(getattr(plan.job, key)))


@dataclass(frozen=True)
class SharesAlong:
    """What failures make of a plan at some `kits` (k,), rising, wanted or in a batch: `shares` (2, k) of cost, days."""

    kits: np.ndarray
    shares: np.ndarray

    def at(self, kits):
        """Shares at any number of kits, (n,) each; beyond the last what failures add falls on as a power of them."""
        beyond = np.maximum(np.asarray(kits) / self.kits[-1], 1.0)
        found = []
        for known in self.shares:
            inside, power = np.interp(np.log(kits), np.log(self.kits), known), 0.0
            if len(known) > 1 and known[-2] > known[-1] > 1:
                power = np.log((known[-1] - 1) / (known[-2] - 1)) / np.log(self.kits[-1] / self.kits[-2])
            found.append(1 + (inside - 1) * beyond**power)
        return Shares(*found)


def shares_along(plan, key, start=None):
    """What failures make of a plan along its "quantity" or "batch_size": SharesAlong.

    It asks `expected` at a few numbers of kits, the plan's own among them, of at most MANY_PIECES in a batch. Read
    beyond, at ten times as many pieces, cost is within 5 %, days within 12 %, of patterns within 25 % (demo kit).
    Parameters, raises: as for `expected`.
    """
    known, most = {}, KNOTS[-1] if key == "quantity" else plan.job.quantity
    for kits in sorted({getattr(plan.job, key), *(n for n in KNOTS if n <= most)}):
        asked = plan.at(**{key: kits})
        if kits <= 2 or _pieces(asked) <= MANY_PIECES:
            known[kits] = _exact(asked, start)
    return SharesAlong(np.array([*known], dtype=float), np.transpose([*known.values()]))


def _pieces(plan):
    """Pieces in a batch."""
    return min(plan.job.quantity, plan.job.batch_size) * plan.job.kit.nodes


def _exact(plan, start):
    mean = expected(plan, start)
    return Shares(mean.cost / plan.total_cost, mean.days / plan.days(start))
