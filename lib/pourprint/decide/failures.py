"""One account of failures for every answer: what they add to a plan's cost and days in the mean.

Every input stands at its value here; runs in which inputs are drawn too are in `risk/simulation`. What is done again
is counted in hours, kilograms and pieces, and priced afterwards.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pourprint.decide.inputs import usage
from pourprint.plans.days import STEADY
from pourprint.risk.rework import mean_amounts
from pourprint.risk.simulation import simulate

RUNS = 48  # from which mean days are read
MOST_EXACT, MOST_OWN = 150, 600  # pieces in a batch, whose mean amounts are exact: along knots, and at a job's own kits
KNOTS = (1, 4, 8, 20, 60, 200)  # numbers of kits at which shares are asked for; between, they are read
MOST_ASKED = 300  # pieces in a batch, for the same: runs of more take their time


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

    `amounts` {rate key: (2, k)} that the whole jobs take, without failures and in the mean with them; `added` (k,) days
    that failures add [d]. No price or wage is in it: shares at any follow.
    """

    kits: np.ndarray
    amounts: Mapping[str, np.ndarray]
    added: np.ndarray

    def at(self, kits, days, rates):
        """Shares at any numbers of kits (n,), whose plans take `days` (n,) [d], at the prices of a card; these may be
        arrays where kits are one number.

        Read between, and beyond the last, as powers of the kits: the share that failures add to the cost, and the days
        that they add. Those do not jump where the plan's own days do, by a weekend or holidays.
        """
        prices = np.array(np.broadcast_arrays(*(rates[key] for key in self.amounts)))
        plain, mean = np.tensordot(np.array([*self.amounts.values()]), prices, (0, 0))  # each (k, …)
        more = mean / np.where(plain > 0, plain, 1) - (plain > 0)  # at no price at all nothing is dearer
        dearer, longer = self._read(kits, more, (-1.0, 0.0)), self._read(kits, self.added, (0.0, 1.0))
        return Shares(1 + dearer, 1 + longer / days)

    def _read(self, kits, added, powers):
        """What failures add at any numbers of kits; beyond the last as a power of them, one of `powers` (two ends)."""
        known, x, at = np.log(np.maximum(added, 1e-9)), np.log(self.kits), np.log(kits)
        i = np.searchsorted(x, x[-1] - np.log(2), side="right") - 1  # the last that is far enough to tell a power
        power = np.clip((known[-1] - known[i]) / (x[-1] - x[i]), *powers) if i >= 0 else powers[0] + 1
        weights = np.array([np.interp(at, x, one) for one in np.eye(x.size)])  # of each number that is known
        return np.exp(np.tensordot(weights, known, (0, 0)) + power * np.maximum(at - x[-1], 0.0))

    def joined(self, other):
        """The same at these numbers of kits and at another's; its own where both know one."""
        kits, order = np.unique(np.append(self.kits, other.kits), return_index=True)
        amounts = {key: np.hstack([mine, other.amounts[key]])[:, order] for key, mine in self.amounts.items()}
        return Again(kits, amounts, np.append(self.added, other.added)[order])


def again(plan, key, kits, most_exact=MOST_EXACT):
    """What failures make of a plan at some numbers of `kits` (k,), rising, of its "quantity" or "batch_size": Again.

    RUNS runs, in which failures alone are drawn, are led through the calendar as any run is; beyond STEADY batches each
    adds what those up to there add. Up to `most_exact` pieces in a batch amounts are exact (`mean_amounts`), of more
    read from the runs; days are moved along the runs' line of days on hours of people and machines to where the exact
    mean lies (a control variate; textbook). Of 96 jobs at random (demo kit and its nodes, up to 12, all routes) days
    were within 1% of the mean of 3000 runs in four of five, within 2.5% in nine of ten, and at worst, of single pieces,
    within 9%. Parameters: `plan` of single numbers. Raises: InputError.
    """
    jobs = [plan.at(**{key: n}) for n in kits]
    some = [job.at(quantity=min(job.job.quantity, STEADY * job.job.batch_size)) for job in jobs]
    exact = [one for one in some if min(one.job.quantity, one.job.batch_size) * one.job.kit.nodes <= most_exact]
    known, tables, added = mean_amounts(exact) if exact else {}, [], []
    for i, (job, one) in enumerate(zip(jobs, some, strict=True)):
        runs = simulate(one, RUNS, inputs=None, time_spread=0.0)
        mean = {of: known[of][i] if i < len(exact) else amount.mean() for of, amount in runs.amounts.items()}
        hours, exact_h = (_hours(amounts) for amounts in (runs.amounts, mean))
        off = hours - hours.mean()
        line = off @ runs.days / max(off @ off, 1e-9)  # where none failed, off is 0
        more = job.job.quantity / one.job.quantity
        added.append(more * (runs.days.mean() + line * (exact_h - hours.mean()) - one.lead_time_days))
        whole, part = usage(job), usage(one)
        tables.append({of: (whole[of], whole[of] + more * (mean[of] - part[of])) for of in mean})
    amounts = {of: np.transpose([table[of] for table in tables]) for of in tables[0]}
    return Again(np.array(kits), amounts, np.array(added))


def _hours(amounts):
    """Hours of people and machines among amounts."""
    return sum(amount for key, amount in amounts.items() if key.startswith(("labour.", "machine.")))


def again_at_knots(plan, key):
    """The same at KNOTS, as far as it is asked for: it does not hang on the plan's own quantity or batch size."""
    most = MOST_ASKED / plan.job.kit.nodes if plan.job.all_at_once or key == "batch_size" else KNOTS[-1]
    most = most if key == "quantity" else min(most, plan.job.quantity)
    return again(plan, key, [n for n in KNOTS if n == 1 or n <= most])


def again_along(plan, key, knots=None):
    """The same at a few numbers of kits, the plan's own among them; `knots` of it, where they are known.

    Read between and beyond, cost is within 5%, days mostly within 8%, where closed weeks lie between within 25% (demo
    part and kit).
    """
    return again(plan, key, [getattr(plan.job, key)], MOST_OWN).joined(knots or again_at_knots(plan, key))


def again_here(plan):
    """The same at the plan's own kits, as `kits_of` has them."""
    key, here = kits_of(plan.job)
    return again(plan, key, [here], MOST_OWN)


def kits_of(job):
    """(key, number) of the kits by which failures of a job are read: those wanted, or those in a batch."""
    return ("quantity", job.quantity) if job.all_at_once else ("batch_size", job.batch_size)


def shares(plan, found=None):
    """What failures make of a plan's cost and days: Shares, floats. Parameters: `found` (default: its `again_here`)."""
    found = again_here(plan) if found is None else found
    return Shares(*map(float, found.at(kits_of(plan.job)[1], plan.lead_time_days, plan.rates)))


def expected(plan, found=None):
    """Mean cost and days of a plan with failures and rework: Expected. As for `shares`."""
    share = shares(plan, found)
    return Expected(share.cost * plan.total_cost, share.days * plan.lead_time_days)
