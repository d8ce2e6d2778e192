"""The legs that a batch walks, in order, and where failures send it back: what a simulation and a closed form share."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pourprint.errors import InputError
from pourprint.plans import Plan
from pourprint.steps import BATCH, JOB, Level, Stage, Step, Work

REPORT, CHECK = "the design error is reported", "assemble the first kit and check its design"


@dataclass(frozen=True)
class Counted(Plan):
    """A plan whose work was counted on the way, instead of foreseen: its own formulas then give costs and hours.

    `counts` {name of a level: times done}, with a level of its own for each piece of work.
    """

    counts: Mapping = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class Chain:
    """The legs that a batch walks, and where it goes on from each: once good, to `after`; what failed, to `back`.

    `legs` (S,) of Step; `pieces` N begun in the batch, `spares` of them more than wanted. For 0…N pieces in hand:
    `counts` (S, W, N + 1) how often each work falls due, `rounds` (S, N + 1), `lots` (S, N + 1) that the pieces are
    spread over and that fail one by one. `start` is the first leg; `one_off` how many come before the batch's own.
    """

    legs: tuple[Step, ...]
    pieces: int
    spares: int
    counts: np.ndarray
    rounds: np.ndarray
    lots: np.ndarray
    after: np.ndarray
    back: np.ndarray
    start: int
    one_off: int

    def counted(self, plan, legs, counts, by_hand):
        """The legs as a Counted plan.

        Parameters: `legs` these or the same at other inputs; `counts`, `by_hand` (S, W, …) times done, the second
        for hands-on time, which may run long or short.
        """
        steps, table = [], {}
        for i, leg in enumerate(legs):
            work = []
            for j, piece in enumerate(leg.work):
                hands, rest = (Level(f"{i}.{j} {kind}", piece.level.per_batch) for kind in ("by hand", "alone"))
                by_people = Work(hands, hands_on_h=piece.hands_on_h, people=piece.people)
                work += [by_people, replace(piece, level=rest, hands_on_h=0.0)]
                table[hands.name], table[rest.name] = by_hand[i, j], counts[i, j]
            steps.append(replace(leg, work=tuple(work)))
        fields = {name: getattr(plan, name) for name in ("route", "title", "job", "rates", "recipe")}
        return Counted(**fields, steps=tuple(steps), counts=table)


def batch_legs(plan):
    """The steps of one batch, without one-off work."""
    kept = ((step, tuple(work for work in step.work if work.level is not JOB)) for step in plan.steps)
    return tuple(step if len(work) == len(step.work) else replace(step, work=work) for step, work in kept if work)


def all_legs(plan, report_h):
    """One-off work, piece by piece, the first batch and the check of the design; before them the report of an error."""
    one_off = [
        replace(step, work=(work,), whole=False, first_pass_yield=1.0, returns_to="")
        for step in plan.steps
        for work in step.work
        if work.level is JOB
    ]
    report = Step(Stage.DESIGN, REPORT, (Work(BATCH, wait_h=report_h),))
    check = Step(Stage.FINISH, CHECK, (), spoils="batch", returns_to=REPORT)
    return (report, *one_off, *batch_legs(plan), check)


def chain_of(plan, legs, kits, spares=0, again=Stage.DESIGN):
    """The Chain of legs for a batch of some kits.

    Parameters: `legs` from `batch_legs` or `all_legs`; `spares` pieces begun beyond those wanted; `again` the stage
    from which on one-off work is done again after a design error. Raises: InputError when a step names an unknown
    step or lot.
    """
    pieces = kits * plan.job.kit.nodes + spares
    in_hand = np.arange(pieces + 1) / plan.job.kit.nodes  # kits, in fractions
    levels = {work.level.name: work.level for step in plan.steps for work in step.work}
    names = [leg.name if not _is_one_off(leg) else "" for leg in legs]
    count, width = len(legs), max(len(leg.work) for leg in legs)
    counts, rounds = np.zeros((count, width, pieces + 1)), np.ones((count, pieces + 1), dtype=int)
    lots, back = np.zeros((count, pieces + 1), dtype=int), np.arange(count)
    for i, leg in enumerate(legs):
        for j, work in enumerate(leg.work):
            counts[i, j] = in_hand > 0 if work.level is JOB else work.level.per_batch(in_hand)
        if not _is_one_off(leg):
            rounds[i] = np.maximum(np.ceil(leg.rounds(in_hand)), 1)
        lots[i] = _lots(leg, levels, in_hand)
        if leg.returns_to:
            if leg.returns_to not in names[: i + 1]:
                raise InputError(f"{leg.name!r} returns work to {leg.returns_to!r}, which is no step before it.")
            back[i] = names.index(leg.returns_to)
    after, one_off = np.arange(1, count + 1), sum(map(_is_one_off, legs)) + (REPORT in names)
    if REPORT in names:
        # The report is no part of a first pass; from it work goes on with the first stage that is done again.
        redone = [i for i in range(1, one_off) if legs[i].stage >= again]
        after[0] = redone[0] if redone else one_off
    return Chain(legs, pieces, spares, counts, rounds, lots, after, back, int(REPORT in names), one_off)


def _is_one_off(leg):
    return any(work.level is JOB for work in leg.work)


def _lots(leg, levels, in_hand):
    """Over how many lots, which fail one by one, the pieces in hand are spread; at least one, at most one a piece."""
    pieces = np.arange(in_hand.size)
    if leg.spoils == "part":
        return pieces
    if leg.spoils == "batch":
        return np.minimum(pieces, 1)
    if leg.spoils not in levels:
        raise InputError(f"{leg.name!r} spoils a {leg.spoils}, but no work of the route counts by the {leg.spoils}.")
    return np.minimum(np.maximum(levels[leg.spoils].per_batch(in_hand), 1), pieces).astype(int)
