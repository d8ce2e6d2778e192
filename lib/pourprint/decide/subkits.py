"""Sub-kits of a job, each planned by one route: what a mix of routes is put together from."""

import itertools
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pourprint.ledger.errors import Infeasible, InputError
from pourprint.parts.kits import Kit
from pourprint.plans.plan import Plan
from pourprint.routes import ROUTES, plan

MOST = 10_000  # sub-kits: each takes some milliseconds


def usage(plan):
    """What a plan takes of everything that has a price and may be scarce: {rate key: amount}, as in `plan.amounts`."""
    used = Counter()
    for row in plan.amounts:
        used.update(row)
    return dict(used)


@dataclass(frozen=True)
class SubKits:
    """Every part or all of a kit that a route can make by itself, n of them.

    `need` (parts,) pieces in the whole kit [-]; `plans` (n,) at the lab's own card; `routes` (n,) names; `counts`
    (n, parts) pieces [-]; `cost` [currency] and `days` [d] (cards, n), the first card being the lab's own; `used`
    {rate key: (n,)} as in `usage`; `reasons` {(route, part): why it cannot}.
    """

    need: np.ndarray
    plans: tuple[Plan, ...] = field(repr=False)
    routes: np.ndarray
    counts: np.ndarray
    cost: np.ndarray
    days: np.ndarray
    used: Mapping[str, np.ndarray] = field(repr=False)
    reasons: Mapping[tuple[str, str], str]


def sub_kits(job, cards, most, alloys, by_node):
    """Plan all sub-kits of a job.

    Parameters: `job` of single numbers; `cards` RateCards; `most` {route: (parts,) pieces that may go by it [-]};
    `alloys` {route: alloy} where it is not the job's; `by_node` whether the pieces of a part may be parted.
    Returns: SubKits. Raises: InputError, also where a part can go by no route.
    """
    parts, found, reasons = job.kit.parts, [], {}

    def planned(route, counts):
        """The plans of a sub-kit at all cards, or None, with the reason noted for a part alone."""
        some = tuple(replace(item, count=int(n)) for item, n in zip(parts, counts, strict=True) if n)
        kit = Kit(f"{job.kit.name}, {ROUTES[route].TITLE.lower()}", some)
        mine = job.with_(kit=kit, alloy=alloys.get(route, job.alloy))
        try:
            return [plan(route, mine, card) for card in cards]
        except Infeasible as reason:
            if len(some) == 1:
                reasons.setdefault((route, some[0].part.name), str(reason))

    for route, pieces in most.items():
        # A part that a route cannot make alone it cannot make in company.
        least = np.diag(np.minimum(pieces, 1) if by_node else pieces)
        able = [bool(np.any(alone) and planned(route, alone)) for alone in least]
        ways = [range(n + 1) if by_node else sorted({0, n}) for n in np.where(able, pieces, 0).tolist()]
        for counts in itertools.product(*ways):
            if any(counts) and (plans := planned(route, counts)):
                found.append((route, counts, plans))
    made = np.array([counts for _, counts, _ in found]).reshape(-1, len(parts))
    if not made.any(axis=0).all():
        part = parts[int(np.argmin(made.any(axis=0)))].part.name
        why = "; ".join(f"{ROUTES[route].TITLE}: {why}" for (route, name), why in reasons.items() if name == part)
        raise InputError(f"no route can make {part}. {why}")
    uses = [usage(plans[0]) for *_, plans in found]
    days = [[p.lead_time_days for p in plans] for *_, plans in found]
    return SubKits(
        job.kit.counts,
        tuple(plans[0] for *_, plans in found),
        np.array([route for route, *_ in found]),
        made,
        np.array([[p.total_cost for p in plans] for *_, plans in found]).T,
        np.array(days, dtype=float).T,
        {
            key: np.array([used.get(key, 0.0) for used in uses])
            for key in sorted({key for used in uses for key in used})
        },
        reasons,
    )
