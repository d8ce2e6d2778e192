"""One account of failures for every answer: what they add to a plan's cost and days in the mean.

Every input stands at its value here; runs in which inputs are drawn too are in `risk/simulation`. What is done again
is counted in hours, kilograms and pieces, and priced afterwards.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pourprint.plans.steps import JOB, priced
from pourprint.risk.rework import taken

MANY_PIECES = 150  # in a batch: beyond, shares are read from smaller batches
KNOTS = (1, 2, 5, 10, 20, 50, 100, 200)  # numbers of kits at which shares are asked for; between, they are read


class Expected(NamedTuple):
    """A job with its failures, in the mean: `cost` [currency] and calendar `days` [d]."""

    cost: float
    days: float


class Shares(NamedTuple):
    """What failures make of a plan: `cost` and `days` with them over those without [-]."""

    cost: float = 1.0
    days: float = 1.0


@dataclass(frozen=True)
class Again:
    """What failures make of a plan at some numbers of kits (k,), rising, wanted or in a batch.

    `amounts` {rate key: (2, k)} that the whole jobs take, without failures and in the mean with them; `days` (k,) with
    them over those without [-]. No price or wage is in it: shares at any follow.
    """

    kits: np.ndarray
    amounts: Mapping[str, np.ndarray]
    days: np.ndarray

    def at(self, kits, rates):
        """Shares at any number of kits (n,) and the prices of a card; beyond the last what failures add falls on as a
        power of the kits."""
        plain, mean = priced(self.amounts, rates)
        beyond = np.maximum(np.asarray(kits) / self.kits[-1], 1.0)
        found = []
        for known in (mean / plain, self.days):
            inside, power = np.interp(np.log(kits), np.log(self.kits), known), 0.0
            if len(known) > 1 and known[-2] > known[-1] > 1:
                power = np.log((known[-1] - 1) / (known[-2] - 1)) / np.log(self.kits[-1] / self.kits[-2])
            found.append(1 + (inside - 1) * beyond**power)
        return Shares(*found)


def again(plan, key, kits, start=None):
    """What failures make of a plan at some numbers of `kits` (k,), rising, of its "quantity" or "batch_size": Again.

    Amounts are exact (`taken`). Days are an estimate: the first batch is longer by the exact extra hours of the clock,
    stretched as its own hours are by nights and closed days, further batches by the share of the hours of people and
    machines that are worked again; for one batch within a tenth of simulated means, for many within a fifth (demo kit).
    Parameters: `plan` of single numbers; `start` date and time (default: some Monday). Raises: InputError.
    """
    kits = np.array(kits)
    amounts, clock_h = taken([plan.at(**{key: n}) for n in kits.tolist()])
    hours = sum(amount for of, amount in amounts.items() if of.startswith(("labour.", "machine.")))
    longer, more = (mean / plain - 1 for plain, mean in (clock_h, hours))
    jobs = plan.at(**{key: kits})
    first, days = jobs.at(quantity=np.minimum(jobs.job.quantity, jobs.job.batch_size)), jobs.days(start)
    each = tuple(replace(s, work=tuple(w for w in s.work if w.level is not JOB)) for s in plan.legs[1])
    extra = longer * replace(first, steps=each).days() + more * (days - first.days(start))
    return Again(kits, amounts, 1 + extra / days)


def again_along(plan, key, start=None):
    """The same at a few numbers of kits, the plan's own among them, of at most MANY_PIECES in a batch.

    Read beyond, at ten times as many pieces, cost is within 5 %, days within 12 %, of patterns within 25 % (demo kit).
    """
    most = KNOTS[-1] if key == "quantity" else plan.job.quantity
    kits = sorted({getattr(plan.job, key), *(n for n in KNOTS if n <= most)})
    return again(plan, key, [n for n in kits if n <= 2 or _pieces(plan.at(**{key: n})) <= MANY_PIECES], start)


def again_here(plan, start=None):
    """The same at the plan's own kits, as `kits_of` has them, or along them where it has MANY_PIECES."""
    key, here = kits_of(plan.job)
    return again(plan, key, [here], start) if _pieces(plan) <= MANY_PIECES else again_along(plan, key, start)


def kits_of(job):
    """(key, number) of the kits by which failures of a job are read: those wanted, or those in a batch."""
    return ("quantity", job.quantity) if job.all_at_once else ("batch_size", job.batch_size)


def shares(plan, start=None):
    """What failures make of a plan's cost and days: Shares, floats. Parameters, raises, limits: as for `again_here`."""
    return Shares(*map(float, again_here(plan, start).at(kits_of(plan.job)[1], plan.rates)))


def expected(plan, start=None):
    """Mean cost and days of a plan with failures and rework, nothing drawn: Expected. As for `again`."""
    key, here = kits_of(plan.job)
    share = Shares(*map(float, again(plan, key, [here], start).at(here, plan.rates)))
    return Expected(share.cost * plan.total_cost, share.days * plan.days(start))


def _pieces(plan):
    """Pieces in a batch."""
    return min(plan.job.quantity, plan.job.batch_size) * plan.job.kit.nodes
