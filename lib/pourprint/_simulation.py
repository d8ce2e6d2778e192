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
from pourprint.plans import Plan
from pourprint.steps import Stage

# Failures -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Visits:
    """Every visit of a leg by a row (one batch of one run): `leg`, `row`, `pieces` in hand, all (E,), those of each
    row in the order of time."""

    leg: np.ndarray
    row: np.ndarray
    pieces: np.ndarray


def walk(chains, spoils, rows, rng, errors=None):
    """Let `rows` batches walk each of some chains, side by side: a turn of all takes hardly longer than a turn of one.

    Parameters: `chains` of the same pieces and spares, each with `spoils` (S, n or 1) the chance that a lot fails, of
    run = row % n; `rng` random numbers; `errors` (rows,) how many design errors the check of each row finds, or None.
    Returns: [Visits], one a chain.
    """
    # Legs are numbered through, with one behind the last of each chain, where a row is done.
    sizes = np.array([len(chain.legs) + 1 for chain in chains])
    starts, runs = np.cumsum(sizes) - sizes, max(spoil.shape[1] for spoil in spoils)
    after, back = (
        _joined([getattr(chain, name) + at for chain, at in zip(chains, starts, strict=True)])
        for name in ("after", "back")
    )
    lots = _joined([chain.lots for chain in chains])
    spoil = _joined([np.broadcast_to(spoil, (len(spoil), runs)) for spoil in spoils])
    risky, (done, check) = (spoil > 0).any(axis=1), np.zeros((2, len(spoil)), dtype=bool)
    done[starts + sizes - 1] = check[starts + sizes - 2] = True
    # Rows of a chain stand together; each has a queue before every leg.
    alive, first = np.arange(len(chains) * rows), np.repeat(starts, rows)
    at, home = first + chains[0].start, alive * sizes.max() - first
    queue, spare = np.zeros(alive.size * sizes.max(), dtype=np.int64), np.full(alive.size, chains[0].spares)
    queue[home + at] = chains[0].pieces
    errors, log = None if errors is None else np.tile(errors, len(chains)), []
    while alive.size:
        leg, own = at[alive], home[alive]
        pieces = queue[own + leg]
        log.append((leg, alive, pieces))
        target, failed = after[leg], np.zeros_like(pieces)
        doubt = risky[leg].nonzero()[0]
        if doubt.size:
            where, held, who = leg[doubt], pieces[doubt], alive[doubt]
            failed[doubt] = _failed(lots[where, held], held, spoil[where, who % runs], rng)
        passed, sent = pieces - failed, failed
        if chains[0].spares:
            sent = np.maximum(failed - spare[alive], 0)
            spare[alive] -= failed - sent
        if errors is not None:
            wrong = check[leg] & (errors[alive] > 0)
            passed[wrong], sent[wrong] = 0, chains[0].pieces
            errors[alive[wrong]] -= 1
            spare[alive[wrong]] = chains[0].spares
        queue[own + leg] = 0
        queue[own + target] += passed
        onward = sent > 0
        if onward.any():
            behind = back[leg]
            queue[own + behind] += sent
            target = np.where(onward, behind, target)
        at[alive] = target
        alive = alive[~done[target]]
    leg, row, pieces = (np.concatenate(column) for column in zip(*log, strict=True))
    if len(chains) == 1:
        return [Visits(leg, row, pieces)]
    mine = [(row // rows == k).nonzero()[0] for k in range(len(chains))]
    return [Visits(leg[m] - at, row[m] % rows, pieces[m]) for m, at in zip(mine, starts, strict=True)]


def _joined(tables):
    """Tables of legs end to end, each with its last row twice: the place where a row is done needs one too."""
    return np.concatenate([part for table in tables for part in (table, table[-1:])])


def _failed(lots, pieces, chance, rng):
    """Pieces on the lots that fail, when pieces are spread evenly over lots: some lots hold one more than others."""
    held, more = np.divmod(pieces, lots)
    failed = rng.binomial(lots - more, chance) * held
    some = more.nonzero()[0]
    if some.size:
        failed[some] += rng.binomial(more[some], chance[some]) * (held[some] + 1)
    return failed


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
            if _some(work.hands_on_h):
                by_hand = count * stretch
                hands_on[at] += by_hand * in_run(work.hands_on_h)
                if factor is not None:
                    done[1, i, j] = np.bincount(mine, by_hand, size)
            if _some(work.machine_h):
                machine[at] += count * in_run(work.machine_h)
            if _some(work.wait_h):
                wait[at] = np.maximum(wait[at], np.minimum(count, 1) * in_run(work.wait_h))
    whole = np.array([leg.whole for leg in legs])[visits.leg]
    return Taken(visits, rounds, hands_on / rounds, machine / rounds, wait, whole, done)


def _some(hours):
    """Whether there are any hours, as a number or in an array; numpy's own function is slow for single numbers."""
    return hours.any() if isinstance(hours, np.ndarray) else hours > 0


def lead(takens, calendar, begin_h, rows, last_one_off):
    """Lead every row of each of some chains through the calendar, all side by side.

    Parameters: `takens` [Taken]; `begin_h` (K, rows) of K chains, or one [h]; `last_one_off` the leg, of each chain.
    Returns: (when one-off work is done for the last time, the end), each (K, rows) [h since the calendar's first
    midnight].
    """
    columns = (
        (t.visits.row + k * rows, t.rounds, t.hands_on_h, t.machine_h + t.wait_h, t.whole, t.visits.leg == leg)
        for k, (t, leg) in enumerate(zip(takens, last_one_off, strict=True))
    )
    row, times, *columns = (np.concatenate(column) for column in zip(*columns, strict=True))
    # The visits of row 0 in the order of time, each round by round, then those of row 1, …
    order = np.argsort(row.astype(np.min_scalar_type(row.max())), kind="stable")  # small numbers sort quickly
    order = np.repeat(order, times[order])
    row, (hands_on, alone, whole, last) = row[order], (column[order] for column in columns)
    # Rounds that nothing parts are one stretch of work.
    parts = (alone > 0) | whole | last
    begins = (whole | np.append(True, parts[:-1] | (row[1:] != row[:-1]))).nonzero()[0]
    ends = np.append(begins[1:], order.size) - 1
    hands_on, alone, whole, last = np.add.reduceat(hands_on, begins), alone[ends], whole[begins], last[ends]
    # Rows know nothing of each other, so all go on by one stretch at a time; those with most of them come first, so
    # that those still on their way stand together.
    length = np.bincount(row[begins])
    longest = np.argsort(-length, kind="stable")
    first, falling = (np.cumsum(length) - length)[longest], -length[longest]
    now = np.broadcast_to(np.asarray(begin_h, dtype=float), (len(takens), rows)).ravel()[longest]
    ready = now.copy()
    for turn in range(length.max()):
        at = first[: falling.searchsorted(-turn)] + turn
        uncut, done = whole[at], last[at].nonzero()[0]
        now[: at.size] = calendar.finish(now[: at.size], hands_on[at], uncut if uncut.any() else None) + alone[at]
        ready[done] = now[done]
    place = np.argsort(longest)
    return ready[place].reshape(-1, rows), now[place].reshape(-1, rows)


# The whole job ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Run:
    """A plan ready to be run through: the base plan with counts, the sampled plan with hours, and its chances.

    `plan` at its values, `sampled` the same with (n,) arrays of inputs, or the plan itself; `report_h` [h] until a
    design error shows; `spares` pieces begun beyond those wanted in each batch; `again` the stage from which on
    one-off work is done again after a design error; `time_spread` of a visit's hands-on time [-].
    """

    plan: Plan
    sampled: Plan
    report_h: float
    spares: int = 0
    again: Stage = Stage.DESIGN
    time_spread: float = 0.0

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


def block(jobs, runs, calendar, begin_h, rng, errors):
    """Some of the runs of several plans of the same kits and batches, side by side.

    Parameters: `jobs` [Run]; `runs` slice of the n; `rng` random numbers; `errors` (n,) design errors found.
    Returns: [(times each work was done, plainly and weighted for hands-on time (2, S, W, runs), pieces begun (runs,),
    end (runs,) [h])], one a plan.
    """
    size = runs.stop - runs.start

    def going(chains, rows, legs, errors=None):
        """Walk the chains; `legs` of each, of those in `Run.legs`."""
        spoils = [job.spoil[own] for job, own in zip(jobs, legs, strict=True)]
        spoils = [spoil[:, runs] if spoil.shape[1] > 1 else spoil for spoil in spoils]
        walked = walk(chains, spoils, rows, rng, errors)
        return [
            take(visits, chain, job.legs[own], runs, _factors(rng, job.time_spread, visits.leg.size))
            for visits, chain, job, own in zip(walked, chains, jobs, legs, strict=True)
        ]

    firsts = [job.first for job in jobs]
    takens = going(firsts, size, [slice(None)] * len(jobs), errors[runs] if errors.any() else None)
    ready, end = lead(takens, calendar, begin_h, size, [chain.one_off - 1 for chain in firsts])
    done = [taken.done for taken in takens]
    begun = [_begun(taken, chain.one_off, size) for taken, chain in zip(takens, firsts, strict=True)]
    before = [
        [taken.loads(chain.legs, size, chain.one_off)] if jobs[0].others else []
        for taken, chain in zip(takens, firsts, strict=True)
    ]
    batch = [slice(chain.one_off, len(chain.legs) - 1) for chain in firsts]
    for others in zip(*(job.others for job in jobs), strict=True):
        chains, many = [chain for chain, _ in others], others[0][1]
        rows = many * size
        takens, start = going(chains, rows, batch), []
        for k, (taken, chain) in enumerate(zip(takens, chains, strict=True)):
            done[k][:, batch[k], : taken.done.shape[2]] += taken.done
            begun[k] += _begun(taken, 0, size)
            loads = taken.loads(chain.legs, rows, 0)
            by_hand, by_clock = (_before(before[k], loads, kind, many, size) for kind in (0, 1))
            start.append(np.maximum(calendar.finish(ready[k], by_hand), ready[k] + by_clock).ravel())
            before[k].append(
                tuple({name: h.reshape(many, size).sum(axis=0) for name, h in kind.items()} for kind in loads)
            )
        _, ends = lead(takens, calendar, np.stack(start), rows, [-1] * len(jobs))
        end = np.maximum(end, ends.reshape(-1, many, size).max(axis=1))
    return list(zip(done, begun, end, strict=True))


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
