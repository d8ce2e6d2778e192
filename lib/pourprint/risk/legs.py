"""The legs that a batch walks, in order, and where failures send it back: what a simulation and a closed form share."""

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.plans.plan import Plan
from pourprint.plans.steps import BATCH, JOB, Stage, Step, Work, weighed

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
    n: int = 1

    @cached_property
    def base(self):
        """The legs at the plan's own inputs."""
        return _legs(self.plan, self.plan.rates[REPORT_TIME])

    @cached_property
    def drawn(self):
        """The same legs at the inputs drawn."""
        return _legs(self.sampled, self.plan.rates[REPORT_TIME])

    @cached_property
    def one_off(self):
        """How many legs come before the batch's own: the report of a design error and one-off work."""
        return 1 + len(self.plan.once_and_each[0])

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
        """Chance that a lot fails on each leg, (S, n)."""
        return 1 - np.stack([np.broadcast_to(leg.first_pass_yield, self.n) for leg in self.drawn])

    def hours(self, runs):
        """Hours of each work done once: by hand, of the machine, to unload, to wait (4, S, W, runs); `runs` slice."""
        hours = np.zeros((4, len(self.drawn), max(len(leg.work) for leg in self.drawn), runs.stop - runs.start))
        for i, leg in enumerate(self.drawn):
            for j, work in enumerate(leg.work):
                each = work.hands_on_h, work.machine_h + work.cooling_h, work.unload_h, work.wait_h
                for kind, own in enumerate(each):
                    hours[kind, i, j] = own[runs] if np.ndim(own) else own
        return hours

    def amounts(self, done):
        """What work done takes, leg by leg: {rate key: (S, …)}, as `weighed`. `done` (2, S, W, …) times, plainly and
        by hand."""
        found = defaultdict(lambda: np.zeros((len(self.drawn), *done.shape[3:])))
        for i, leg in enumerate(self.drawn):
            for j, work in enumerate(leg.work):
                by_hand = Work(work.level, hands_on_h=work.hands_on_h, people=work.people)
                for kind, part in enumerate((replace(work, hands_on_h=0.0), by_hand)):
                    for key, amount in weighed(leg, part, self.sampled.rates).items():
                        found[key][i] += done[kind, i, j] * amount
        return found


def _legs(plan, report_h):
    """One-off work, piece by piece, the first batch and the check of the design; before them the report of an error."""
    one_off, batch = plan.once_and_each
    report = Step(Stage.DESIGN, REPORT, (Work(BATCH, wait_h=report_h),))
    check = Step(Stage.FINISH, CHECK, (), spoils="batch", returns_to=REPORT)
    return (report, *one_off, *batch, check)


def chain_of(legs, pieces):
    """How batches of 0…N `pieces` walk a plan's Legs: how often each work falls due (S, W, N + 1), rounds (S, N + 1),
    and lots (S, N + 1) that the pieces are spread over and that fail one by one; at least one, at most one a piece.

    Raises: InputError when a step names an unknown lot.
    """
    steps, pieces = legs.base, np.arange(pieces + 1)
    kits = pieces / legs.plan.job.kit.nodes  # in fractions
    times = {work.level.name: work.level.per_batch(kits) for step in legs.plan.steps for work in step.work}
    times |= {JOB.name: pieces > 0, BATCH.name: np.minimum(pieces, 1)}
    spoilt, rounds, lots = times | {"part": pieces}, [], []
    counts = np.zeros((len(steps), max(len(leg.work) for leg in steps), pieces.size))
    for i, leg in enumerate(steps):
        for j, work in enumerate(leg.work):
            counts[i, j] = times[work.level.name]
        if leg.spoils not in spoilt:
            raise InputError(
                f"{leg.name!r} spoils a {leg.spoils}, but no work of the route counts by the {leg.spoils}."
            )
        rounds.append(np.broadcast_to(np.maximum(leg.rounds(kits), 1), pieces.size))
        lots.append(np.minimum(np.maximum(spoilt[leg.spoils], 1), pieces))
    return counts, np.array(rounds, dtype=int), np.array(lots, dtype=int)
