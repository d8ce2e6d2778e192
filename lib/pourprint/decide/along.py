"""The routes along one input: what a kit costs in each, and where another becomes the cheapest."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.decide.failures import Shares
from pourprint.decide.inputs import with_delay


@dataclass(frozen=True)
class Crossing:
    """From `at` on, the route `to` is the cheapest instead of `before`."""

    at: float
    before: str
    to: str


@dataclass(frozen=True)
class Along:
    """Cost of one kit along one input: `title` of the input with its unit, `grid` (n,), whether it is a matter of
    orders (`log`), `unit_costs` {route: (n,) [currency]}, nan where a route cannot, `now` the input's value, `unit` of
    the costs as "EUR a kit"."""

    title: str
    grid: np.ndarray
    log: bool
    unit_costs: Mapping[str, np.ndarray]
    now: float
    unit: str

    def table(self):
        """The lines as a pandas table: one row a value of the input, one column a route."""
        import pandas as pd

        lines = {f"{route.replace('_', ' ')} [{self.unit}]": costs for route, costs in self.unit_costs.items()}
        return pd.DataFrame(lines, index=pd.Index(self.grid, name=self.title))

    @property
    def counted(self):
        """Whether the input counts kits, so that nothing lies between two values."""
        return self.log and not np.any(self.grid % 1)

    @cached_property
    def crossings(self):
        """Every place where the cheapest route changes, first to last: [Crossing]."""
        return crossings(self.grid, self.unit_costs, self.counted)

    @cached_property
    def lowest(self):
        """Cost in the cheapest route, (n,) [currency], nan where none can."""
        return np.fmin.reduce([np.full(self.grid.shape, np.nan), *self.unit_costs.values()])


def unit_costs(totals, kits, price_of_day, days, failing=None):
    """Cost of one kit along one input, with its share of the days: {route: (n,) [currency]}, nan where it cannot.

    Parameters: `totals`, `days` as of `outcomes_of`, and `kits` wanted, numbers or (n,); `price_of_day` [currency/d], a
    number or itself what changes; `failing` {route: Shares} of failures (default: nothing fails).
    """
    lines = {}
    for route, total in totals.items():
        share = (failing or {}).get(route, Shares())
        cost = with_delay(share.cost * total, share.days * days[route], price_of_day) / kits
        lines[route] = np.where(np.isfinite(cost), cost, np.nan)
    return lines


def crossings(grid, unit_costs, counted):
    """Every place where the cheapest route changes, first to last: [Crossing].

    Parameters: `grid` (n,) rising; `unit_costs` {route: (n,)}; `counted` whether nothing lies between two values: then
    the place is the first that another route wins; else it lies where the two lines meet between neighbours (linear).
    """
    if not unit_costs:
        return []
    routes, table = [*unit_costs], np.array([np.nan_to_num(line, nan=np.inf) for line in unit_costs.values()])
    some = np.isfinite(table).any(axis=0)  # where no route can, none wins
    grid, table = np.asarray(grid)[some], table[:, some]
    best, found = np.argmin(table, axis=0), []
    for i in np.flatnonzero(best[1:] != best[:-1]):
        before, to, at = best[i], best[i + 1], grid[i + 1]
        ends = table[[before, to], i : i + 2]
        if not counted and np.isfinite(ends).all():
            ahead, behind = ends[1, 0] - ends[0, 0], ends[0, 1] - ends[1, 1]
            at = grid[i] + (grid[i + 1] - grid[i]) * ahead / (ahead + behind)
        found.append(Crossing(float(at), routes[before], routes[to]))
    return found
