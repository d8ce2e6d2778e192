"""How a batch walks through its steps when some pieces fail: the failures, what they cost, and the calendar.

The batch stays together. A step takes all pieces that stand before it; those that fail go back to an earlier step
and catch up, while the good ones wait; then all go on. Spare pieces, if any were begun, are used up first. So a step
may be visited again by a few pieces, which pay for a whole cluster, box or plate. The first visit of each step is
the plan itself.
"""

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.plans.dispatch import Shop, schedule
from pourprint.plans.plan import Plan
from pourprint.plans.scheduler import Batches
from pourprint.plans.scheduler import Visits as Went
from pourprint.plans.steps import Stage
from pourprint.risk.legs import Legs, chain_of

# Failures -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Visits:
    """Every visit of a leg by a row (one batch of one run): `leg`, `row`, `pieces` in hand, all (E,), row by row in
    the order of time."""

    leg: np.ndarray
    row: np.ndarray
    pieces: np.ndarray


def walk(chain, spoil, part, pieces, spares, errors, rng):
    """Let batches walk a chain, one after another.

    Parameters: `spoil` (S, n or 1) chance that a lot fails, of run = row % n; `part` slice of the legs to walk;
    `pieces` begun in each batch, `spares` of them more than wanted; `errors` (rows,) how many design errors the last
    leg finds in each; `rng` random numbers. Returns: Visits.
    """
    from pourprint.risk import loops  # loads numba

    tables = chain.after, chain.back, chain.lots, spoil
    return Visits(*loops.walk(*tables, part.start, part.stop, pieces, spares, errors, rng))


# What it takes ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Taken:
    """What visits take. Per round, in `rounds` (E,): `hands_on_h`, `run_h`, `unload_h`, `wait_h` (E,) [h]; and `done`
    (2, S, W, runs) how often each work was done in each run, plainly and weighted for hands-on time."""

    visits: Visits
    rounds: np.ndarray
    hands_on_h: np.ndarray
    run_h: np.ndarray
    unload_h: np.ndarray
    wait_h: np.ndarray
    done: np.ndarray

    @property
    def clock_h(self):
        """Hours of each visit by the clock, if somebody were always there (E,) [h]."""
        return self.rounds * (self.hands_on_h + self.run_h + self.unload_h + self.wait_h)


def take(visits, chain, legs, runs, factor=None):
    """What visits take: hours as in `Plan`, count × hours in equal rounds, all pieces of a round waiting together.

    Parameters: `legs` the chain's Legs; `runs` slice of the n that the rows belong to, run by run; `factor` (E,) on
    hands-on time, or None. Returns: Taken.
    """
    from pourprint.risk import loops  # loads numba

    factor = np.ones(visits.leg.size) if factor is None else factor
    seen = visits.leg, visits.row, visits.pieces
    fixed, which, varied = legs.hours
    varied = varied[:, runs] if varied.shape[1] > 1 else varied
    tables = chain.rounds, chain.counts, fixed, which, varied
    return Taken(visits, *loops.take(*seen, *tables, factor, runs.stop - runs.start))


def lead(taken, kits_rows, legs, calendar, begin_h):
    """Lead the batches of each run through the calendar, together.

    Parameters: `taken` a Taken for the first batch and for each later kind of them, `kits_rows` how many batches of
    each kind a run has; `legs` the Legs that were walked. Returns: end of each run (runs,) [h since the calendar's
    first midnight]. Raises: InputError past the calendar's horizon.
    """
    rules, people, machines = legs.rules
    columns = ([one.visits.leg for one in taken], *([getattr(one, name) for one in taken] for name in TIMES))
    visits = Went(*map(np.concatenate, columns))
    runs, first, last, at = taken[0].visits.row[-1] + 1, [], [], 0
    for one, many in zip(taken, kits_rows, strict=True):
        edges = at + np.searchsorted(one.visits.row, np.arange(many * runs + 1))
        first.append(edges[:-1].reshape(many, runs))
        last.append(edges[1:].reshape(many, runs))
        at = edges[-1]
    first, last = (np.concatenate(edges).T for edges in (first, last))  # (runs, batches)
    ready_h, frees = np.full(first.shape, float(begin_h)), np.full(first.shape, -1)
    if legs.one_off > 1:
        done = np.flatnonzero(taken[0].visits.leg == legs.one_off - 1)  # the last time counts
        frees[taken[0].visits.row[done], 0] = done
        ready_h[:, 1:] = np.inf
    batches = Batches(*(table.ravel() for table in (first, last, ready_h, frees, np.zeros_like(first))))
    one_each = (np.ones(len(names), int) for names in (people, machines))
    shop = Shop((calendar,) * len(people), *one_each)
    ends, *_ = schedule(shop, rules, visits, batches, np.arange(runs + 1) * first.shape[1])
    return ends.reshape(first.shape).max(axis=1)


TIMES = ("rounds", "hands_on_h", "run_h", "unload_h", "wait_h")


# The whole job ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Run:
    """A plan ready to be run through: `plan` for the job, its `legs` for the work, inputs drawn or not.

    `spares` pieces begun beyond those wanted in each batch; `again` the stage from which on one-off work is done again
    after a design error.
    """

    plan: Plan
    legs: Legs
    spares: int = 0
    again: Stage = Stage.DESIGN

    @cached_property
    def batches(self):
        """Kits in each batch, the first one first."""
        size, quantity = self.plan.job.batch_size, self.plan.job.quantity
        rest = quantity % size
        return [size] * (quantity // size) + [rest] * (rest > 0)

    @cached_property
    def later(self):
        """[(kits, how many such batches)] of the batches after the first."""
        return list(Counter(self.batches[1:]).items())

    def begun(self, kits):
        """Pieces begun in a batch of some kits."""
        return kits * self.plan.job.kit.nodes + self.spares

    @cached_property
    def chain(self):
        """The Chain for all batches: none is larger than the first."""
        return chain_of(self.legs, self.begun(self.batches[0]), self.again)

    @cached_property
    def once(self):
        """The legs of the job's first batch: one-off work and the check of the design with it."""
        return slice(1, len(self.legs.base))

    @cached_property
    def own(self):
        """The legs of every later batch."""
        return slice(self.legs.one_off, len(self.legs.base) - 1)

    def block(self, runs, calendar, begin_h, rng, time_spread, errors):
        """Some of the runs.

        Parameters: `runs` slice of the n; `errors` (n,) design errors of each. Returns: (times each work was done,
        plainly and weighted for hands-on time (2, S, W, runs), pieces begun (runs,), end (runs,) [h]).
        """
        size, legs = runs.stop - runs.start, self.legs
        spoil = legs.spoil[:, runs] if legs.spoil.shape[1] > 1 else legs.spoil

        def going(part, kits, errors):
            visits = walk(self.chain, spoil, part, self.begun(kits), self.spares, errors, rng)
            return take(visits, self.chain, legs, runs, _factors(rng, time_spread, visits.leg.size))

        taken = [going(self.once, self.batches[0], errors[runs])]
        taken += [going(self.own, kits, np.zeros(many * size, dtype=int)) for kits, many in self.later]
        end = lead(taken, [1, *(many for _, many in self.later)], legs, calendar, begin_h)
        return sum(one.done for one in taken), sum(_begun(one, legs.entry, size) for one in taken), end


def _factors(rng, time_spread, count):
    """Log-normal factors of mean one with a coefficient of variation [-], (count,)."""
    if time_spread == 0:
        return np.ones(count)
    sigma = np.sqrt(np.log1p(time_spread**2))
    return np.exp(sigma * rng.standard_normal(count) - sigma**2 / 2)


def _begun(taken, leg, runs):
    """Pieces that entered a leg in each run, (runs,)."""
    at = taken.visits.leg == leg
    return np.bincount(taken.visits.row[at] % runs, taken.visits.pieces[at], runs)
