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
from pourprint.plans.days import calendar_of
from pourprint.plans.dispatch import plainly, schedule
from pourprint.plans.plan import Plan
from pourprint.risk.legs import Legs, chain_of

# Of the pieces: below it each good one takes some 500 starts, and a run would hardly end. A guard of this program.
LEAST_YIELD = 0.002


@dataclass(frozen=True)
class Run:
    """A plan ready to be run through: `plan` for the job, its `legs` for the work, inputs drawn or not.

    `spares` pieces begun beyond those wanted in each batch. Raises: InputError where hardly anything passes.
    """

    plan: Plan
    legs: Legs
    spares: int = 0

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
        """The chain, as of `chain_of`, for all batches: none is larger than the first."""
        return chain_of(self.legs, self.begun(self.kinds[0][1]))

    def block(self, runs, rng, time_spread, errors):
        """Some of the runs.

        Parameters: `runs` slice of the n; `errors` (n,) design errors of each. Returns: (times each work was done,
        plainly and weighted for hands-on time (2, S, W, runs), pieces begun for each good one (runs,), days to delivery
        (runs,) [d]).
        """
        (calendar, begin_h), job = calendar_of(self.plan), self.plan.job
        size, legs, (_, _, lots) = runs.stop - runs.start, self.legs, self.chain
        spoil, hours = np.ascontiguousarray(legs.spoil[:, runs]), legs.hours(runs)
        led = size * sum(many * (part.stop - part.start) for part, _, many in self.kinds)
        way = walk if plainly(led) else _compiled()
        walked, edges, done, begun, start = [], [], 0, 0, 0
        for part, kits, many in self.kinds:
            wrong = np.zeros(many * size, dtype=int) if edges else errors[runs]
            asked = part.start, part.stop, self.begun(kits), self.spares, wrong, rng
            leg, row, pieces = way(legs.back, lots, spoil, *asked).T
            taken, times = self._taken(leg, row % size, pieces, _factors(rng, time_spread, leg.size), hours)
            enter, done = leg == legs.entry, done + times
            begun = begun + np.bincount(row[enter] % size, pieces[enter], size)
            if not edges:  # later batches wait for one-off work, done for the last time
                once, free = np.flatnonzero(leg == legs.one_off - 1), np.zeros(size, dtype=int)
                free[row[once]] = once + 1
            own = start + np.searchsorted(row, np.arange(many * size + 1))
            edges.append(np.reshape([own[:-1], own[1:]], (2, many, size)))
            walked.append((leg, taken))
            start += leg.size
        leg, taken = (np.concatenate(parts, axis=-1) for parts in zip(*walked, strict=True))
        first, last = np.concatenate(edges, axis=1).swapaxes(1, 2)  # each (runs, batches)
        each = np.arange(size + 1) * first.shape[1]
        after = np.repeat(each[:-1], first.shape[1])
        after[(after == np.arange(first.size)) | (legs.one_off == 1)] = -1
        batches = first.ravel(), last.ravel(), begin_h, after, np.repeat(free, first.shape[1])
        ends = schedule(lambda who: calendar, legs.base, leg, taken, batches, each)
        days = (ends.reshape(first.shape).max(axis=1) - begin_h) / 24 + job.delivery_days
        return done, begun / (job.quantity * job.kit.nodes), days

    def _taken(self, leg, run, pieces, factor, hours):
        """What visits by some pieces take, with a factor on hands-on time: (rounds, and hours of each by hand, of the
        machine, to unload, to wait (5, E); times each work was done, plainly and by hand (2, S, W, runs)).

        `hours` (4, S, W, runs) as of Legs."""
        (counts, rounds, _), taken, done = self.chain, np.zeros((5, leg.size)), np.zeros((2, *hours.shape[1:]))
        for i, step in enumerate(self.legs.drawn):
            (mine,), works = np.nonzero(leg == i), slice(len(step.work))
            at, turns, count = run[mine], rounds[i, pieces[mine]], counts[i, works].take(pieces[mine], axis=1)
            by_hand, takes = count * factor[mine], hours[:, i, works].take(at, axis=2)
            once = ((times * of).sum(axis=0) / turns for times, of in zip((by_hand, count, count), takes, strict=False))
            taken[:, mine] = turns, *once, (np.minimum(count, 1) * takes[3]).max(axis=0, initial=0.0)
            for j, each in enumerate(zip(count, by_hand, strict=True)):
                done[:, i, j] = [np.bincount(at, times, hours.shape[3]) for times in each]
        return taken, done


def walk(back, lots, spoil, start, stop, pieces, spares, errors, rng):
    """Let one batch after another walk a chain, visit by visit: rows of leg, row, pieces in hand (E, 3).

    It runs as it is, or compiled by numba; the random numbers are NumPy's own in both.
    start, stop: the first leg, and the one that is no more walked. back (S,): where what failed goes on. lots
    (S, N + 1): over how many lots pieces in hand are spread. spoil (S, n): chance that a lot fails, of run = row % n.
    errors (rows,): design errors that the last leg finds in each batch of `pieces`, `spares` of them more than wanted.
    """
    runs, visits = spoil.shape[1], []
    for batch in range(errors.size):
        queue = np.zeros(stop + 1, np.int64)
        queue[start] = pieces
        at, spare, wrong = start, spares, errors[batch]
        while at < stop:
            here = queue[at]
            visits.append((at, batch, here))
            failed, chance = 0, spoil[at, batch % runs]
            if chance > 0 and here > 0:
                # Pieces are spread evenly over lots: some lots hold one more than others.
                each, fuller = here // lots[at, here], here % lots[at, here]
                failed = rng.binomial(lots[at, here] - fuller, chance) * each
                if fuller > 0:
                    failed += rng.binomial(fuller, chance) * (each + 1)
            passed, sent = here - failed, max(failed - spare, 0)
            spare -= failed - sent
            if at == stop - 1 and wrong > 0:
                passed, sent, spare = 0, pieces, spares
                wrong -= 1
            queue[at] = 0
            queue[at + 1] += passed
            if sent > 0:
                queue[back[at]] += sent
                at = back[at]
            else:
                at += 1
    return np.array(visits)


@cache
def _compiled():
    from numba import njit

    return njit(cache=True, nogil=True)(walk)


def _factors(rng, time_spread, count):
    """Log-normal factors of mean one with a coefficient of variation [-], (count,)."""
    sigma = np.sqrt(np.log1p(time_spread**2))
    return np.exp(sigma * rng.standard_normal(count) - sigma**2 / 2) if time_spread else np.ones(count)
