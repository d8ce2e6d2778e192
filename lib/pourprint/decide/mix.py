"""Mix the routes: each part of a kit may go by a route of its own.

Every sub-kit (some of the parts) is planned in full by every route, so that shared clusters, boxes and plates, their
rounding up, and work paid once a route cost what the plan says. Choosing among them is a set partition, solved as one
integer programme by HiGHS (`scipy.optimize.milp`): each sub-kit is taken or not, each route at most once, every piece
exactly once. The answer is the optimum, proven.

Days of a mix are those of its slowest route, as if each route had people and machines of its own; `Mix.together`
leads the routes of one through a shared workshop. Failures are not priced here (see `risk`).
"""

import itertools
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pourprint.decide.inputs import usage
from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import in_words
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.plans.orders import Order
from pourprint.plans.plan import Plan
from pourprint.routes import ROUTES, plan

WANTS = ("cost", "days")
MOST = 10_000  # sub-kits: each takes some milliseconds


@dataclass(frozen=True)
class Choices:
    """Every part or all of a kit that a route can make by itself, n of them, to be chosen from: made by `choices`.

    `need` (parts,) pieces in the whole kit [-]; `plans` (n,); `routes` (n,) names; `counts` (n, parts) pieces [-];
    `cost` [currency], `days` [d] (n,); `used` {rate key: (n,)} as in `usage`.
    """

    need: np.ndarray
    plans: tuple[Plan, ...] = field(repr=False)
    routes: np.ndarray
    counts: np.ndarray
    cost: np.ndarray
    days: np.ndarray
    used: Mapping[str, np.ndarray] = field(repr=False)

    def best(self, want="cost", deadline_days=None, price_of_day=0.0, limits=None):
        """The best mix under a deadline and limits: a Mix, or a NoMix with the reason.

        Parameters: `want` "cost" (with the price of the days) or "days"; `deadline_days` [d]; `price_of_day`
        [currency/d]; `limits` {rate key: most}, hours of people and machines or amounts of material as in `usage`.
        Raises: InputError.
        """
        check_known(WANTS, want=want)
        limits = limits or {}
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day, **limits)
        if deadline_days is not None:
            check_numbers(arrays=False, deadline_days=deadline_days)
        if odd := [key for key in limits if key not in self.used]:
            raise InputError(f"no sub-kit uses {odd[0]!r}; limits may name {', '.join(sorted(self.used))}.")
        deadline = np.inf if deadline_days is None else deadline_days
        return self._answer(want, deadline, price_of_day, limits) or self._why_not(deadline, limits)

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
        """{route: (cost [currency], days [d])} of sending the whole kit by one route."""
        whole = np.flatnonzero((self.counts == self.need).all(axis=1))
        return {str(self.routes[j]): (float(self.cost[j]), float(self.days[j])) for j in whole}

    def _answer(self, want, deadline, price, limits):
        """The Mix that is best, or None where none is in time and within the limits."""
        goals = {"cost": np.r_[self.cost, price], "days": np.r_[0 * self.cost, 1]}
        found = self._programme(goals[want], deadline, limits)
        if found and want == "days":  # of all that are as fast, the cheapest
            found = self._programme(goals["cost"], self.days[found[0]].max() + 1e-6, limits) or found
        if found is None:
            return None
        taken = {str(self.routes[j]): j for j in found[0]}
        plans = {route: self.plans[taken[route]] for route in ROUTES if route in taken}
        return Mix(plans, {route: float(self.days[taken[route]]) for route in plans}, price)

    def _why_not(self, deadline, limits):
        """The NoMix of a question without an answer: which limits fall short, or what sets the pace."""
        fastest, unlimited = (self._answer("days", np.inf, 0.0, some) for some in (limits, {}))
        if fastest is None:
            return NoMix(self._short_of(limits))
        slowest = max(fastest.plans.values(), key=lambda plan: fastest.days_of[plan.route])
        took = Counter()
        for span in slowest.spans():
            took[span.step.name] += (span.end_h - span.ready_h) / 24
        ((longest, longest_d),) = took.most_common(1)
        said = (
            f"no mix is ready in {deadline:.1f} days: the fastest takes {fastest.days:.1f} days ({fastest}). "
            f'{slowest.title} sets the pace; its longest step is "{longest}" with {longest_d:.1f} days.'
        )
        if limits and unlimited.days < fastest.days - 1e-6:
            said += f" Without the limits it would take {unlimited.days:.1f} days."
        return NoMix(said, fastest)

    def _short_of(self, limits):
        """Which limits cannot be met, and what would be needed at least."""
        short = []
        for key, most in limits.items():
            _, least = self._programme(np.r_[self.used[key], 0], np.inf, {})
            if least > most:
                short.append(f"{in_words(key)}: {least:.1f} needed, {most:g} allowed")
        if short:
            needed = "; ".join(short)
            return f"the limits leave no mix: at the least {needed}. Raise what falls short, or make fewer kits."
        return f"each limit can be met alone, but not all together: loosen one of {', '.join(map(in_words, limits))}."

    def _programme(self, goal, latest, limits):
        """Solve the integer programme: (indices of the sub-kits taken, value of the goal), or None where nothing fits.

        Variables: x (n) taken or not; T days. `goal` their weights (n + 1,), as small as can be; `latest` bounds T;
        `limits` as in `best`.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        rows = [(np.r_[pieces, 0], need, need) for pieces, need in zip(self.counts.T, self.need, strict=True)]
        for route in np.unique(self.routes):
            here = self.routes == route
            rows += [(np.r_[here, 0], 0, 1), (np.r_[here * self.days, -1], -np.inf, 0)]
        rows += [(np.r_[self.used[key], 0], 0, most) for key, most in limits.items()]
        table, low, high = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
        done = milp(
            goal,
            constraints=LinearConstraint(table, low, high),
            integrality=np.r_[np.ones(len(self.days)), 0],
            bounds=Bounds(0, np.r_[self.days <= latest, latest]),
            options={"mip_rel_gap": 0},
        )
        return None if done.x is None else (np.flatnonzero(done.x[:-1] > 0.5), float(done.fun))


def choices(job, rates, routes=tuple(ROUTES), only=None):
    """Plan every sub-kit of a job, once for any number of questions: all pieces of a part go together.

    Parameters: `job` of single numbers; `rates` the lab's RateCard; `routes` to choose from; `only` {part name: routes
    allowed}. Returns: Choices. Raises: InputError, also when some part can go by no route.
    """
    if not isinstance(job, Job) or np.ndim(job.quantity) or np.ndim(job.batch_size) or np.ndim(job.kit.volume_cm3):
        raise InputError(f"job must be a Job of single numbers, not {job!r}.")
    only, names = only or {}, [item.part.name for item in job.kit.parts]
    for route in routes:
        check_known(ROUTES, route=route)
    for name, allowed in only.items():
        check_known(names, only=name)
        for route in allowed:
            check_known(routes, only=route)
    if len({*names}) < len(names):
        raise InputError("two parts of the kit have the same name: give each its own.")
    most = {r: job.kit.counts * [r in only.get(name, routes) for name in names] for r in routes}
    size = sum(np.prod(1 + (m > 0)) - 1 for m in most.values())
    if size > MOST:
        raise InputError(
            f"{size} sub-kits are too many to choose from, at most {MOST}: bind some parts to a route with only, or "
            "leave routes out."
        )
    return _sub_kits(job, rates, most)


def _sub_kits(job, rates, most):
    """Plan all sub-kits of a job at a RateCard; `most` {route: (parts,) pieces that may go by it [-]}: Choices.

    Raises: InputError, also where a part can go by no route.
    """
    parts, found, reasons = job.kit.parts, [], {}

    def planned_by(route, counts):
        """The plan of a sub-kit, or None, with the reason noted for a part alone."""
        some = tuple(replace(item, count=int(n)) for item, n in zip(parts, counts, strict=True) if n)
        kit = Kit(f"{job.kit.name}, {ROUTES[route].TITLE.lower()}", some)
        try:
            return plan(route, job.with_(kit=kit), rates)
        except Infeasible as reason:
            if len(some) == 1:
                reasons.setdefault((route, some[0].part.name), str(reason))

    for route, pieces in most.items():
        # A part that a route cannot make alone it cannot make in company.
        able = [bool(np.any(alone) and planned_by(route, alone)) for alone in np.diag(pieces)]
        for counts in itertools.product(*(sorted({0, n}) for n in np.where(able, pieces, 0).tolist())):
            if any(counts) and (one := planned_by(route, counts)):
                found.append((route, counts, one))
    made = np.array([counts for _, counts, _ in found]).reshape(-1, len(parts))
    if not made.any(axis=0).all():
        part = parts[int(np.argmin(made.any(axis=0)))].part.name
        why = "; ".join(f"{ROUTES[route].TITLE}: {why}" for (route, name), why in reasons.items() if name == part)
        raise InputError(f"no route can make {part}. {why}")
    routes, _, plans = zip(*found, strict=True)
    cost, days = np.array([(one.total_cost, one.lead_time_days) for one in plans], dtype=float).T
    uses = [usage(one) for one in plans]
    used = {key: np.array([float(use[key]) for use in uses]) for key in sorted({*itertools.chain(*uses)})}
    return Choices(job.kit.counts, plans, np.array(routes), made, cost, days, used)


@dataclass(frozen=True)
class Mix:
    """A kit divided among routes.

    `plans` {route: Plan of its sub-kit}; `days_of` {route: days, with its own people and machines [d]};
    `price_of_day` [currency/d].
    """

    plans: Mapping[str, Plan]
    days_of: Mapping[str, float]
    price_of_day: float

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
        for route, one in self.plans.items():
            for item in one.job.kit.parts:
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
            return ", ".join(f"{item.count} × {item.part.title}" for item in kit.parts)

        return "; ".join(f"{plan.title.lower()}: {listed(plan.job.kit)}" for plan in self.plans.values())


@dataclass(frozen=True)
class NoMix:
    """No mix meets the deadline and the limits: why, and the fastest found within the limits, if any."""

    reason: str
    fastest: Mix | None = None

    feasible = False
