"""What would turn the answer: for each input the nearest value at which another route wins.

Costs here are those of one kit with the price of its share of the days, of plans as they are or with their failures.
"""

from dataclasses import dataclass, replace

import numpy as np

from pourprint.decide.inputs import OF_THE_JOB, PRICE, WHOLE, dearest_day, is_linear
from pourprint.decide.rivals import Rivals, lead_lost
from pourprint.ledger.checks import nearest
from pourprint.ledger.entries import PRICES, Kind, in_words, table_of
from pourprint.ledger.errors import InputError
from pourprint.plans.plan import ranged

HOURS = (Kind.TIME, Kind.SPEED)
MOST_KITS = 400  # up to which quantity is looked at by default
WIDE = 3.0  # times as much, or as little, part volume
SAMPLES, NEAREST = 9, 1 / 32  # values looked at on either side of an input whose costs may turn back; share of the way
PARTS, NARROW = 13, 2000  # between two of them: parts looked at together, and how narrow the last is, as its share


# Inputs one at a time -----------------------------------------------------------------------------------


def _about(rivals, key):
    """(value now, unit, low, high) of an input, to look at by default."""
    plan = next(iter(rivals.plans.values()))
    if key == PRICE:
        now = rivals.price_of_day
        return now, f"{plan.rates.currency}/d", 0.0, dearest_day(plan.rates, now)
    if key == "volume_cm3":
        now = float(plan.job.kit.volume_cm3) / plan.job.kit.nodes
        return now, "cm3", now / WIDE, now * WIDE
    if key in WHOLE:
        most = MOST_KITS if key == "quantity" else plan.job.quantity
        return float(getattr(plan.job, key)), f"{plan.job.kit.noun}s", 1.0, float(max(most, plan.job.quantity))
    if key not in plan.rates.entries:
        raise InputError(f"there is no input {key!r}{nearest(key, [PRICE, *OF_THE_JOB, *plan.rates.entries])}.")
    entry = plan.rates.entries[key]
    return float(entry.value), entry.unit, entry.low, entry.high


def _moved(rivals, keys, values):
    """Costs (routes + 1, …) with one input moved at a time, `keys` to `values`, both (…), others as they are."""
    moved = {key: np.where(keys == key, values, _about(rivals, key)[0]) for key in dict.fromkeys(keys.flat)}
    return rivals.costs(moved)


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


def turns(plans, inputs=None, price_of_day=0.0, failures=False, kinds=PRICES):
    """What would turn the answer: for each input the nearest value at which another route wins, nearest first.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers for one job; `price_of_day` [currency/d];
    `failures` in the mean, with the shares that they have at the plans' own prices, times and sizes;
    `inputs` {key: (low, high)} to look at (default: quantity up to 400, batch size, part
    volume to a third and three times, price of a day up to `dearest_day`, and from its low to its high each number of
    the rate card that some plan reads and that is of one of these `kinds`; with (*PRICES, *HOURS) times and speeds
    too, which takes a second where days are priced). One input at a time, all others as they are. Returns: tuple of
    Turn. Raises: InputError. Prices are exact; of times and speeds both ends are looked at, of sizes and kits SAMPLES
    either way, closer the nearer: what turns there and back between two of them is not seen.
    """
    rivals = Rivals.of(plans, price_of_day, failures)
    entries = {key: e for plan in rivals.plans.values() for key, e in ranged(plan).items() if e.kind in kinds}
    asked = dict.fromkeys((*OF_THE_JOB, PRICE, *entries)) if inputs is None else dict(inputs)
    found, grids = [], {}
    for key, ends in asked.items():
        now, unit, low, high = _about(rivals, key)
        low, high = (low, high) if ends is None else ends
        found.append(Turn(key, unit, now, float(low), float(high)))
        grids[key] = _samples(rivals, found[-1])
    # Sizes and the price of a day are moved apart from the rates: those are planned together, one array for all.
    alone = [[turn] for turn in found if turn.key in (*OF_THE_JOB, PRICE)]
    groups = [[turn for turn in found if turn.key not in (*OF_THE_JOB, PRICE)], *alone]
    answered = [turn for group in groups for turn in _nearest(rivals, group, grids)]
    return tuple(sorted(answered, key=lambda turn: (turn.away, [*asked].index(turn.key))))


def _samples(rivals, turn):
    """Values of an input to look at, rising, its own among them: the nearer to it, the closer to each other."""
    low, high, whole = min(turn.low, turn.now), max(turn.high, turn.now), turn.key in WHOLE
    if whole and not rivals.price_of_day:
        return np.arange(low, high + 1)
    entry = next(iter(rivals.plans.values())).rates.entries.get(turn.key)
    straight = turn.key == PRICE or (entry is not None and entry.kind in (*PRICES, *HOURS))
    away = np.ones(1) if straight else np.geomspace(1 / max(high - low, 1) if whole else NEAREST, 1, SAMPLES)
    values = turn.now + np.outer([low - turn.now, high - turn.now], away).ravel()
    return np.unique(np.append(np.rint(values) if whole else values, turn.now))


def _nearest(rivals, group, grids):
    """Turns of a group with the nearest value at which another route wins, where there is one."""
    if not group:
        return []
    keys = np.array([turn.key for turn in group for _ in grids[turn.key]], dtype=object)
    costs = _moved(rivals, keys, np.concatenate([grids[turn.key] for turn in group]))
    sides = []  # (place in the group, ends (2,), costs there): where the winner changes first on either side of now
    for place, turn in enumerate(group):
        values, mine = grids[turn.key], costs[:, keys == turn.key]
        best, here = np.argmin(mine, axis=0), int(np.searchsorted(values, turn.now))
        changed = np.flatnonzero(best != best[here])
        for i, way in ((changed[changed < here][-1:], -1), (changed[changed > here][:1], 1)):
            pair = [*(i - way), *i]
            sides += [(place, values[pair], mine[:, pair])] if pair else []
    if sides:
        places, ends, there = zip(*sides, strict=True)
        names = np.array([group[place].key for place in places], dtype=object)

        def ask(values, which):
            return _moved(rivals, np.broadcast_to(names[which], values.shape), values)

        ends, there = np.stack(ends, axis=1).astype(float), np.stack(there, axis=-1)
        straight, whole = np.array([is_linear(name) for name in names]), np.isin(names, WHOLE)
        values, after, _ = lead_lost(ask, ends, there, straight, whole, PARTS, NARROW)
        for place, value, i in zip(places, values.tolist(), after, strict=True):
            new = replace(group[place], at=value, then=rivals.names[i])
            group[place] = min(group[place], new, key=lambda turn: turn.away)
    return group


def turns_table(found):
    """Turns as a pandas table: each input in words, unit, value now, the value that turns the answer, and to whom."""
    rows = []
    for turn in found:
        looked = f"from {turn.low:g} to {turn.high:g}" if turn.low < turn.high else f"at {turn.low:g}, all there is"
        wins = turn.then.replace("_", " ") or f"not {looked}"
        rows.append((in_words(turn.key), turn.unit, turn.now, turn.at, wins))
    return table_of(rows, "input", ["input", "unit", "now", "turns_at", "then_wins"])
