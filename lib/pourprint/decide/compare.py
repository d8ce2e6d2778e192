"""Plans side by side: break-evens, ranking by cost, days and the price of a day."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pourprint.decide.failures import Shares, shares
from pourprint.decide.inputs import outcomes, parted, single_plans
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import table_of
from pourprint.ledger.errors import InputError
from pourprint.plans.plan import NoPlan, Plan, feasible, made
from pourprint.routes.findings import note

NOTES = "to watch, or why it cannot"  # a column of the table of a Comparison


@dataclass(frozen=True)
class Interval:
    """Quantities from `first` to `last` on which `cheapest` costs least ("" where two tie, or none can)."""

    first: int
    last: int
    cheapest: str


@dataclass(frozen=True)
class BreakEven:
    """Who is cheaper where: `crossings` are the first quantities of each new interval, `intervals` all of them."""

    crossings: tuple[int, ...]
    intervals: tuple[Interval, ...]

    def __str__(self):
        return "; ".join(f"{i.first}–{i.last}: {i.cheapest or 'equal'}" for i in self.intervals)


def cheapest_intervals(costs, quantities):
    """Intervals of quantities on which each name is cheapest, by direct comparison at every quantity.

    Parameters: `costs` {name: cost (n,) [currency]}, nan where a route cannot; `quantities` (n,) rising
    whole numbers [-]. Returns: BreakEven. Costs equal to a millionth tie. Saw-toothed curves may cross often.
    Source of the check: for one-off F and unit costs c₁ > c₂ the break-even is N* = F/(c₁ − c₂) (exact).

    >>> n = np.arange(1, 101)
    >>> cheapest_intervals({"die-cast": 20.75 + 21_000 / n, "laser": 526.31 + 0 * n}, n).crossings
    (42,)
    """
    check_numbers(quantities=quantities)
    quantities = np.asarray(quantities)
    if quantities.ndim != 1 or np.any(np.diff(quantities) <= 0) or np.any(quantities % 1 != 0):
        raise InputError("quantities must be a rising row of whole numbers, such as np.arange(1, 101).")
    names = list(costs)
    table = np.array([np.broadcast_to(cost, quantities.shape) for cost in costs.values()], dtype=float)
    table[np.isnan(table)] = np.inf
    lowest = np.min(table, axis=0)
    tied = np.isclose(table, lowest, rtol=1e-6, atol=0).sum(axis=0) > 1
    winner = np.where(tied | np.isinf(lowest), -1, np.argmin(table, axis=0))
    starts = np.flatnonzero(np.r_[True, winner[1:] != winner[:-1]])
    ends = np.r_[starts[1:], quantities.size] - 1
    intervals = tuple(
        Interval(int(quantities[a]), int(quantities[b]), "" if winner[a] < 0 else names[winner[a]])
        for a, b in zip(starts, ends, strict=True)
    )
    return BreakEven(tuple(interval.first for interval in intervals[1:]), intervals)


def break_even(plan_a, plan_b, quantities):
    """Every quantity at which the cheaper of two plans changes, first to last.

    Parameters: two feasible plans; `quantities` (n,) rising whole numbers. Returns: BreakEven.
    Two plans of one route are told apart by (a), (b).
    Raises: InputError, also for a plan that is not feasible.
    """
    plans = [made(plan) for plan in (plan_a, plan_b)]
    same = plan_a.title == plan_b.title  # one route at two rate cards, say
    names = [plan.title + same * f" ({mark})" for plan, mark in zip(plans, "ab", strict=True)]
    curves = [plan.at(quantity=quantities).unit_cost for plan in plans]
    return cheapest_intervals(dict(zip(names, curves, strict=True)), quantities)


def tie_price_of_day(cost_a, days_a, cost_b, days_b):
    """Price of a day at which two routes tie: d* = (C₁ − C₂)/(T₂ − T₁).

    Parameters: costs [currency] and lead times [d]. Returns: [currency/d], nan where they never tie at d ≥ 0.
    Source: exact.

    >>> float(tie_price_of_day(1000, 20, 4000, 8))
    250.0
    """
    saved = np.asarray(days_a, dtype=float) - days_b
    extra = np.asarray(cost_b, dtype=float) - cost_a
    with np.errstate(divide="ignore", invalid="ignore"):
        tie = extra / saved
    return np.where((saved != 0) & (tie >= 0), tie, np.nan)


def envelope(lines):
    """Which line C + d·T is lowest as d rises from zero.

    Parameters: `lines` {name: (cost C [currency], time T [d])}. Returns: [(price of a day from which it is
    lowest [currency/d], name), …], rising; empty without lines. Source: lower envelope of lines (exact).

    >>> envelope({"slow": (1000, 20), "middle": (3000, 12), "fast": (4000, 8)})
    [(0.0, 'slow'), (250.0, 'fast')]
    """
    if not lines:
        return []
    best = min(lines, key=lines.get)
    found = [(0.0, best)]
    # Only a faster line can take over; of several that do so at one price the fastest stays lowest beyond it.
    while faster := {name: line for name, line in lines.items() if line[1] < lines[best][1]}:
        turns = {name: (float(tie_price_of_day(*lines[best], *line)), line[1]) for name, line in faster.items()}
        best = min(turns, key=turns.get)
        found.append((turns[best][0], best))
    return found


def flip_prices(plans, quantities=None):
    """At which price of a day the answer flips: rows of quantity, best route, from which price on.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `quantities` (n,) kits [-] (default: the plans' own).
    Returns: pandas table of (quantity, from_price_of_day [currency/d], best). Source: `envelope`. Raises: InputError.
    """
    able = single_plans(plans)
    quantities = np.atleast_1d(next(iter(able.values())).job.quantity if quantities is None else quantities)
    lines = {route: outcomes(plan, {"quantity": quantities}) for route, plan in able.items()}
    rows = [
        (int(quantity), price, able[route].title)
        for i, quantity in enumerate(quantities)
        for price, route in envelope({route: (float(cost[i]), float(days[i])) for route, (cost, days) in lines.items()})
    ]
    return table_of(rows, "quantity", ["quantity", "from_price_of_day", "best"])


def rank(plans, price_of_day=0.0):
    """Routes in order of cost with the price of their days, those that cannot last: a pandas table, one row a route.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers, or by another name that then heads their row, as from
    `plan_each`; `price_of_day` [currency/d]. Unit and total cost are without, `cost_with_delay` is with the price of
    the days.
    Raises: InputError.
    """
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    able, rows = feasible(plans), []
    titles = {name: plan.title if name == plan.route else name for name, plan in plans.items()}
    for name, plan in able.items():
        plan.single_only("a ranking")
        row = {"route": titles[name], "unit_cost": plan.unit_cost, "total_cost": plan.total_cost}
        row |= {"days": plan.lead_time_days, "cost_with_delay": plan.total_cost + price_of_day * plan.lead_time_days}
        row |= {"hands_on_h": plan.hands_on_h, "machine_h": plan.machine_h, "stages": len(plan.stages)}
        row |= {"steps": len(plan.steps), "first_pass_yield": plan.first_pass_yield, "note": note(plan.findings)}
        rows.append(row)
    cannot = [{"route": titles[name], "note": plan.reason} for name, plan in plans.items() if not plan.feasible]
    table = table_of(sorted(rows, key=lambda row: row["cost_with_delay"]) + cannot, "route")
    return table.astype({"stages": "Int64", "steps": "Int64"}) if "stages" in table else table


def comparison(plans, price_of_day=0.0):
    """Lay the plans of one job, which has a start, side by side.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers, as from `plan_all`; `price_of_day` [currency/d].
    Returns: Comparison. Raises: InputError.
    """
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    spans, days = parted({route: plan.schedule() for route, plan in feasible(plans).items()})
    failing = {route: shares(plans[route]) for route in days}
    return Comparison(plans, float(price_of_day), spans, days, failing)


@dataclass(frozen=True)
class Comparison:
    """Plans of several routes for one job, ready to be drawn or told.

    `plans` {route: Plan or NoPlan} of single numbers; `price_of_day` [currency/d]; `spans` {route: the first
    batch through the calendar}; `days` {route: calendar days from the job's start to delivery [d]}; `failing` {route:
    Shares}, what failures make of cost and days in the mean.
    """

    plans: Mapping[str, Plan | NoPlan]
    price_of_day: float
    spans: Mapping[str, tuple]
    days: Mapping[str, float]
    failing: Mapping[str, Shares]

    def unit_cost(self, route):
        """Cost of one kit with the price of its share of the days, if nothing fails [currency]."""
        plan = self.plans[route]
        return (plan.total_cost + self.price_of_day * self.days[route]) / plan.job.quantity

    def mean_days(self, route):
        """Calendar days with failures [d]."""
        return self.failing[route].days * self.days[route]

    def mean_unit_cost(self, route):
        """Cost of one kit with failures and the price of its share of the days [currency]."""
        plan = self.plans[route]
        cost = self.failing[route].cost * plan.total_cost
        return (cost + self.price_of_day * self.mean_days(route)) / plan.job.quantity

    def table(self):
        """The routes as a pandas table to read, in the order of their mean cost; those that cannot last, with why."""
        rows = []
        for route in sorted(self.days, key=self.mean_unit_cost):
            plan = self.plans[route]
            ready, one = plan.begin + dt.timedelta(days=self.mean_days(route)), plan.job.kit.noun
            row = {
                "route": plan.title,
                f"with failures [{plan.rates.currency} a {one}]": round(self.mean_unit_cost(route)),
                "with failures [days]": round(self.mean_days(route)),
                "ready, with failures": f"{ready:%a %d %b %Y}",
                f"if nothing fails [{plan.rates.currency} a {one}]": round(self.unit_cost(route)),
                "if nothing fails [days]": round(self.days[route]),
                f"hands-on, all {one}s [h]": round(plan.hands_on_h),
                f"machines, all {one}s [h]": round(plan.machine_h),
                "stages": len(plan.stages),
                "steps": len(plan.steps),
                "pieces right at every first try": f"{plan.first_pass_yield:.0%}",
                NOTES: note(plan.findings),
            }
            rows.append(row)
        rows += [{"route": one.title, NOTES: one.reason} for one in self.plans.values() if not one.feasible]
        return table_of(rows, "route")
