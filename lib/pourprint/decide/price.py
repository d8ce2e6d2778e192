"""From cost to price, and whether a machine of one's own pays: what a lab asks after it knows its costs.

A price is a cost with the shares that the rate card names in [price]: overhead of the cost, risk of both, margin of all
above. They stand as lines of their own and are never part of a step. An estimate for planning, never a quotation.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.decide.inputs import usage
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import annuity
from pourprint.plans.plan import Plan, feasible, made

LINES = ("overhead", "risk", "margin")


def price_of(plan):
    """The lines from the cost of the whole job to its price [currency].

    A share that the card does not name is none. Returns: {"cost", "overhead", "risk", "margin", "price"}, numbers of
    the plan's shape. Raises: InputError.
    """
    price = made(plan).total_cost
    lines = {"cost": price}
    for line in LINES:
        entry = plan.rates.entries.get(f"price.{line}")
        lines[line] = price * (entry.value if entry else 0.0)
        price = price + lines[line]
    return {**lines, "price": price}


def prices(plans):
    """Price beside cost: a pandas table, one row a route that can make the job, cheapest first.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers. Returns: the lines of `price_of` for the whole job,
    and cost and price of one kit [currency]. Raises: InputError.
    """
    rows = []
    for plan in feasible(plans).values():
        plan.single_only("prices()")
        lines = price_of(plan)
        kit = {f"{key} a kit": lines[key] / plan.job.quantity for key in ("cost", "price")}
        rows.append({"route": plan.title, **lines, **kit})
    return table_of(rows, "route").sort_values("price")


@dataclass(frozen=True)
class OwnOrBuy:
    """A year with a machine of one's own against a year of buying what it makes.

    `fixed` what the machine costs a year whether it runs or not [currency/a]; `own_job`, `bought_job` cost of one job
    on it, its own hours left out, and bought [currency]; `job_h` hours that a job holds the machine [h].
    """

    made: Plan
    machine: str
    fixed: float
    own_job: float
    bought_job: float
    job_h: float

    @property
    def pays_from_h(self):
        """Hours a year from which on the machine pays [h/a]; infinite where buying costs less than running it."""
        saved = self.bought_job - self.own_job
        return self.fixed / saved * self.job_h if saved > 0 else np.inf

    def costs(self, hours):
        """Cost of a year (own, bought), each (n,) [currency/a], over `hours` (n,) [h/a] that such jobs would take."""
        jobs = np.asarray(hours, dtype=float) / self.job_h
        return self.fixed + jobs * self.own_job, jobs * self.bought_job

    def __str__(self):
        money, name = self.made.rates.currency, self.machine.replace("_", " ")
        if np.isinf(self.pays_from_h):
            return f"A {name} of one's own does not pay: running it costs more a job than buying."
        if self.pays_from_h > 8760:  # hours of a year, the most that one machine runs
            return f"A {name} of one's own does not pay: it would have to run {self.pays_from_h:,.0f} hours a year."
        jobs = self.pays_from_h / self.job_h
        said = f"A {name} of one's own pays from {self.pays_from_h:,.0f} hours a year on, or {jobs:,.1f} such jobs"
        return said + f": it costs {self.fixed:,.0f} {money} a year before it runs; failures are left out."


def own_or_buy(made_here, bought, machine, price, years, interest, upkeep=0.0):
    """From how many hours a year on a machine of one's own pays.

    Parameters: `made_here`, `bought` the route's plans of one job, of single numbers, such as at `rates.making()` and
    at `rates`; `machine` of the first plan, such as "sand_printer"; its `price` [currency], paid off in `years` [a] at
    `interest` a year [-]; `upkeep` and room [currency/a]. Returns: OwnOrBuy. Raises: InputError.
    Failures are left out, and the card's own price of a machine hour, in whose place the yearly payment stands. Source:
    annuity (exact).
    """
    for plan in (made_here, bought):
        made(plan).single_only("own_or_buy()")
    check_numbers(zero_allowed=True, arrays=False, upkeep=upkeep)
    key = f"machine.{machine}"
    job_h = usage(made_here)[key]
    if not job_h or usage(bought)[key]:
        raise InputError(f"machine={machine!r} must be held by the plan made here, and not by the one that buys.")
    fixed = float(annuity(price, years, interest)) + upkeep
    own = made_here.total_cost - float(job_h) * made_here.rates[key]
    return OwnOrBuy(made_here, machine, fixed, own, bought.total_cost, float(job_h))
