"""How a batch walks through its steps when some pieces fail: the failures, what they cost, and the calendar.

The batch stays together. A step takes all pieces that stand before it; those that fail go back to an earlier step
and catch up, while the good ones wait; then all go on. Spare pieces, if any were begun, are used up first. So a step
may be visited again by a few pieces, which pay for a whole cluster, box or plate. The first visit of each step is
the plan itself.
"""

from collections import Counter
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.plans.dispatch import Shop, plainly, schedule
from pourprint.plans.plan import Plan
from pourprint.plans.scheduler import Batches
from pourprint.plans.steps import Stage
from pourprint.risk import loops
from pourprint.risk.legs import Legs, chain_of

# Of the pieces: below it each good one takes some 500 starts, and a run would hardly end. A guard of this program.
LEAST_YIELD = 0.002


@dataclass(frozen=True)
class Run:
    """A plan ready to be run through: `plan` for the job, its `legs` for the work, inputs drawn or not.

    `spares` pieces begun beyond those wanted in each batch; `again` the stage from which on one-off work is done again
    after a design error. Raises: InputError where hardly anything passes.
    """

    plan: Plan
    legs: Legs
    spares: int = 0
    again: Stage = Stage.DESIGN

    def __post_init__(self):
        good = np.prod(1 - self.legs.spoil, axis=0).min()
        if good < LEAST_YIELD:
            raise InputError(
                f"{self.plan.title} gets only {good:.2%} of its pieces through all steps at the first try: below "
                f"{LEAST_YIELD:.1%} no plan is worth simulating; raise its yields (entries named yield_…)."
            )

    @cached_property
    def kinds(self):
        """[(legs walked, kits, how many such batches)]: the first batch, with one-off work and the check of the design,
        and those after it."""
        size, quantity, legs = self.plan.job.batch_size, self.plan.job.quantity, len(self.legs.base)
        batches = [size] * (quantity // size) + [quantity % size] * (quantity % size > 0)
        own = slice(self.legs.one_off, legs - 1)
        return [(slice(1, legs), batches[0], 1), *((own, *later) for later in Counter(batches[1:]).items())]

    def begun(self, kits):
        """Pieces begun in a batch of some kits."""
        return kits * self.plan.job.kit.nodes + self.spares

    @cached_property
    def chain(self):
        """The Chain for all batches: none is larger than the first."""
        return chain_of(self.legs, self.begun(self.kinds[0][1]), self.again)

    def block(self, runs, calendar, begin_h, rng, time_spread, errors):
        """Some of the runs.

        Parameters: `runs` slice of the n; `errors` (n,) design errors of each. Returns: (times each work was done,
        plainly and weighted for hands-on time (2, S, W, runs), pieces begun (runs,), end (runs,) [h]).
        """
        size, legs, chain = runs.stop - runs.start, self.legs, self.chain
        spoil = legs.spoil[:, runs] if legs.spoil.shape[1] > 1 else legs.spoil
        led = size * sum(many * len(range(*part.indices(len(legs.base)))) for part, _, many in self.kinds)
        walk = loops.walk if plainly(led) else _compiled()
        walked, edges, done, begun, start = [], [], 0, 0, 0
        for part, kits, many in self.kinds:
            wrong = np.zeros(many * size, dtype=int) if edges else errors[runs]
            tables = chain.after, chain.back, chain.lots, spoil
            leg, row, pieces = walk(*tables, part.start, part.stop, self.begun(kits), self.spares, wrong, rng)
            hours, times = self._taken(leg, row % size, pieces, _factors(rng, time_spread, leg.size), runs)
            enter, done = leg == legs.entry, done + times
            begun = begun + np.bincount(row[enter] % size, pieces[enter], size)
            own = np.searchsorted(row, np.arange(many * size + 1))
            cuts = [own[:-1].reshape(many, size), own[1:].reshape(many, size)]
            if not edges and legs.one_off > 1:  # later batches wait for one-off work, done for the last time
                last = np.flatnonzero(leg == legs.one_off - 1)
                free = np.zeros((1, size), dtype=int)
                free[0, row[last]] = last + 1
                cuts = [np.append(cuts[0], free, axis=0), np.append(free, cuts[1], axis=0)]
            edges.append(np.add(cuts, start))
            walked.append((leg, hours))
            start += leg.size
        leg, hours = (np.concatenate(parts, axis=-1) for parts in zip(*walked, strict=True))
        first, last = np.concatenate(edges, axis=1).swapaxes(1, 2)  # each (runs, batches)
        after = np.full(first.shape, -1)
        if legs.one_off > 1:
            after[:, 1:] = np.arange(first.size).reshape(first.shape)[:, :1]
        ready_h = np.where(after < 0, float(begin_h), np.inf)
        batches = Batches(*(table.ravel() for table in (first, last, ready_h, after)))
        each = np.arange(size + 1) * first.shape[1]
        ends, *_ = schedule(Shop(calendar), legs.base, leg, hours, batches, each)
        return done, begun, ends.reshape(first.shape).max(axis=1)

    def _taken(self, leg, run, pieces, factor, runs):
        """What visits by some pieces take, with a factor on hands-on time: (rounds, and hours of each by hand, of the
        machine, to unload, to wait (5, E); times each work was done, plainly and by hand (2, S, W, runs))."""
        chain, size = self.chain, runs.stop - runs.start
        taken, done = np.zeros((5, leg.size)), np.zeros((2, *chain.counts.shape[:2], size))
        for i, step in enumerate(self.legs.drawn):
            mine = np.flatnonzero(leg == i)
            at, held, rounds = run[mine], pieces[mine], chain.rounds[i, pieces[mine]]
            hours = np.zeros((4, mine.size))
            for j, work in enumerate(step.work):
                count = chain.counts[i, j, held]
                by_hand = count * factor[mine]
                done[:, i, j] = np.bincount(at, count, size), np.bincount(at, by_hand, size)
                times = by_hand, count, count, np.minimum(count, 1)
                for kind, own in enumerate(
                    (work.hands_on_h, work.machine_h + work.cooling_h, work.unload_h, work.wait_h)
                ):
                    if np.any(own):
                        taken_h = times[kind] * (own[runs][at] if np.ndim(own) else own)
                        hours[kind] = np.maximum(hours[kind], taken_h) if kind == 3 else hours[kind] + taken_h
            hours[:3] /= rounds
            taken[0, mine], taken[1:, mine] = rounds, hours
        return taken, done


@cache
def _compiled():
    from numba import njit

    return njit(cache=True, nogil=True)(loops.walk)


def _factors(rng, time_spread, count):
    """Log-normal factors of mean one with a coefficient of variation [-], (count,)."""
    if time_spread == 0:
        return np.ones(count)
    sigma = np.sqrt(np.log1p(time_spread**2))
    return np.exp(sigma * rng.standard_normal(count) - sigma**2 / 2)
