"""Many kits at once: what each costs and takes on its cheapest route, as a function for `sweep`."""

from dataclasses import dataclass

import numpy as np

from pourprint.decide.failures import expected
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible
from pourprint.routes import plan_all


@dataclass(frozen=True)
class Kits:
    """Call with {"path": (m,) paths of kits}: {"best", "unit_cost" with failures [currency], "days", "note"} each (m,).

    `alloy` name; `quantity` of kits; `rates` RateCard; `start` date and time. A kit that cannot be read or made keeps
    its line, with why.
    """

    alloy: str
    quantity: int
    rates: RateCard
    start: str

    def __call__(self, cases):
        rows = [self._one(str(path)) for path in cases["path"]]
        best, cost, days, note = zip(*rows, strict=True)
        return {
            "best": np.array(best, dtype="U40"),
            "unit_cost": np.array(cost),
            "days": np.array(days),
            "note": np.array(note, dtype="U400"),
        }

    def _one(self, path):
        try:
            plans = plan_all(Job(Kit.load(path), self.alloy, self.quantity), self.rates)
            able = feasible(plans)
            if not able:
                return "", np.nan, np.nan, "; ".join(f"{plan.title}: {plan.reason}" for plan in plans.values())
            means = {route: expected(plan, self.start) for route, plan in able.items()}
        except InputError as error:
            return "", np.nan, np.nan, str(error)
        best = min(means, key=lambda route: means[route].cost)
        return able[best].title, means[best].cost / self.quantity, means[best].days, ""
