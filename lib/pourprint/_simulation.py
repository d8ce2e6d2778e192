"""How a batch walks through its steps when some pieces fail: the failures, what they cost, and the calendar.

The batch stays together. A step takes all pieces that stand before it; those that fail go back to an earlier step
and catch up, while the good ones wait; then all go on. Spare pieces, if any were begun, are used up first. So a step
may be visited again by a few pieces, which pay for a whole cluster, box or plate. The first visit of each step is
the plan itself.
"""

from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np

from pourprint._chain import all_legs, batch_legs, chain_of
from pourprint.plans import Plan, has_some
from pourprint.steps import Stage
from pourprint.workdays import past_horizon

# Failures -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Visits:
    """Every visit of a leg by a row (one batch of one run): `leg`, `row`, `pieces` in hand, all (E,), row by row in
    the order of time."""

    leg: np.ndarray
    row: np.ndarray
    pieces: np.ndarray


def walk(chain, spoil, errors, rng):
    """Let batches walk a chain, one after another.

    Parameters: `spoil` (S, n or 1) chance that a lot fails, of run = row % n; `errors` (rows,) how many design errors
    the check of each row finds; `rng` random numbers. Returns: Visits.
    """
    from pourprint import _batches  # loads numba

    tables = chain.after, chain.back, chain.lots, spoil
    return Visits(*_batches.walk(*tables, chain.start, chain.pieces, chain.spares, errors, rng))


# What it takes ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Taken:
    """What visits take. Per round, in `rounds` (E,): `hands_on_h`, `machine_h`, `wait_h` (E,) [h]; `whole` (E,) whether
    its hands-on work is not left for the night; and `done` (2, S, W, runs) how often each work was done in each run,
    plainly and weighted for hands-on time."""

    visits: Visits
    rounds: np.ndarray
    hands_on_h: np.ndarray
    machine_h: np.ndarray
    wait_h: np.ndarray
    whole: np.ndarray
    done: np.ndarray

    def loads(self, legs, rows, one_off):
        """Hours that each person, by hand, and each machine, by the clock, is held by each row's batch.

        Returns: ({who: (rows,)}, {machine: (rows,)}) [h], one-off work and batches with a design error left out.
        """
        leg, row = self.visits.leg, self.visits.row
        turn = np.arange(leg.size)
        begun = np.zeros(rows, dtype=int)
        np.maximum.at(begun, row[leg < one_off], turn[leg < one_off] + 1)
        mine = np.flatnonzero((leg >= one_off) & (turn >= begun[row]))
        leg, row = leg[mine], row[mine]
        by_hand = self.rounds[mine] * self.hands_on_h[mine]
        held = self.rounds[mine] * self.machine_h[mine] + by_hand * np.array([step.attended for step in legs])[leg]
        people, machines = {}, {}
        for table, names, hours in (
            (people, [step.who for step in legs], by_hand),
            (machines, [step.machine for step in legs], held),
        ):
            for name in {*names} - {None}:
                at = np.array([other == name for other in names])[leg]
                table[name] = np.bincount(row[at], hours[at], rows)
        return people, machines


def take(visits, chain, legs, runs, factor=None):
    """What visits take: hours as in `Plan`, count × hours in equal rounds, all pieces of a round waiting together.

    Parameters: `legs` the chain's, with hours that are numbers or (n,) arrays; `runs` slice of the n that the rows
    belong to, run by run; `factor` (E,) on hands-on time, or None. Returns: Taken.
    """
    size, width = runs.stop - runs.start, chain.counts.shape[1]
    hands_on, machine, wait = np.zeros((3, visits.leg.size))
    rounds, done = np.ones(visits.leg.size, dtype=np.int64), np.zeros((2, len(legs), width, size))
    run = visits.row % size
    # Leg by leg, since most legs have one or two pieces of work; a stable sort of small numbers is the quickest way.
    order = np.argsort(visits.leg.astype(np.uint16), kind="stable")
    ends = np.searchsorted(visits.leg[order], np.arange(len(legs) + 1))
    for i, leg in enumerate(legs):
        at = order[ends[i] : ends[i + 1]]
        mine, pieces = run[at], visits.pieces[at]
        rounds[at] = chain.rounds[i, pieces]
        stretch = 1.0 if factor is None else factor[at]

        def in_run(hours, mine=mine):
            return hours[runs][mine] if np.ndim(hours) else hours

        for j, work in enumerate(leg.work):
            count = chain.counts[i, j, pieces]
            done[:, i, j] = np.bincount(mine, count, size)
            if has_some(work.hands_on_h):
                by_hand = count * stretch
                hands_on[at] += by_hand * in_run(work.hands_on_h)
                if factor is not None:
                    done[1, i, j] = np.bincount(mine, by_hand, size)
            if has_some(work.machine_h):
                machine[at] += count * in_run(work.machine_h)
            if has_some(work.wait_h):
                wait[at] = np.maximum(wait[at], np.minimum(count, 1) * in_run(work.wait_h))
    whole = np.array([leg.whole for leg in legs])[visits.leg]
    return Taken(visits, rounds, hands_on / rounds, machine / rounds, wait, whole, done)


def lead(taken, calendar, begin_h, last_one_off=-1):
    """Lead every row through the calendar.

    Parameters: `begin_h` (rows,) [h]; `last_one_off` the last leg of one-off work, if there is any.
    Returns: (when its one-off work is done for the last time, its end), each (rows,) [h since the calendar's first
    midnight]. Raises: InputError past the calendar's horizon.
    """
    from pourprint import _batches  # loads numba

    visits = taken.visits
    times = taken.rounds, taken.hands_on_h, taken.machine_h + taken.wait_h, taken.whole, visits.leg == last_one_off
    ready, end = _batches.lead(visits.row, *times, begin_h, *calendar.tables, calendar.hours.day_h)
    if np.isinf(end).any():
        raise past_horizon()
    return ready, end


# The whole job ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Run:
    """A plan ready to be run through: the base plan with counts, the sampled plan with hours, and its chances.

    `plan` at its values, `sampled` the same with (n,) arrays of inputs, or the plan itself; `report_h` [h] until a
    design error shows; `spares` pieces begun beyond those wanted in each batch; `again` the stage from which on
    one-off work is done again after a design error.
    """

    plan: Plan
    sampled: Plan
    report_h: float
    spares: int = 0
    again: Stage = Stage.DESIGN

    @cached_property
    def batches(self):
        """Kits in each batch, the first one first."""
        size, quantity = self.plan.job.batch_size, self.plan.job.quantity
        rest = quantity % size
        return [size] * (quantity // size) + [rest] * (rest > 0)

    @cached_property
    def first(self):
        """The Chain of one-off work and the first batch."""
        return chain_of(self.plan, all_legs(self.plan, self.report_h), self.batches[0], self.spares, self.again)

    @cached_property
    def legs(self):
        """The first batch's legs at the sampled inputs."""
        return all_legs(self.sampled, self.report_h)

    @cached_property
    def others(self):
        """[(Chain, how many such batches)] of the batches after the first."""
        legs, kinds = batch_legs(self.plan), {}
        for kits in self.batches[1:]:
            kinds[kits] = kinds.get(kits, 0) + 1
        return [(chain_of(self.plan, legs, kits, self.spares), many) for kits, many in kinds.items()]

    @cached_property
    def spoil(self):
        """Chance that a lot fails on each leg, (S, n or 1)."""
        yields = np.stack(np.broadcast_arrays(*(np.atleast_1d(leg.first_pass_yield) for leg in self.legs)))
        return 1 - yields

    def block(self, runs, calendar, begin_h, rng, time_spread, errors):
        """Some of the runs.

        Parameters: `runs` slice of the n; `errors` (n,) design errors of each. Returns: (times each work was done,
        plainly and weighted for hands-on time (2, S, W, runs), pieces begun (runs,), end (runs,) [h]).
        """
        size, chain, one_off = runs.stop - runs.start, self.first, self.first.one_off
        spoil = self.spoil[:, runs] if self.spoil.shape[1] > 1 else self.spoil
        own = slice(one_off, len(chain.legs) - 1)

        def going(chain, legs, spoil, errors):
            visits = walk(chain, spoil, errors, rng)
            return take(visits, chain, legs, runs, _factors(rng, time_spread, visits.leg.size))

        taken = going(chain, self.legs, spoil, errors[runs])
        done, begun = taken.done, _begun(taken, one_off, size)
        ready, end = lead(taken, calendar, np.full(size, float(begin_h)), one_off - 1)
        before = [taken.loads(chain.legs, size, one_off)] if self.others else []
        for other, many in self.others:
            rows = many * size
            taken = going(other, self.legs[own], spoil[own], np.zeros(rows, dtype=int))
            done[:, own, : taken.done.shape[2]] += taken.done
            begun += _begun(taken, 0, size)
            loads = taken.loads(other.legs, rows, 0)
            by_hand, by_clock = (_before(before, loads, kind, many, size) for kind in (0, 1))
            start = np.maximum(calendar.finish(ready, by_hand), ready + by_clock)
            _, ends = lead(taken, calendar, start.ravel())
            end = np.maximum(end, ends.reshape(many, size).max(axis=0))
            summed = ({name: h.reshape(many, size).sum(axis=0) for name, h in kind.items()} for kind in loads)
            before.append(tuple(summed))
        return done, begun, end


def _factors(rng, time_spread, count):
    """Log-normal factors of mean one with a coefficient of variation [-], (count,)."""
    if time_spread == 0:
        return None
    sigma = np.sqrt(np.log1p(time_spread**2))
    return np.exp(sigma * rng.standard_normal(count) - sigma**2 / 2)


def _begun(taken, leg, runs):
    """Pieces that entered a leg in each run, (runs,)."""
    at = taken.visits.leg == leg
    return np.bincount(taken.visits.row[at] % runs, taken.visits.pieces[at], runs)


def _before(earlier, loads, kind, many, runs):
    """Hours that the busiest person (kind 0) or machine (1) is held before each of many batches: (many, runs)."""
    table = []
    for name in {*loads[kind], *(name for load in earlier for name in load[kind])}:
        held = sum((load[kind].get(name, 0.0) for load in earlier), np.zeros(runs))
        mine = loads[kind].get(name, np.zeros(many * runs)).reshape(many, runs)
        table.append(held + np.cumsum(mine, axis=0) - mine)
    return reduce(np.maximum, table, np.zeros((many, runs)))
