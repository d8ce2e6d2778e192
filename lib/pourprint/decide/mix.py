"""Mix the routes: each part of a kit may go by a route of its own.

A candidate is a sub-kit (some of the parts) by one route. It is planned in full, so that shared clusters, boxes and
plates, their rounding up, and work paid once a route cost what the plan says. Choosing among the candidates is a
set partition, solved as an integer programme by HiGHS (`scipy.optimize.milp`): each candidate is taken or not, each
route at most once, every piece exactly once. Where candidates are few, all are planned and the optimum is proven.
Where they are many, estimates from the parts alone say which to plan, and the programme is solved again until all
that it takes are planned: every number reported is a real plan's, but the result says `proven=False`.

Days of a mix are those of its slowest route, as if each route had people and machines of its own; `together`
leads the routes through one shared workshop. Failures are not priced here (see `risk`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pourprint.decide.candidates import Ask, Candidates
from pourprint.decide.partition import Question, begin_of, certain, in_one_workshop, solve
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.plans.jobs import Job
from pourprint.plans.plan import Plan
from pourprint.plans.workshop import Workshop
from pourprint.routes import ROUTES

FEW = 130  # candidates that are all planned, so that the optimum is proven
MOST_CANDIDATES = 20_000
WANTS = ("cost", "days", "regret")


@dataclass(frozen=True)
class Choices:
    """A job's candidates, ready to be chosen from: make it with `choices`."""

    pool: Candidates

    def best(self, want="cost", deadline_days=None, price_of_day=0.0, limits=None, shared=None):
        """The best mix under a deadline and limits: a Mix, or a NoMix with the reason.

        Parameters: `want` "cost" (with the price of the days; the mean, where there are several cards), "days", or
        "regret" (the largest regret over the cards: cost above that of the best mix for that card);
        `deadline_days` [d]; `price_of_day` [currency/d]; `limits` {rate key: most}, hours of people and machines
        or amounts of material as in `usage`; `shared` a Workshop whose people and machines all routes share
        (default: each route has its own). Raises: InputError.
        """
        if want not in WANTS:
            raise InputError(f"want must be one of {', '.join(WANTS)}, not {want!r}.")
        if shared is not None and (want == "regret" or not isinstance(shared, Workshop)):
            raise InputError("shared must be a Workshop, and then want must be cost or days.")
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day, **(limits or {}))
        if deadline_days is not None:
            check_numbers(arrays=False, deadline_days=deadline_days)
        if odd := [key for key in limits or {} if key not in self.pool.used]:
            raise InputError(f"no candidate uses {odd[0]!r}; limits may name {', '.join(sorted(self.pool.used))}.")
        question = Question(want, np.inf if deadline_days is None else deadline_days, price_of_day, limits or {})
        return self._answer(question, shared)[1]

    def _answer(self, question, shared=None):
        """(these choices, knowing more, and the Mix or NoMix)."""
        pool, found = solve(self.pool, question, shared)
        if shared and not found:  # the search may have given up before it came to a mix that is quick enough
            pool, quickest = solve(pool, replace(question, want="days", deadline=np.inf), shared)
            if quickest and quickest.days_shared <= question.deadline:
                found = replace(quickest, proven=False)
        return Choices(pool), _mix(pool, found, question) if found else NoMix(*_why_not(pool, question, shared))

    def frontier(self, limits=None, least_gain_days=0.25):
        """Mixes from the cheapest to the fastest, each the cheapest for its days: tuple of Mix.

        Parameters: `limits` as for `best`; `least_gain_days` [d]: each mix is faster than the last by this much,
        but for the fastest of all. Empty where the limits leave no mix. Days are with people for each route.
        """
        check_numbers(arrays=False, least_gain_days=least_gain_days)
        question = Question("cost", np.inf, 0.0, limits or {})
        more, quickest = self._answer(replace(question, want="days"))
        more, mix = more._answer(question)
        found = [mix] if mix.feasible else []
        while found and found[-1].days - least_gain_days > quickest.days + 1e-6:
            more, mix = more._answer(replace(question, deadline=found[-1].days - least_gain_days))
            found.append(mix)
        if found and found[-1].days > quickest.days + 1e-6:
            found.append(quickest)
        # Of mixes that cost the same only the fastest counts.
        return tuple(m for i, m in enumerate(found) if i + 1 == len(found) or found[i + 1].cost > m.cost + 1e-6)

    def single_routes(self):
        """{route: (cost [currency], days [d])} of sending the whole kit by one route, at the lab's own card."""
        whole = np.flatnonzero((self.pool.counts == self.pool.ask.need).all(axis=1))
        pool = self.pool.checked(whole)
        return {str(pool.routes[j]): (float(pool.cost[0, j]), float(pool.days[0, j])) for j in whole if pool.open[j]}


def choices(job, rates, routes=tuple(ROUTES), by="part", alloys=None, only=None, start=None, cards=(), prove=None):
    """Lay out the candidates of a job, once for any number of questions.

    Parameters: `job` of single numbers; `rates` the lab's RateCard; `routes` to choose from; `by` "part" (all
    pieces of a part go together) or "node" (each piece for itself); `alloys` {route: alloy} where it is not the
    job's; `only` {part name: routes allowed}; `start` date and time (default: some Monday, no holidays); `cards`
    more rate cards that may hold just as well as `rates`, for the mean and for regret; `prove` plans every
    candidate at once (default: where there are few, or several cards).
    Returns: Choices. Raises: InputError, also when some part can go by no route.
    """
    if not isinstance(job, Job) or np.ndim(job.quantity) or np.ndim(job.batch_size) or np.ndim(job.kit.volume_cm3):
        raise InputError(f"job must be a Job of single numbers, not {job!r}.")
    if by not in ("part", "node"):
        raise InputError(f'by must be "part" or "node", not {by!r}.')
    alloys, only, names = alloys or {}, only or {}, [item.part.name for item in job.kit.parts]
    for what, given, known in (("routes", routes, ROUTES), ("alloys", alloys, routes), ("only", only, names)):
        if odd := [name for name in given if name not in known]:
            raise InputError(f"{what} names {odd[0]!r}; known are {', '.join(known)}.")
    if odd := [route for allowed in only.values() for route in allowed if route not in routes]:
        raise InputError(f"only names the route {odd[0]!r}; this mix chooses from {', '.join(routes)}.")
    if len({*names}) < len(names):
        raise InputError("two parts of the kit have the same name: give each its own.")
    ask = Ask(job, (rates, *cards), tuple(routes), by, alloys, only, start)
    size = sum(np.prod(ask.allowed(r) + 1 if by == "node" else 1 + (ask.allowed(r) > 0)) - 1 for r in routes)
    if size > MOST_CANDIDATES:
        raise InputError(
            f"{size} sub-kits are too many to choose from, at most {MOST_CANDIDATES}: bind some parts to a route with "
            'only, leave routes out, or choose by="part".'
        )
    return Choices(Candidates.of(ask, reals=bool(cards) or (size <= FEW if prove is None else prove)))


@dataclass(frozen=True)
class Mix:
    """A kit divided among routes.

    `plans` {route: Plan of its sub-kit}, real plans at the lab's own card; `counts` {route: pieces of each part};
    `days` [d] of the slowest route, each with its own people and machines; `days_shared` [d] in the shared
    workshop, or nan when none was asked for; `regrets` [currency] over the cards, (cards,), or nan.
    """

    plans: Mapping[str, Plan]
    counts: Mapping[str, tuple[int, ...]]
    days: float
    price_of_day: float
    proven: bool
    days_shared: float = np.nan
    regrets: tuple[float, ...] = ()

    feasible = True

    @property
    def cost(self):
        """Cost of all kits, the price of the days left out [currency]."""
        return sum(plan.total_cost for plan in self.plans.values())

    @property
    def cost_with_delay(self):
        """Cost with the price of the days [currency], of the shared days where a workshop was asked for."""
        return self.cost + self.price_of_day * (self.days if np.isnan(self.days_shared) else self.days_shared)

    def routes_of(self):
        """{part: {route: pieces}}: which way each part goes."""
        found = {}
        for route, plan in self.plans.items():
            for item in plan.job.kit.parts:
                found.setdefault(item.part.name, {})[route] = item.count
        return found

    def together(self, workshop, start):
        """All routes in one shared workshop: a Timeline. They queue by the workshop's rule, longest plan first."""
        return in_one_workshop(self.plans, workshop, start)

    def table(self):
        """One row a part: pieces a kit by each route."""
        import pandas as pd

        table = pd.DataFrame(self.routes_of()).T.rename(columns={r: p.title for r, p in self.plans.items()})
        return table.fillna(0).astype(int).rename_axis("part")

    def __str__(self):
        said = [f"{plan.title.lower()}: {_listed(plan.job.kit)}" for plan in self.plans.values()]
        return "; ".join(said)


def _listed(kit):
    return ", ".join(f"{item.count} × {item.part.name}" for item in kit.parts)


@dataclass(frozen=True)
class NoMix:
    """No mix meets the deadline and the limits: why, and the fastest found within the limits, if any."""

    reason: str
    fastest: Mix | None = None

    feasible = False


def _mix(pool, found, question):
    """The Mix of a choice, planned again sub-kit by sub-kit."""
    plans = pool.plans(found.chosen)
    counts = {str(pool.routes[j]): tuple(pool.counts[j].tolist()) for j in found.chosen}
    days = max(float(pool.ask.days(plan)) for plan in plans.values())
    return Mix(plans, counts, days, question.price, found.proven, found.days_shared, found.regrets)


def _why_not(pool, question, shared):
    """(reason in words, fastest Mix or None) of a question without an answer."""
    free = replace(question, want="days", deadline=np.inf)
    pool, fastest = solve(pool, free, shared)
    if fastest is None:
        return _short_of(pool, question.limits), None
    mix = _mix(pool, fastest, free)
    slowest = max(mix.plans.values(), key=lambda plan: float(pool.ask.days(plan)))
    days = fastest.days_shared if shared else mix.days
    took = {}
    for span in slowest.spans(begin_of(slowest.rates.hours, pool.ask.start)):
        took[span.step.name] = took.get(span.step.name, 0.0) + (span.end_h - span.ready_h) / 24
    longest, found = max(took, key=took.get), "" if fastest.proven else " found"
    said = (
        f"no mix is ready in {question.deadline:.1f} days: the fastest{found} takes {days:.1f} days ({mix}). "
        f'{slowest.title} sets the pace; its longest step is "{longest}" with {took[longest]:.1f} days.'
    )
    if question.limits:
        pool, freest = solve(pool, replace(free, limits={}), None)
        unlimited = _mix(pool, freest, free).days
        if unlimited < days - 1e-6:
            said += f" Without the limits and with people for each route it would take {unlimited:.1f} days."
    return said, mix


def _short_of(pool, limits):
    """Which limits cannot be met, and what would be needed at least."""
    free = Question("cost", np.inf, 0.0, {})
    least = {key: certain(pool, free, "cost", least_of=key)[1][1] for key in limits}
    short = [f"{key}: {least[key]:.1f} needed, {limits[key]:g} allowed" for key in limits if least[key] > limits[key]]
    if short:
        return f"the limits leave no mix: at the least {'; '.join(short)}. Raise what falls short, or make fewer kits."
    return f"each limit can be met alone, but not all together: loosen one of {', '.join(limits)}."
