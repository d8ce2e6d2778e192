"""The routes along one input: what a kit costs in each, and where another becomes the cheapest."""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.decide.inputs import varied
from pourprint.ledger.errors import Infeasible
from pourprint.plans.plan import feasible


@dataclass(frozen=True)
class Crossing:
    """From `at` on, the route `to` is the cheapest instead of `before`."""

    at: float
    before: str
    to: str


@dataclass(frozen=True)
class Along:
    """Cost of one kit along one input: `title` of the input with its unit, `grid` (n,), whether it is a matter of
    orders (`log`), `unit_costs` {route: (n,) [currency]}, nan where a route cannot, `now` the input's value."""

    title: str
    grid: np.ndarray
    log: bool
    unit_costs: Mapping[str, np.ndarray]
    now: float
    currency: str

    @cached_property
    def crossings(self):
        """Every place where the cheapest route changes, first to last: [Crossing]."""
        return crossings(self.grid, self.unit_costs)

    @cached_property
    def lowest(self):
        """Cost in the cheapest route, (n,) [currency], nan where none can."""
        lines = np.array(
            [np.full(self.grid.shape, np.inf), *(np.nan_to_num(c, nan=np.inf) for c in self.unit_costs.values())]
        )
        return np.where(np.isinf(lines.min(axis=0)), np.nan, lines.min(axis=0))


def days_along(plans, changes, start, points=None):
    """Calendar days from the start to delivery along one input: {route: (n,) [d]}, nan where a route cannot.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `changes` {input: (n,)} as of `varied`, rising; or
    empty, for what moves no days; `start` date and time; `points`: so many of them are computed, from the first to
    the last, and the rest read between (quick, for a slider that still moves).
    """
    size = max(map(len, changes.values()), default=1)
    some = (
        np.arange(size)
        if points is None or points >= size
        else np.unique(np.geomspace(1, size, points).astype(int)) - 1
    )
    asked = {key: values[some] for key, values in changes.items()}
    return {
        route: np.interp(np.arange(size), some, _as_far(plan, asked, lambda found: found.days(start)))
        for route, plan in feasible(plans).items()
    }


def unit_costs_along(plans, changes, price_of_day, days):
    """Cost of one kit along one input, with its share of the days: {route: (n,) [currency]}, nan where it cannot.

    Parameters: `plans`, `changes` as of `days_along`, which gives the `days`; `price_of_day` [currency/d], a number or
    itself what changes.
    """

    totals = {route: _as_far(plan, changes, lambda found: found.total_cost) for route, plan in feasible(plans).items()}
    return {
        route: (total + price_of_day * days[route]) / changes.get("quantity", plans[route].job.quantity)
        for route, total in totals.items()
    }


def crossings(grid, unit_costs):
    """Every place where the cheapest route changes, first to last: [Crossing].

    Parameters: `grid` (n,) rising; `unit_costs` {route: (n,)}. On a grid of whole numbers the place is the first of
    them that another route wins; else it lies where the two lines meet between neighbours (linear).
    """
    if not unit_costs:
        return []
    routes, table = [*unit_costs], np.array([np.nan_to_num(line, nan=np.inf) for line in unit_costs.values()])
    best, found = np.argmin(table, axis=0), []
    for i in np.flatnonzero(best[1:] != best[:-1]):
        before, to, at = best[i], best[i + 1], grid[i + 1]
        ends = table[[before, to], i : i + 2]
        if np.any(grid % 1) and np.isfinite(ends).all():
            ahead, behind = ends[1, 0] - ends[0, 0], ends[0, 1] - ends[1, 1]
            at = grid[i] + (grid[i + 1] - grid[i]) * ahead / (ahead + behind)
        found.append(Crossing(float(at), routes[before], routes[to]))
    return found


def _as_far(plan, changes, ask):
    """What `ask` says of the plan along its changes where the route can, nan elsewhere: (n,).

    A route that can at two points can between them: limits are passed once, a lower and an upper one.
    """
    if not changes:
        return np.atleast_1d(ask(plan))
    size = len(next(iter(changes.values())))

    def answer(first, last):
        some = {key: values[first:last] for key, values in changes.items()}
        return np.broadcast_to(ask(varied(plan, some)), last - first)

    def can(i):
        try:
            varied(plan, {key: values[i] for key, values in changes.items()})
        except Infeasible:
            return False
        return True

    try:
        return np.array(answer(0, size), dtype=float)
    except Infeasible:
        inside = next(filter(can, (size // 2, size // 4, 3 * size // 4, 0, size - 1)), None)
    line = np.full(size, np.nan)
    if inside is not None:
        first = bisect_left(range(inside), True, key=can)
        last = bisect_left(range(inside, size), True, key=lambda i: not can(i)) + inside
        line[first:last] = answer(first, last)
    return line
