"""Choosing among candidates: a set partition as an integer programme, solved by HiGHS (`scipy.optimize.milp`)."""

import datetime as dt
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import count

import numpy as np

from pourprint.ledger.workdays import start_of
from pourprint.plans.workshop import Order

# By how much estimates are taken to be too high. No bound, hence never a proof: measured with all 381 sub-kits of the
# demo kit planned, for 1, 4 and 10 frames, estimates were up to 4 % too high for patterns, 11 % for moulds, 17 % for
# metal. Found by trying on 20 questions for 1 and 4 frames (deadlines, the quickest mix), all then answered with the
# optimum; of 13 more for 10 frames 10 were, three with up to 1.2 % more cost. Twice the rounds answered those too.
HOPE = 0.06
HOPEFUL_ROUNDS = 10
MOST_CUTS = 16  # mixes looked at in the shared workshop before a search gives up its proof


@dataclass(frozen=True)
class Question:
    """What is asked of the candidates: see `Choices.best`."""

    want: str
    deadline: float
    price: float
    limits: Mapping[str, float]


@dataclass(frozen=True)
class Found:
    """The best choice: indices of the candidates taken, the value of what is wanted, and whether it is proven."""

    chosen: np.ndarray
    value: float
    proven: bool
    days_shared: float = np.nan
    regrets: tuple[float, ...] = ()


def programme(pool, question, objective, least_of=None, cuts=(), below=np.inf, slack_days=None, bests=None, loads=()):
    """Solve one integer programme: (chosen candidates, value, days (cards,)), or None where nothing fits.

    Variables: x (n) taken or not; T (cards) days; R largest regret. `objective` "cost", "days" or "regret", or
    `least_of` a rate key whose use is made least; `cuts` choices to leave out; `below` the most that the objective
    may be; `slack_days` (cards,) bounds T in place of the deadline; `loads` more bounds of T, as from `_loads`.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, hstack, vstack

    n, cards = len(pool.routes), len(pool.cost)
    here = np.stack([pool.routes == route for route in pool.ask.routes]).astype(float)
    rows, low, high = [], [], []

    def constrain(x, t=None, r=None, least=-np.inf, most=np.inf):
        x = np.atleast_2d(x)
        m = len(x)
        t, r = (np.zeros((m, w)) if v is None else np.broadcast_to(v, (m, w)) for v, w in ((t, cards), (r, 1)))
        rows.append(hstack([csr_array(x), csr_array(t), csr_array(r)]))
        low.extend(np.broadcast_to(least, m))
        high.extend(np.broadcast_to(most, m))

    constrain(pool.counts.T, least=pool.ask.need, most=pool.ask.need)
    constrain(here, most=1)
    for s in range(cards):
        constrain(here * pool.days[s], t=-np.eye(cards)[s], most=0)
        if bests is not None:
            constrain(pool.cost[s], t=question.price * np.eye(cards)[s], r=-1, most=bests[s])
    for key, most in question.limits.items():
        if key != least_of:
            constrain(pool.used[key], most=most)
    for hours, days_before in loads:
        constrain(hours, t=-np.eye(cards)[0], most=-days_before)
    for cut in cuts:
        constrain(np.isin(np.arange(n), cut).astype(float), most=len(cut) - 1)
    cost = np.r_[pool.cost.mean(axis=0), np.full(cards, question.price / cards), 0]
    goal = {
        "cost": cost,
        "days": np.r_[np.zeros(n), np.full(cards, 1 / cards), 0],
        "regret": np.r_[np.zeros(n + cards), 1],
    }[objective]
    if least_of:
        goal = np.r_[pool.used[least_of], np.zeros(cards + 1)]
    if np.isfinite(below):
        rows.append(csr_array(goal[None]))
        low.append(-np.inf)
        high.append(below)
    latest = np.full(cards, question.deadline) if slack_days is None else slack_days
    done = milp(
        goal,
        constraints=LinearConstraint(vstack(rows), low, high),
        integrality=np.r_[np.ones(n), np.zeros(cards + 1)],
        bounds=Bounds(0, np.r_[pool.open.astype(float), latest, np.inf]),
        options={"mip_rel_gap": 0},
    )
    if done.x is None:
        return None
    return np.flatnonzero(done.x[:n] > 0.5), float(done.fun), done.x[n : n + cards]


def soonest(pool, question, guess=0.0):
    """`programme` for the fewest days at a single card, and of all choices that are as quick the cheapest.

    The slowest route's days are those of some candidate: searching their list is several times faster than letting
    the programme minimise a maximum, whose relaxation says little. Begun at a guess of the days, in growing strides.
    """
    days = np.unique(pool.days[0, pool.open & (pool.days[0] <= question.deadline)])

    @cache
    def within(k):
        return programme(pool, question, "cost", slack_days=days[[k]] + 1e-6)

    if not days.size:
        return None
    low, high, stride = 0, days.size, 1  # too early below `low`, late enough from `high` on
    at = min(bisect_left(days, guess), days.size - 1)
    while low < high:
        if within(at) is None:
            low = at + 1
            at = min(at + stride, high - 1) if high == days.size else (low + high) // 2
        else:
            high = at
            at = max(at - stride, low) if low == 0 else (low + high) // 2
        stride *= 2
    return within(high) if high < days.size else None


def certain(pool, question, objective, **more):
    """`programme`, solved again until every candidate that it takes is planned: (candidates, its answer or None).

    Estimates are taken for HOPE less than they are, so that a candidate is planned before it is passed over; after
    some rounds they are taken as they are, lest every near tie be planned.
    """
    guess = 0.0
    for turn in count():
        hoped = pool.hoped(HOPE if turn < HOPEFUL_ROUNDS else 0.0)
        quick = objective == "days" and len(pool.cost) == 1
        found = soonest(hoped, question, guess) if quick else programme(hoped, question, objective, **more)
        if found is None or pool.real[found[0]].all():
            return pool, found
        guess = hoped.days[0, found[0]].max()
        pool = pool.checked(found[0])


def solve(pool, question, shared):
    """The best choice: (candidates, Found or None). Candidates that it looked at are planned in those returned."""
    if shared is not None:
        return _shared(pool, question, shared)
    bests, regrets = None, ()
    if question.want == "regret":
        alone = [replace(pool, cost=pool.cost[[s]], days=pool.days[[s]]) for s in range(len(pool.cost))]
        each = [programme(one, question, "cost") for one in alone]
        if None in each:
            return pool, None
        bests = [value for _, value, _ in each]
    pool, found = certain(pool, question, question.want, bests=bests)
    if found is None:
        return pool, None
    chosen, value, _ = found
    if question.want == "days":  # of all that are as fast, the cheapest
        days = pool.days[:, chosen].max(axis=1)
        pool, cheapest = certain(pool, question, "cost", slack_days=days + 1e-6)
        chosen, value = (cheapest or found)[0], float(days.mean())
    if bests is not None:
        late = pool.days[:, chosen].max(axis=1)
        regrets = tuple((pool.cost[:, chosen].sum(axis=1) + question.price * late - bests).tolist())
    return pool, Found(chosen, value, bool(pool.real.all()), regrets=regrets)


def in_one_workshop(plans, workshop, start=None):
    """The routes of a mix in one shared workshop: a Timeline. They queue by its rule, longest plan first.

    Parameters: `plans` {route: Plan}; `start` date and time (default: some Monday's opening).
    """
    longest = sorted(plans.values(), key=lambda plan: -plan.lead_time_days)
    return workshop.schedule([Order.of(plan, begin_of(workshop.hours, start)) for plan in longest])


def _loads(pool, shared):
    """Lower bounds of the days: [(days for each candidate (n,), days that are always added)], one a person or machine.

    Whoever works H hours in a calendar is not done before s·H + c days: s from the hours of a week, c the least that
    the calendar's days are above that line, found at closing time of each day of six weeks.
    """
    hours = shared.hours
    calendar, begin_h = start_of(begin_of(hours, pool.ask.start), hours)
    slope = 7 / (len(hours.days) * hours.day_h)
    done = np.r_[0.0, hours.day_h * np.arange(1, 43)]
    above = np.min((calendar.finish(begin_h, done) - begin_h) / 24 - slope * done)
    bounds = []
    for key, used in pool.used.items():
        kind, _, who = key.partition(".")
        if kind == "clock":
            bounds.append((slope * used / shared.places.get(who, 1), float(above)))
        elif kind == "machine":
            bounds.append((used / 24 / shared.places.get(key, 1), 0.0))
    return bounds


def begin_of(hours, start):
    """The start given, or some Monday's opening."""
    return dt.datetime(2001, 1, 1) + dt.timedelta(hours=hours.start_h) if start is None else start


def _shared(pool, question, shared):
    """`solve` where all routes share one workshop.

    Days with people of one's own are a lower bound of shared days, and so is the work of the busiest person or
    machine. Whole kits by one route are looked at first, then mixes in the order of that bound, each then forbidden,
    until it passes the best one seen.
    """
    best, cuts = None, []

    def look_at(pool, chosen, best):
        """(candidates with those chosen planned, the better of the best so far and this choice in the workshop)."""
        pool = pool.checked(chosen)
        within = all(pool.used[key][chosen].sum() <= most + 1e-9 for key, most in question.limits.items())
        if not (pool.open[chosen].all() and within):
            return pool, best
        days = float(in_one_workshop(pool.plans(chosen), shared, pool.ask.start).done_h.max() / 24)
        value = days if question.want == "days" else float(pool.cost[0, chosen].sum() + question.price * days)
        better = days <= question.deadline and (best is None or value < best.value)
        return pool, Found(chosen, value, False, days) if better else best

    for j in np.flatnonzero((pool.counts == pool.ask.need).all(axis=1)):
        pool, best = look_at(pool, np.array([j]), best)
    for _ in range(MOST_CUTS):
        below = best.value if best else np.inf
        found = programme(pool.hoped(HOPE), question, question.want, cuts=cuts, below=below, loads=_loads(pool, shared))
        if found is None or (best and found[1] >= best.value - 1e-9):
            return pool, best and replace(best, proven=bool(pool.real.all()))
        cuts.append(found[0])
        pool, best = look_at(pool, found[0], best)
    return pool, best
