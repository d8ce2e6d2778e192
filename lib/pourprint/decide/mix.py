"""Mix the routes: each part of a kit may go by a route of its own.

Every sub-kit (some of the parts) is planned in full by every route, so that shared clusters, boxes and plates, their
rounding up, and work paid once a route cost what the plan says. Choosing among them is a set partition, solved as one
integer programme by HiGHS (`scipy.optimize.milp`): each sub-kit is taken or not, each route at most once, every piece
exactly once. The answer is the optimum, proven.

Days of a mix are those of its slowest route, as if each route had people and machines of its own; `Mix.together`
leads the routes of one through a shared workshop. Failures are not priced here (see `risk`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pourprint.decide.subkits import MOST, SubKits, sub_kits
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import in_words
from pourprint.ledger.errors import InputError
from pourprint.plans.jobs import Job
from pourprint.plans.orders import Order
from pourprint.plans.plan import Plan
from pourprint.routes import ROUTES

WANTS = ("cost", "days", "regret")


@dataclass(frozen=True)
class _Question:
    """What is asked of the sub-kits: see `Choices.best`."""

    want: str
    deadline: float
    price: float
    limits: Mapping[str, float]


@dataclass(frozen=True)
class Choices:
    """A job's sub-kits, ready to be chosen from: make it with `choices`."""

    kits: SubKits

    def best(self, want="cost", deadline_days=None, price_of_day=0.0, limits=None):
        """The best mix under a deadline and limits: a Mix, or a NoMix with the reason.

        Parameters: `want` "cost" (with the price of the days; the mean, where there are several cards), "days", or
        "regret" (the largest regret over the cards: cost above that of the best mix for that card);
        `deadline_days` [d]; `price_of_day` [currency/d]; `limits` {rate key: most}, hours of people and machines
        or amounts of material as in `usage`. Raises: InputError.
        """
        if want not in WANTS:
            raise InputError(f"want must be one of {', '.join(WANTS)}, not {want!r}.")
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day, **(limits or {}))
        if deadline_days is not None:
            check_numbers(arrays=False, deadline_days=deadline_days)
        if odd := [key for key in limits or {} if key not in self.kits.used]:
            raise InputError(f"no sub-kit uses {odd[0]!r}; limits may name {', '.join(sorted(self.kits.used))}.")
        latest = np.inf if deadline_days is None else deadline_days
        question = _Question(want, latest, price_of_day, limits or {})
        return self._answer(question) or self._why_not(question)

    def frontier(self, limits=None, least_gain_days=0.25):
        """Mixes from the cheapest to the fastest, each the cheapest for its days: tuple of Mix.

        Parameters: `limits` as for `best`; `least_gain_days` [d]: each mix is faster than the last by this much,
        but for the fastest of all. Empty where the limits leave no mix. Days are with people for each route.
        """
        check_numbers(arrays=False, least_gain_days=least_gain_days)
        quickest, mix = self.best("days", limits=limits), self.best(limits=limits)
        found = [mix] if mix.feasible else []
        while found and found[-1].days - least_gain_days > quickest.days + 1e-6:
            found.append(self.best(deadline_days=found[-1].days - least_gain_days, limits=limits))
        if found and found[-1].days > quickest.days + 1e-6:
            found.append(quickest)
        # Of mixes that cost the same only the fastest counts.
        return tuple(m for i, m in enumerate(found) if i + 1 == len(found) or found[i + 1].cost > m.cost + 1e-6)

    def single_routes(self):
        """{route: (cost [currency], days [d])} of sending the whole kit by one route, at the lab's own card."""
        kits = self.kits
        whole = np.flatnonzero((kits.counts == kits.need).all(axis=1))
        return {str(kits.routes[j]): (float(kits.cost[0, j]), float(kits.days[0, j])) for j in whole}

    def _answer(self, question):
        """The Mix that answers a question, or None."""
        kits, cards, more, bests = self.kits, np.eye(len(self.kits.cost)), [], []
        rest, latest = np.zeros(len(kits.plans)), np.full(len(cards), question.deadline)
        goals = {
            "cost": np.r_[kits.cost.mean(axis=0), question.price * cards.mean(axis=0), 0],
            "days": np.r_[rest, cards.mean(axis=0), 0],
            "regret": np.r_[rest, 0 * cards[0], 1],
        }
        if question.want == "regret":
            for cost, card in zip(kits.cost, cards, strict=True):
                own = np.r_[cost, question.price * card, 0]
                best = _programme(kits, own, np.where(card, question.deadline, np.inf), question.limits)
                if best is None:
                    return None
                bests.append(best[1])
                more.append((np.r_[own[:-1], -1], -np.inf, best[1]))
        found = _programme(kits, goals[question.want], latest, question.limits, more)
        if found and question.want == "days":  # of all that are as fast, the cheapest
            latest = kits.days[:, found[0]].max(axis=1) + 1e-6
            found = _programme(kits, goals["cost"], latest, question.limits) or found
        return found and self._mix(found[0], question.price, bests)

    def _mix(self, chosen, price, bests=()):
        kits, taken = self.kits, {str(self.kits.routes[j]): j for j in chosen}
        plans = {route: kits.plans[taken[route]] for route in ROUTES if route in taken}
        days = {route: float(kits.days[0, taken[route]]) for route in plans}
        costs = kits.cost[:, chosen].sum(axis=1) + price * kits.days[:, chosen].max(axis=1)
        return Mix(plans, days, price, tuple((costs - bests).tolist()) if bests else ())

    def _why_not(self, question):
        """The NoMix of a question without an answer: which limits fall short, or what sets the pace."""
        free = replace(question, want="days", deadline=np.inf)
        fastest, unlimited = self._answer(free), self._answer(replace(free, limits={}))
        if fastest is None:
            return NoMix(self._short_of(question.limits))
        slowest = max(fastest.plans.values(), key=lambda plan: fastest.days_of[plan.route])
        took = {}
        for span in slowest.spans():
            took[span.step.name] = took.get(span.step.name, 0.0) + (span.end_h - span.ready_h) / 24
        longest = max(took, key=took.get)
        said = (
            f"no mix is ready in {question.deadline:.1f} days: the fastest takes {fastest.days:.1f} days ({fastest}). "
            f'{slowest.title} sets the pace; its longest step is "{longest}" with {took[longest]:.1f} days.'
        )
        if question.limits and unlimited.days < fastest.days - 1e-6:
            said += f" Without the limits it would take {unlimited.days:.1f} days."
        return NoMix(said, fastest)

    def _short_of(self, limits):
        """Which limits cannot be met, and what would be needed at least."""
        free, short = np.full(len(self.kits.cost), np.inf), []
        for key, most in limits.items():
            _, least = _programme(self.kits, np.r_[self.kits.used[key], np.zeros(len(free) + 1)], free, {})
            if least > most:
                short.append(f"{in_words(key)}: {least:.1f} needed, {most:g} allowed")
        if short:
            return (
                f"the limits leave no mix: at the least {'; '.join(short)}. Raise what falls short, or make fewer kits."
            )
        return f"each limit can be met alone, but not all together: loosen one of {', '.join(map(in_words, limits))}."


def choices(job, rates, routes=tuple(ROUTES), by="part", alloys=None, only=None, cards=()):
    """Plan every sub-kit of a job, once for any number of questions.

    Parameters: `job` of single numbers; `rates` the lab's RateCard; `routes` to choose from; `by` "part" (all
    pieces of a part go together) or "node" (each piece for itself); `alloys` {route: alloy} where it is not the
    job's; `only` {part name: routes allowed}; `cards` more rate cards that may hold just as well as `rates`, for the
    mean and for regret.
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
    most = {r: job.kit.counts * [r in only.get(name, routes) for name in names] for r in routes}
    size = sum(np.prod(m + 1 if by == "node" else 1 + (m > 0)) - 1 for m in most.values())
    if size > MOST:
        raise InputError(
            f"{size} sub-kits are too many to choose from, at most {MOST}: bind some parts to a route with only, "
            'leave routes out, or choose by="part".'
        )
    return Choices(sub_kits(job, (rates, *cards), most, alloys, by == "node"))


def _programme(kits, goal, latest, limits, more=()):
    """Solve the integer programme: (indices of the sub-kits taken, value of the goal), or None where nothing fits.

    Variables: x (n) taken or not; T (cards) days; R largest regret. `goal` their weights (n + cards + 1,), as small
    as can be; `latest` (cards,) bounds T; `limits` as in `Choices.best`; `more` rows of constraints (weights, least,
    most).
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    cards, n = kits.cost.shape
    rest = np.zeros(cards + 1)
    rows = [(np.r_[pieces, rest], need, need) for pieces, need in zip(kits.counts.T, kits.need, strict=True)]
    for route in np.unique(kits.routes):
        here = kits.routes == route
        rows += [(np.r_[here, rest], 0, 1)]
        rows += [
            (np.r_[here * days, -t], -np.inf, 0) for days, t in zip(kits.days, np.eye(cards, cards + 1), strict=True)
        ]
    rows += [(np.r_[kits.used[key], rest], 0, most) for key, most in limits.items()]
    table, low, high = (np.array(column, dtype=float) for column in zip(*rows, *more, strict=True))
    in_time = (kits.days <= np.reshape(latest, (-1, 1))).all(axis=0)
    done = milp(
        goal,
        constraints=LinearConstraint(table, low, high),
        integrality=np.r_[np.ones(n), rest],
        bounds=Bounds(0, np.r_[in_time, latest, np.inf]),
        options={"mip_rel_gap": 0},
    )
    return None if done.x is None else (np.flatnonzero(done.x[:n] > 0.5), float(done.fun))


@dataclass(frozen=True)
class Mix:
    """A kit divided among routes.

    `plans` {route: Plan of its sub-kit} at the lab's own card; `days_of` {route: days, with its own people and
    machines [d]}; `price_of_day` [currency/d]; `regrets` [currency] over the cards, where they were asked for.
    """

    plans: Mapping[str, Plan]
    days_of: Mapping[str, float]
    price_of_day: float
    regrets: tuple[float, ...] = ()

    feasible = True

    @property
    def days(self):
        """Days of the slowest route, each with its own people and machines [d]."""
        return max(self.days_of.values())

    @property
    def cost(self):
        """Cost of all kits, the price of the days left out [currency]."""
        return sum(plan.total_cost for plan in self.plans.values())

    @property
    def cost_with_delay(self):
        """Cost with the price of the days [currency]."""
        return self.cost + self.price_of_day * self.days

    def routes_of(self):
        """{part: {route: pieces}}: which way each part goes."""
        found = {}
        for route, plan in self.plans.items():
            for item in plan.job.kit.parts:
                found.setdefault(item.part.name, {})[route] = item.count
        return found

    def together(self, workshop):
        """All routes in one shared workshop: a Timeline. They queue by the workshop's rule, longest plan first.

        Raises: InputError, also where the job has no start.
        """
        longest = sorted(self.plans.values(), key=lambda plan: -plan.lead_time_days)
        return workshop.schedule([Order.of(plan, plan.begin) for plan in longest])

    def __str__(self):
        def listed(kit):
            return ", ".join(f"{item.count} × {item.part.name}" for item in kit.parts)

        return "; ".join(f"{plan.title.lower()}: {listed(plan.job.kit)}" for plan in self.plans.values())


@dataclass(frozen=True)
class NoMix:
    """No mix meets the deadline and the limits: why, and the fastest found within the limits, if any."""

    reason: str
    fastest: Mix | None = None

    feasible = False
