"""What would turn the answer: for each input the nearest value at which another route wins.

Costs here are those of one kit with the price of its share of the days, of plans as they are or with their failures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pourprint.decide.failures import Shares, shares
from pourprint.decide.inputs import (
    OF_THE_JOB,
    PRICE,
    WHOLE,
    dearest_day,
    in_words,
    is_linear,
    outcomes,
    single_plans,
    with_delay,
)
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import PRICES, Kind, nearest
from pourprint.ledger.errors import InputError
from pourprint.plans.plan import Plan, ranged

HOURS = (Kind.TIME, Kind.SPEED)
MOST_KITS = 400  # up to which quantity is looked at by default
WIDE = 3.0  # times as much, or as little, part volume
SAMPLES = 9  # values looked at of an input whose costs may turn back
NOBODY_COSTS = 1e15  # [currency] what it costs that no route can


# Costs at any values of any input ---------------------------------------------------------------------


@dataclass(frozen=True)
class _Question:
    """What is compared: `plans` {route: Plan} of one job, the `price_of_day` [currency/d], the `start`, and what
    failures make of cost and days, `failing` {route: Shares}."""

    plans: Mapping[str, Plan]
    price_of_day: float
    start: str | None
    failing: Mapping[str, Shares]

    @property
    def names(self):
        """Names of the routes, and last "" where none can."""
        return (*self.plans, "")

    def costs(self, changes):
        """Cost of a kit of each route over arrays of inputs {key: (n,)}: (routes + 1, n) [currency]; the last row is
        that of nobody, dearer than any route that can and cheaper than those that cannot."""
        changes = dict(changes)
        price = np.asarray(changes.pop(PRICE, self.price_of_day), dtype=float)
        days = partial(Plan.days, start=self.start) if np.any(price) else lambda plan: 0.0
        rows = []
        for route, plan in self.plans.items():
            share = self.failing.get(route, Shares())
            cost, time = outcomes(plan, changes, days)
            kits = changes.get("quantity", plan.job.quantity)
            rows.append(with_delay(share.cost * cost, share.days * time, price) / kits)
        table = np.stack(np.broadcast_arrays(*rows, NOBODY_COSTS))
        return np.nan_to_num(table, posinf=1e3 * NOBODY_COSTS)

    def about(self, key):
        """(value now, unit, low, high) of an input, to look at by default."""
        plan = next(iter(self.plans.values()))
        if key == PRICE:
            return self.price_of_day, f"{plan.rates.currency}/d", 0.0, dearest_day(plan.rates, self.price_of_day)
        if key == "volume_cm3":
            now = float(plan.job.kit.volume_cm3) / plan.job.kit.nodes
            return now, "cm3", now / WIDE, now * WIDE
        if key in WHOLE:
            most = MOST_KITS if key == "quantity" else plan.job.quantity
            return float(getattr(plan.job, key)), "kits", 1.0, float(max(most, plan.job.quantity))
        if key not in plan.rates.entries:
            raise InputError(f"there is no input {key!r}{nearest(key, [PRICE, *OF_THE_JOB, *plan.rates.entries])}.")
        entry = plan.rates.entries[key]
        return float(entry.value), entry.unit, entry.low, entry.high

    def moved(self, keys, values):
        """Costs (routes + 1, n) with one input moved at a time, `keys` (n,) to `values` (n,), others as they are."""
        return self.costs({key: np.where(keys == key, values, self.about(key)[0]) for key in dict.fromkeys(keys)})

    def turn(self, keys, ends, costs):
        """Where between two values of each input the cheapest of the first loses its lead, and to whom.

        Parameters: `keys` (n,); `ends` (2, n) values, either way round, with different winners; `costs` (routes + 1,
        2, n) there. Returns: values (n,), index of the new winner (n,). In closed form where costs are linear; the
        first whole number of kits; else by root finding (Chandrupatla's method, all at once) to 1/2000 of the way.
        """
        from scipy.optimize.elementwise import find_root

        (a, b), best = ends.astype(float), np.argmin(costs[:, 0], axis=0)
        ahead, behind = np.moveaxis(costs - np.take_along_axis(costs, best[None, None], axis=0), 1, 0)
        share = np.divide(ahead, ahead - behind, out=np.full(ahead.shape, np.inf), where=behind < 0)
        values, after = a + share.min(axis=0) * (b - a), np.argmin(share, axis=0)

        def there(share, at):
            """Values, costs of each first winner, and of all others, a share of the way from the first ends."""
            at, x = at.astype(int), a[at.astype(int)] + share * (b - a)[at.astype(int)]
            x = np.where(np.isin(keys[at], WHOLE), np.rint(x), x)
            found, first = self.moved(keys[at], x), (best[at], np.arange(at.size))
            mine = found[first]
            found[first] = np.inf
            return x, mine, found

        def lost(share, at):
            _, mine, others = there(share, at)
            return mine - others.min(axis=0)

        search = np.flatnonzero([not is_linear(key) for key in keys])
        if search.size:
            near = 0.2 / np.abs(b - a).max() if np.isin(keys, WHOLE).any() else 5e-4
            found = find_root(lost, (0.0 * search, 0.0 * search + 1), args=(search,), tolerances={"xatol": near})
            _, mine, _ = there(found.x, search)
            # At a jump there is no tie: then the lead is lost from the far end of what was narrowed down.
            far = np.where(np.abs(found.f_x) > 1e-6 * mine, found.bracket[1], found.x)
            values[search], _, others = there(far, search)
            after[search] = np.argmin(others, axis=0)
        return values, after


def _question(plans, price_of_day, start, failures):
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    able = single_plans(plans)
    bare = {route: _without_meshes(plan) for route, plan in able.items()}
    failing = {route: shares(plan, start) for route, plan in able.items()} if failures else {}
    return _Question(bare, float(price_of_day), start, failing)


def _without_meshes(plan):
    """The same plan of parts that are measured already: at other sizes no vertices need to move."""
    parts = tuple(replace(item, part=replace(item.part, mesh=None)) for item in plan.job.kit.parts)
    return replace(plan, job=plan.job.with_(kit=replace(plan.job.kit, parts=parts)))


# What would turn the answer ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Turn:
    """How far an input is from turning the answer: its `key`, `unit` and value `now`, the range `low` to `high` that
    was looked at, the value nearest to now `at` which another route wins and which, `then`; nan and "" where none does.
    """

    key: str
    unit: str
    now: float
    low: float
    high: float
    at: float = np.nan
    then: str = ""

    @property
    def away(self):
        """How far the turn is, as a share of the range [-]; infinite where there is none."""
        return abs(self.at - self.now) / (self.high - self.low) if np.isfinite(self.at) else np.inf


def turns(plans, inputs=None, price_of_day=0.0, start=None, failures=False, kinds=PRICES):
    """What would turn the answer: for each input the nearest value at which another route wins, nearest first.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers for one job; `price_of_day` [currency/d]; `start` date
    and time (default: some Monday); `failures` in the mean, with the shares that they have at the plans' own inputs;
    `inputs` {key: (low, high)} to look at (default: quantity up to 400, batch size, part
    volume to a third and three times, price of a day up to `dearest_day`, and from its low to its high each number of
    the rate card that some plan reads and that is of one of these `kinds`; with (*PRICES, *HOURS) times and speeds
    too, which takes a second where days are priced). One input at a time, all others as they are. Returns: tuple of
    Turn. Raises: InputError. Prices are exact; of times and speeds both ends are looked at, what turns there and back
    is not seen.
    """
    question = _question(plans, price_of_day, start, failures)
    entries = {key: e for plan in question.plans.values() for key, e in ranged(plan).items() if e.kind in kinds}
    asked = dict.fromkeys((*OF_THE_JOB, PRICE, *entries)) if inputs is None else dict(inputs)
    found, grids = [], {}
    for key, ends in asked.items():
        now, unit, low, high = question.about(key)
        low, high = (low, high) if ends is None else ends
        found.append(Turn(key, unit, now, float(low), float(high)))
        grids[key] = _samples(question, found[-1])
    return tuple(sorted(_nearest(question, found, grids), key=lambda turn: turn.away))


def _samples(question, turn):
    """Values of an input to look at, rising, its own among them."""
    low, high = min(turn.low, turn.now), max(turn.high, turn.now)
    if turn.key == "volume_cm3":
        values = np.geomspace(low, high, SAMPLES)
    elif turn.key in WHOLE:
        values = (
            np.arange(low, high + 1) if not question.price_of_day else np.rint(np.geomspace(low, high, SAMPLES + 3))
        )
    else:
        entry = next(iter(question.plans.values())).rates.entries.get(turn.key)
        values = np.linspace(low, high, 2 if entry is None or entry.kind in (*PRICES, *HOURS) else SAMPLES)
    return np.unique(np.append(values, turn.now))


def _nearest(question, found, grids):
    """The Turns with the nearest value at which another route wins, where there is one."""
    alone = {turn.key for turn in found} & {*OF_THE_JOB, PRICE}
    keys = np.array([turn.key for turn in found if turn.key not in alone for _ in grids[turn.key]], dtype=object)
    rates = question.moved(keys, np.concatenate([grids[turn.key] for turn in found if turn.key not in alone] or [[]]))
    sides = []  # (turn, ends (2,), costs there): where the winner changes first on either side of now
    for turn in found:
        values = grids[turn.key]
        costs = question.costs({turn.key: values}) if turn.key in alone else rates[:, keys == turn.key]
        best, here = np.argmin(costs, axis=0), int(np.searchsorted(values, turn.now))
        changed = np.flatnonzero(best != best[here])
        for i, way in ((changed[changed < here][-1:], -1), (changed[changed > here][:1], 1)):
            pair = [*(i - way), *i]
            sides += [(turn, values[pair], costs[:, pair])] if pair else []
    at = {}
    groups = [[side for side in sides if side[0].key not in alone], *([s] for s in sides if s[0].key in alone)]
    for group in filter(None, groups):
        asked, ends, costs = zip(*group, strict=True)
        names = np.array([turn.key for turn in asked], dtype=object)
        values, after = question.turn(names, np.stack(ends, axis=1), np.stack(costs, axis=-1))
        for turn, value, i in zip(asked, values.tolist(), after, strict=True):
            if turn.key not in at or abs(value - turn.now) < abs(at[turn.key].at - turn.now):
                at[turn.key] = replace(turn, at=value, then=question.names[i])
    return [at.get(turn.key, turn) for turn in found]


def turns_table(found):
    """Turns as a pandas table: each input in words, unit, value now, the value that turns the answer, and to whom."""
    import pandas as pd

    rows = {}
    for turn in found:
        looked = f"from {turn.low:g} to {turn.high:g}" if turn.low < turn.high else f"at {turn.low:g}, which is all"
        then = turn.then.replace("_", " ") or "no route can"
        rows[in_words(turn.key)] = turn.unit, turn.now, turn.at, then if np.isfinite(turn.at) else f"not {looked}"
    columns = ["unit", "now", "turns_at", "then_wins"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("input")
