"""The legs that a batch walks, in order, and where failures send it back: what a simulation and a closed form share."""

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.plans.plan import Plan
from pourprint.plans.steps import BATCH, JOB, Stage, Step, Work, priced, weighed

REPORT_TIME = "risk.report_time"  # rate key: hours until a design error shows
REPORT, CHECK = "the design error is reported", "assemble the first kit and check its design"


@dataclass(frozen=True)
class Legs:
    """One-off work and the batch of a plan as legs, at its own inputs and at those drawn, and what they take.

    `plan` gives the counts, `sampled` the hours and prices, as numbers or (n,) arrays, or is the plan itself. The same
    for every quantity and batch size: made once, asked often.
    """

    plan: Plan
    sampled: Plan

    @cached_property
    def base(self):
        """The legs at the plan's own inputs."""
        return _legs(self.plan, self.plan.rates[REPORT_TIME])

    @cached_property
    def drawn(self):
        """The same legs at the inputs drawn."""
        return _legs(self.sampled, self.plan.rates[REPORT_TIME])

    @cached_property
    def width(self):
        """Most pieces of work that a leg has."""
        return max(len(leg.work) for leg in self.base)

    @cached_property
    def one_off(self):
        """How many legs come before the batch's own: the report of a design error and one-off work."""
        return 1 + len(self.plan.legs[0])

    @cached_property
    def back(self):
        """Where each leg sends back what failed, (S,). Raises: InputError when it names a step not before it."""
        names = [leg.name if i >= self.one_off else "" for i, leg in enumerate(self.base)]
        names[0] = self.base[0].name
        back = np.arange(len(names))
        for i, leg in enumerate(self.base):
            if leg.returns_to:
                if leg.returns_to not in names[: i + 1]:
                    raise InputError(f"{leg.name!r} returns work to {leg.returns_to!r}, which is no step before it.")
                back[i] = names.index(leg.returns_to)
        return back

    @cached_property
    def entry(self):
        """The first leg of a batch that makes pieces: the earliest to which one sends back what failed."""
        back = (at for at, leg in zip(self.back, self.base, strict=True) if leg.returns_to and at >= self.one_off)
        return min(back, default=self.one_off)

    @cached_property
    def spoil(self):
        """Chance that a lot fails on each leg, (S, n or 1)."""
        return 1 - np.stack(np.broadcast_arrays(*(np.atleast_1d(leg.first_pass_yield) for leg in self.drawn)))

    @cached_property
    def _prices(self):
        """{(0 but for hands or 1 by hand, leg, work): what doing it once costs [currency]}, where it costs anything."""
        prices, rates = {}, self.sampled.rates
        for i, leg in enumerate(self.drawn):
            for j, work in enumerate(leg.work):
                by_hand = Work(work.level, hands_on_h=work.hands_on_h, people=work.people)
                for kind, part in enumerate((replace(work, hands_on_h=0.0), by_hand)):
                    prices[kind, i, j] = priced(weighed(leg, part, rates), rates)
        return {place: price for place, price in prices.items() if np.any(price)}

    def amounts(self, times):
        """What work done so many `times` (S, W, …) takes, leg by leg: {rate key: (S, …)}, as `weighed`."""
        found = defaultdict(lambda: np.zeros((len(self.base), *times.shape[2:])))
        for i, leg in enumerate(self.base):
            for often, work in zip(times[i], leg.work, strict=False):  # every leg has room for the most works
                for key, amount in weighed(leg, work, self.plan.rates).items():
                    found[key][i] += often * amount
        return found

    def costs(self, done):
        """What work done comes to, leg by leg: (S, …) [currency]. `done` (2, S, W, …) times, plainly and by hand."""
        shape = np.broadcast_shapes(done.shape[3:], *(np.shape(price) for price in self._prices.values()))
        costs = np.zeros((len(self.drawn), *shape))
        for (kind, leg, work), price in self._prices.items():
            costs[leg] += done[kind, leg, work] * price
        return costs


def _legs(plan, report_h):
    """One-off work, piece by piece, the first batch and the check of the design; before them the report of an error."""
    one_off, batch = plan.legs
    report = Step(Stage.DESIGN, REPORT, (Work(BATCH, wait_h=report_h),))
    check = Step(Stage.FINISH, CHECK, (), spoils="batch", returns_to=REPORT)
    return (report, *one_off, *batch, check)


@dataclass(frozen=True)
class Chain:
    """How batches of up to N pieces walk a plan's legs: once good on to `after`, what failed back to `back`.

    For 0…N `pieces` in hand: `counts` (S, W, N + 1) how often each work falls due, `rounds` (S, N + 1), `lots`
    (S, N + 1) that the pieces are spread over and that fail one by one.
    """

    pieces: int
    counts: np.ndarray
    rounds: np.ndarray
    lots: np.ndarray
    after: np.ndarray
    back: np.ndarray


def chain_of(legs, pieces, again=Stage.DESIGN):
    """The Chain of a plan's Legs.

    Parameters: `pieces` begun in the largest batch; `again` the stage from which on one-off work is done again after a
    design error. Raises: InputError when a step names an unknown lot.
    """
    plan, steps = legs.plan, legs.base
    in_hand = np.arange(pieces + 1) / plan.job.kit.nodes  # kits, in fractions
    times = {work.level.name: work.level.per_batch(in_hand) for step in plan.steps for work in step.work}
    times |= {JOB.name: in_hand > 0, BATCH.name: BATCH.per_batch(in_hand)}
    size = pieces + 1
    counts = np.zeros((len(steps), legs.width, size))
    rounds, lots = np.ones((len(steps), size), dtype=int), np.zeros((len(steps), size), dtype=int)
    for i, leg in enumerate(steps):
        for j, work in enumerate(leg.work):
            counts[i, j] = times[work.level.name]
        if i >= legs.one_off and leg.rounds is not BATCH.per_batch:
            rounds[i] = np.maximum(np.ceil(leg.rounds(in_hand)), 1)
        lots[i] = _lots(leg, times, size)
    after = np.arange(1, len(steps) + 1)
    # The report is no part of a first pass; from it work goes on with the first stage that is done again.
    redone = [i for i in range(1, legs.one_off) if steps[i].stage >= again]
    after[0] = redone[0] if redone else legs.one_off
    return Chain(pieces, counts, rounds, lots, after, legs.back)


def _lots(leg, times, size):
    """Over how many lots, which fail one by one, 0…N pieces are spread; at least one, at most one a piece: (N + 1,)."""
    pieces = np.arange(size)
    if leg.spoils == "part":
        return pieces
    if leg.spoils == "batch":
        return np.minimum(pieces, 1)
    if leg.spoils not in times:
        raise InputError(f"{leg.name!r} spoils a {leg.spoils}, but no work of the route counts by the {leg.spoils}.")
    return np.minimum(np.maximum(times[leg.spoils], 1), pieces).astype(int)
