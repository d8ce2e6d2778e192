"""Routes as rivals: what each costs at any values of any inputs, and where along an input the cheapest loses its lead.

Costs here are those of the whole job with the price of its days, of plans as they are or with their failures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pourprint.decide.failures import Again, Shares, again_along, kits_of
from pourprint.decide.inputs import PRICE, WHOLE, outcomes, single_plans, with_delay
from pourprint.ledger.checks import check_numbers
from pourprint.plans.plan import Plan

NOBODY = "no route can"
NOBODY_COSTS = 1e15  # [currency] what it costs that no route can; a route that cannot costs more still
CANNOT_COSTS = 1e3 * NOBODY_COSTS


@dataclass(frozen=True)
class Rivals:
    """What is compared: `plans` {route: Plan} of one job, the `price_of_day` [currency/d], and what failures make of
    cost and days along the kits wanted and in a batch, `failing` {(route, input): Again}."""

    plans: Mapping[str, Plan]
    price_of_day: float
    failing: Mapping[tuple[str, str], Again]

    @classmethod
    def of(cls, plans, price_of_day, failures=False):
        """The feasible ones of `plans` {route: Plan or NoPlan} of single numbers; `failures` in the mean, with the
        shares that they have at the plans' own prices, times and sizes. Raises: InputError."""
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
        able = single_plans(plans)
        failing = {(route, key): again_along(plan, key) for route, plan in able.items() for key in WHOLE if failures}
        bare = {r: replace(p, job=p.job.with_(kit=p.job.kit.without_meshes())) for r, p in able.items()}
        return cls(bare, float(price_of_day), failing)

    @property
    def names(self):
        """Names of the routes, and last that of nobody."""
        return (*self.plans, NOBODY)

    def costs(self, changes):
        """Cost of the job in each route over arrays of inputs {key: array}, which broadcast: (routes + 1, …)
        [currency]; the last row is that of nobody, dearer than any route that can and cheaper than those that cannot.
        """
        changes = dict(changes)
        price, rows = np.asarray(changes.pop(PRICE, self.price_of_day), dtype=float), []
        for route, plan in self.plans.items():
            cost, days = outcomes(plan, changes, clock=np.any(price))
            share = self._shares(route, changes, days)
            rows.append(with_delay(share.cost * cost, share.days * days, price))
        return np.nan_to_num(np.stack(np.broadcast_arrays(*rows, NOBODY_COSTS)), posinf=CANNOT_COSTS)

    def _shares(self, route, changes, days):
        """What failures make of a route where its plans take `days`, which are 0 where nobody asks for them."""
        plan, key, here = self.plans[route], *kits_of(self.plans[route].job)
        moved = next((kits for kits in reversed(WHOLE) if kits in changes), key)
        found = self.failing.get((route, moved))
        if found is None:
            return Shares()
        at = (changes[moved], np.where(days > 0, days, np.inf)) if moved in changes else (here, plan.lead_time_days)
        prices = {key: value for key, value in changes.items() if key in plan.rates.entries}
        return found.at(*at, plan.rates.replace(prices))


def lead_lost(ask, ends, costs, straight, whole, parts, narrow):
    """Where between two values of each of n inputs the cheapest of the first first loses its lead, and to whom.

    Parameters: `ask(values, which)` costs (routes + 1, p, k) at `values` (p, k) of those k of the inputs that `which`
    (n,) marks; `ends` (2, n) values, either way round, with different winners; `costs` (routes + 1, 2, n) there;
    `straight` whether costs are linear in the input, `whole` whether only whole numbers count, (n,) or one for all.
    Returns: values (n,), indices of the new winners (n,), and costs there (routes + 1, n). Where costs are not linear
    the way is divided into `parts` again and again, to the whole number or 1/`narrow` of it; between, lines are
    straight.
    """
    ends, costs, whole = ends.copy(), costs.copy(), np.broadcast_to(whole, ends.shape[1:])
    near = np.where(whole, 1, np.abs(ends[1] - ends[0]) / narrow)
    while np.any(wide := np.logical_not(straight) & (np.abs(ends[1] - ends[0]) > near)):
        inner = np.linspace(*ends[:, wide], parts + 1)[1:-1]
        inner = np.where(whole[wide], np.rint(inner), inner)
        ends[:, wide], costs[:, :, wide] = _part_with_loss(ends[:, wide], costs[:, :, wide], inner, ask(inner, wide))
    best, last = np.argmin(costs, axis=0)
    # How much dearer each route is than the leader, at the first value and at the second, where some are cheaper.
    ahead, behind = np.moveaxis(costs - np.take_along_axis(costs, best[None, None], axis=0), 1, 0)
    passes = (behind < 0) | (np.arange(len(costs))[:, None] == last)  # a tie at the end counts
    share = np.divide(ahead, ahead - behind, out=np.full(ahead.shape, np.inf), where=passes)
    after, share = np.where(whole, last, share.argmin(axis=0)), np.where(whole, 1.0, share.min(axis=0))
    return ends[0] + share * (ends[1] - ends[0]), after, costs[:, 0] + share * (costs[:, 1] - costs[:, 0])


def _part_with_loss(ends, costs, inner, between):
    """The first part of the way at whose end another route wins: its ends (2, k), and costs there (routes + 1, 2, k).

    Parameters: `ends`, `costs` of the way as in `lead_lost`; `inner` (p, k) values, `between` (routes + 1, p, k) costs
    there. The ends' own costs are known: what is planned anew there could differ in the last digit.
    """
    values = np.concatenate([ends[:1], inner, ends[1:]])
    costs = np.concatenate([costs[:, :1], between, costs[:, 1:]], axis=1)
    winner = np.argmin(costs, axis=0)
    lost = np.argmax(winner != winner[0], axis=0)
    part = np.stack([lost - 1, lost])
    return np.take_along_axis(values, part, axis=0), np.take_along_axis(costs, part[None], axis=1)
