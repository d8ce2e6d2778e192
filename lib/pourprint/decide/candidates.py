"""Candidates of a mix: sub-kits of a job, each by one route, laid side by side in arrays, estimated or planned."""

import itertools
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from pourprint.decide.estimates import a_piece_of, merged
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.plans.plan import lead_time
from pourprint.plans.steps import BATCH, JOB, Level
from pourprint.routes import ROUTES, plan


def usage(plan):
    """What a plan takes of everything that may be scarce: {rate key: amount}.

    Hours of people ("labour.technician") and machines ("machine.kiln") [h], materials ("powder.AlSi7Mg") in the
    unit of their price; and the hours of people by the clock ("clock.labour.technician") [h], of which several who
    work side by side take fewer.
    """
    used = {}

    def add(key, amount):
        used[key] = used.get(key, 0.0) + amount

    for step in plan.steps:
        hands_on, occupied = plan.hours_of(step)
        add(step.who, hands_on)
        add(f"clock.{step.who}", sum(plan.counts[work.level.name] * work.hands_on_h for work in step.work))
        if step.machine:
            add(f"machine.{step.machine}", occupied)
        for work in step.work:
            for key, amount in work.materials.items():
                add(key, plan.counts[work.level.name] * amount)
    return used


def stacked(plans):
    """Plans of one route for several kits as one Plan, whose results are arrays over the kits, (n,).

    Parameters: `plans` of single numbers whose steps differ in their numbers only. Returns: Plan.
    """

    def of(functions):
        def per_batch(kits):
            kits = np.asarray(kits)
            return np.stack([f(kits[..., j] if kits.ndim else kits) for j, f in enumerate(functions)], axis=-1)

        return per_batch

    def level(levels):
        known = levels[0] is JOB or levels[0] is BATCH
        return levels[0] if known else Level(levels[0].name, of([each.per_batch for each in levels]))

    def work(works):
        return replace(
            works[0],
            level=level([each.level for each in works]),
            **{name: np.stack([getattr(w, name) for w in works]) for name in ("hands_on_h", "machine_h", "wait_h")},
            materials={key: np.stack([w.materials[key] for w in works]) for key in works[0].materials},
        )

    def step(steps):
        alike = steps[0].rounds is BATCH.per_batch
        rounds = steps[0].rounds if alike else of([each.rounds for each in steps])
        return replace(steps[0], work=tuple(map(work, zip(*(s.work for s in steps), strict=True))), rounds=rounds)

    return replace(plans[0], steps=tuple(map(step, zip(*(p.steps for p in plans), strict=True))))


def _form(plan):
    """What two plans must share to be stacked: everything about their steps but numbers."""

    def of(step):
        works = ((work.level.name, work.level is JOB, work.level is BATCH, *work.materials) for work in step.work)
        return step.name, step.who, step.machine, step.attended, step.rounds is BATCH.per_batch, *works

    return tuple(map(of, plan.steps))


@dataclass(frozen=True)
class Ask:
    """What a mix is planned for: see `choices`."""

    job: Job
    cards: tuple[RateCard, ...]
    routes: tuple[str, ...]
    by: str
    alloys: Mapping[str, str]
    only: Mapping[str, tuple[str, ...]]
    start: str | None

    @cached_property
    def need(self):
        """Pieces of each part in a kit, (parts,) [-]."""
        return np.array([item.count for item in self.job.kit.parts])

    def days(self, plan):
        """Calendar days of a plan, or of each plan in a stack [d]."""
        return plan.lead_time_days if self.start is None else lead_time(plan, self.start).days

    def plan(self, route, counts, card):
        """The real plan of a sub-kit: `counts` pieces of each part. Raises: Infeasible."""
        parts = tuple(replace(item, count=int(n)) for item, n in zip(self.job.kit.parts, counts, strict=True) if n)
        kit = Kit(f"{self.job.kit.name}, {ROUTES[route].TITLE.lower()}", parts)
        return plan(route, self.job.with_(kit=kit, alloy=self.alloys.get(route, self.job.alloy)), card)

    def allowed(self, route):
        """How many pieces of each part may go by a route, (parts,) [-]."""
        free = [route in self.only.get(item.part.name, self.routes) for item in self.job.kit.parts]
        return self.need * free

    def sub_kits(self, route, able):
        """Every candidate of a route, (n, parts) pieces [-]: whole parts, or any number of pieces by node.

        Parameters: `able` (parts,) which parts the route can make at all.
        """
        most = (self.allowed(route) * able).tolist()
        steps = [range(n + 1) if self.by == "node" else sorted({0, n}) for n in most]
        return np.array([counts for counts in itertools.product(*steps) if any(counts)]).reshape(-1, len(most))


@dataclass(frozen=True)
class Candidates:
    """Sub-kits of a job, each by one route, (n,) of them.

    `routes` (n,) and `counts` (n, parts) say what each is; `cost` [currency] and `days` [d] are (cards, n), the
    first card being the lab's own; `used` {rate key: (n,)} as in `usage`; `real` (n,) says which are planned, the
    others being estimates; `open` (n,) which may be taken; `reasons` {(route, part): why not}.
    """

    ask: Ask
    routes: np.ndarray
    counts: np.ndarray
    cost: np.ndarray = field(repr=False)
    days: np.ndarray = field(repr=False)
    used: Mapping[str, np.ndarray] = field(repr=False)
    real: np.ndarray = field(repr=False)
    open: np.ndarray = field(repr=False)
    reasons: Mapping[tuple[str, str], str] = field(repr=False)

    @classmethod
    def of(cls, ask, reals):
        """All candidates of a question: planned where `reals`, else estimated. Raises: InputError.

        A part that no route can make is named with the reasons.
        """
        names, found, reasons = [item.part.name for item in ask.job.kit.parts], [], {}
        for route in ask.routes:
            alone = [_alone(ask, route, i, reasons) for i in range(len(names))]
            counts = ask.sub_kits(route, np.array([plan is not None for plan in alone]))
            if len(counts):
                found.append(_estimated(ask, route, counts, alone))
        made = np.concatenate([each.counts for each in found] or [np.zeros((1, len(names)))]).any(axis=0)
        if not made.all():
            part = names[int(np.argmin(made))]
            why = "; ".join(f"{ROUTES[route].TITLE}: {why}" for (route, name), why in reasons.items() if name == part)
            raise InputError(f"no route can make {part}. {why}")
        keys = sorted({key for each in found for key in each.used})
        pool = cls(
            ask,
            *(np.concatenate([getattr(each, name) for each in found]) for name in ("routes", "counts")),
            *(np.concatenate([getattr(each, name) for each in found], axis=1) for name in ("cost", "days")),
            {key: np.concatenate([each.used.get(key, np.zeros(len(each.routes))) for each in found]) for key in keys},
            *(np.concatenate([getattr(each, name) for each in found]) for name in ("real", "open")),
            reasons,
        )
        return pool.checked(np.arange(len(pool.routes))) if reals else pool

    def plans(self, chosen):
        """The plans of the candidates taken, planned again at the lab's own card: {route: Plan}."""
        own = {str(self.routes[j]): self.counts[j] for j in chosen}
        return {r: self.ask.plan(r, own[r], self.ask.cards[0]) for r in self.ask.routes if r in own}

    def hoped(self, share):
        """The same candidates, those not planned cheaper and quicker by a share [-]."""
        hope = np.where(self.real, 1.0, 1.0 - share)
        return replace(self, cost=self.cost * hope, days=self.days * hope)

    def checked(self, which):
        """The same candidates, those at `which` (indices) planned for real; what cannot be made is closed."""
        cost, days, real, is_open = (array.copy() for array in (self.cost, self.days, self.real, self.open))
        used, groups = {key: array.copy() for key, array in self.used.items()}, {}
        for j in which:
            if self.real[j]:
                continue
            try:
                plans = [self.ask.plan(self.routes[j], self.counts[j], card) for card in self.ask.cards]
            except Infeasible:
                is_open[j] = False
                continue
            groups.setdefault((self.routes[j], *map(_form, plans)), []).append((j, plans))
        real[which] = True
        for members in groups.values():
            at = np.array([j for j, _ in members])
            stacks = [stacked(list(plans)) for plans in zip(*(plans for _, plans in members), strict=True)]
            for s, stack in enumerate(stacks):
                cost[s, at], days[s, at] = stack.total_cost, self.ask.days(stack)
            for array in used.values():
                array[at] = 0.0
            for key, amount in usage(stacks[0]).items():
                used.setdefault(key, np.zeros(len(real)))[at] = amount
        return replace(self, cost=cost, days=days, used=used, real=real, open=is_open)


def _alone(ask, route, i, reasons):
    """The plans of one piece of a part at each card, in company as large as the kit's; or None, the reason noted."""
    if not ask.allowed(route)[i]:
        return None
    pieces = int(ask.need.sum())
    try:
        return [
            a_piece_of(ask.plan(route, pieces * (np.arange(len(ask.need)) == i), card), pieces) for card in ask.cards
        ]
    except Infeasible as reason:
        reasons[route, ask.job.kit.parts[i].part.name] = str(reason)
        return None


def _estimated(ask, route, counts, alone):
    """Candidates of one route, estimated from its parts alone."""
    able = [i for i, plan in enumerate(alone) if plan is not None]
    pairs = [None] * len(ask.cards)
    if len(able) > 1:
        both = np.isin(np.arange(len(alone)), able[:2])
        with suppress(Infeasible):
            pairs = [ask.plan(route, both, card) for card in ask.cards]
    stacks = [merged([p and p[s] for p in alone], pairs[s], counts) for s in range(len(ask.cards))]
    n = len(counts)
    found = Candidates(
        ask,
        np.array([route] * n, dtype=object),
        counts,
        np.stack([np.broadcast_to(stack.total_cost, n) for stack in stacks]),
        np.stack([np.broadcast_to(ask.days(stack), n) for stack in stacks]),
        {key: np.broadcast_to(amount, n) for key, amount in usage(stacks[0]).items()},
        np.zeros(n, bool),
        np.ones(n, bool),
        {},
    )
    # Company changes more than rounding (longer coats, denser plates): lead the estimates to the plan of all parts.
    full = found.checked([n - 1])
    if not full.open[-1]:
        return full
    kinds = np.count_nonzero(counts, axis=1) - 1
    company = kinds / max(kinds.max(), 1)
    led = {}
    for name in ("cost", "days"):
        guess, truth = getattr(found, name), getattr(full, name)
        led[name] = np.where(full.real, truth, guess * (1 + company * (truth[:, -1:] / guess[:, -1:] - 1)))
    return replace(full, **led)
