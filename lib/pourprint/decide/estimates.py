"""What a sub-kit would take, put together from the plans of its parts alone: quick, and close to the real plan.

Work that falls due once a job is shared where two parts together need less than both alone; loads (clusters, boxes,
plates, melts) are filled by the parts' shares of them and rounded up; set-ups, waiting and the hours of a load are
those of the part that asks most. Good enough to choose what to plan; never reported as a result.
"""

from dataclasses import replace

import numpy as np

from pourprint.plans.steps import BATCH, JOB, Level

MANY = 1e6  # kits in which rounding up no longer counts
SLIVER = 1e-3  # of a kit or a load: begins the first load, and is too little for one more
SHADE = 0.999  # hours are taken a shade short, so that what just fits a day is not pushed to the next


def a_piece_of(plan, pieces):
    """The plan of a kit of some equal pieces as that of one piece: where work falls due by the load or the part, a kit
    is one piece of it. What a piece takes can depend on the company that it is planned in (how it stands, say)."""

    def each(per_batch):
        return per_batch if per_batch is BATCH.per_batch else lambda kits: per_batch(np.asarray(kits) / pieces)

    def work(one):
        known = one.level is JOB or one.level is BATCH
        return one if known else replace(one, level=Level(one.level.name, each(one.level.per_batch)))

    steps = (replace(step, work=tuple(map(work, step.work)), rounds=each(step.rounds)) for step in plan.steps)
    return replace(plan, steps=tuple(steps))


def merged(alone, pair, counts):
    """One Plan whose results are arrays over sub-kits, (n,).

    Parameters: `alone` plans of one piece of each part, or None for a part that cannot be made; a step that a part
    does not need may be missing from its plan; `pair` plan of one piece each of the first two that can, or None;
    `counts` (n, parts) pieces [-]. Returns: Plan.
    """
    able = [i for i, plan in enumerate(alone) if plan is not None]
    pieces = counts[:, able].astype(float)
    plans = [_by_name(alone[i]) for i in able]
    together = _by_name(pair) if pair else {}
    steps = []
    for like in _all_steps(plans):
        mine = [plan.get(like.name) or _idle(like) for plan in plans]
        both = together[like.name].work if like.name in together else [None] * len(like.work)
        works = [_work(each, known, pieces) for *each, known in zip(*(s.work for s in mine), both, strict=True)]
        rounds = like.rounds
        if rounds is not BATCH.per_batch:
            rounds = _whole(_count([step.rounds for step in mine], pieces))
        steps.append(replace(like, work=tuple(works), rounds=rounds))
    return replace(alone[able[0]], steps=tuple(steps))


def _by_name(plan):
    return {step.name: step for step in plan.steps}


def _all_steps(plans):
    """Every step that one of the plans {name: Step} has, in the order that all of them keep."""
    found = []
    for plan in plans:
        at = 0
        for name, step in plan.items():
            names = [known.name for known in found]
            if name not in names:
                found.insert(at, step)
                names.insert(at, name)
            at = names.index(name) + 1
    return found


def _idle(step):
    """A step for a part that does not need it: its work takes nothing."""

    def idle(work):
        nothing = dict.fromkeys(("hands_on_h", "machine_h", "wait_h"), 0.0)
        return replace(work, **nothing, materials=dict.fromkeys(work.materials, 0.0))

    return replace(step, work=tuple(map(idle, step.work)))


def _most(values, pieces):
    """The largest of the parts' values over the parts of each sub-kit, (n,)."""
    return np.max(np.where(pieces > 0, np.asarray(values, dtype=float), 0.0), axis=1)


def _work(works, pair, pieces):
    level = works[0].level

    def amounts(read):
        return np.array([float(read(work)) for work in works])

    def put_together(read):
        values = amounts(read)
        if level is JOB:
            both = values[:2].sum() if pair is None else float(read(pair))
            base = np.clip(values[:2].sum() - both, 0.0, values.min())
            return base + (pieces > 0) @ (values - base)
        if level is BATCH or _is_load(works):
            return _most(values, pieces)
        weight = pieces * np.array([work.level.per_batch(MANY) / MANY for work in works])
        return weight @ values / weight.sum(axis=1)

    materials = {key: put_together(lambda work, key=key: work.materials[key]) for key in works[0].materials}
    hours = {key: put_together(lambda work, key=key: SHADE * getattr(work, key)) for key in ("hands_on_h", "machine_h")}
    hours["wait_h"] = SHADE * _most(amounts(lambda work: work.wait_h), pieces)
    known = level is JOB or level is BATCH
    merged_level = level if known else Level(level.name, _count([work.level.per_batch for work in works], pieces))
    return replace(works[0], level=merged_level, materials=materials, **hours)


def _is_load(works):
    """Whether work falls due in whole loads: one kit pays for more than its share."""
    return any(_at(work.level.per_batch, 1.0) > _at(work.level.per_batch, MANY) / MANY * (1 + 1e-6) for work in works)


def _whole(count):
    return lambda kits: np.rint(count(kits))


def _at(per_batch, kits):
    return float(np.max(per_batch(kits)))


def _count(functions, pieces):
    """Kits → how often, for each sub-kit: in whole loads where the parts alone are, else in proportion."""
    one = np.array([_at(f, 1.0) for f in functions])
    load = np.array([_at(f, SLIVER) for f in functions])  # what the first sliver of a kit takes
    share = np.array([_at(f, MANY) / MANY for f in functions])
    least, each = _most(one, pieces), pieces @ share
    if np.all(one <= share * (1 + 1e-6)):
        return lambda kits: kits * each
    if np.any(load % 1):  # an amount that grows with both kits and loads
        rest = _most(one - share, pieces)
        return lambda kits: kits * each + np.minimum(kits, 1) * rest
    largest, filled = _most(load, pieces), pieces @ (share / load)
    return lambda kits: np.maximum(largest * np.ceil(kits * filled - SLIVER), least * np.minimum(kits, 1))
