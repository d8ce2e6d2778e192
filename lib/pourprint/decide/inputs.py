"""What a plan says when its inputs move, which inputs can move, and how far.

An input is named by its key: a number of the rate card or of the process tables ("machine.metal_printer"), or the
job's "quantity", "batch_size" or "volume_cm3" (mean volume of a piece; the whole kit grows in similar shape, while
bores, sockets and faces keep their sizes). Properties of the alloy stand at their values.
"""

from bisect import bisect_left
from collections.abc import Mapping

import numpy as np

from pourprint.ledger.entries import PRICES, nearest
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard
from pourprint.plans.plan import feasible, ranged

WHOLE = ("quantity", "batch_size")  # of the job, in whole kits
OF_THE_JOB = (*WHOLE, "volume_cm3")
PRICE = "price_of_day"  # what a day costs is asked for beside the inputs of a plan


def single_plans(plans):
    """The feasible plans, of single numbers. Raises: InputError when there are none."""
    made = feasible(plans)
    for plan in made.values():
        plan.single_only("a decision")
    if not made:
        raise InputError("no route can make this job: there is nothing to decide.")
    return made


def dearest_day(rates, price_of_day=0.0):
    """The dearest day worth looking at [currency/d], in any currency: a round number, at least 25 h of a technician
    and twice the price asked for."""
    return rounded_up(max(25 * float(np.max(rates["labour.technician"])), 2 * price_of_day, 1.0))


def rounded_up(least):
    """The next 1, 2 or 5 with zeros from a positive number on: 950.0 → 1000.0."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(step * power for step in (1, 2, 5, 10) if step * power >= least))


def is_linear(key):
    """Whether costs are linear in an input: the price of a day, and all prices but those of orders with a least."""
    entry = RateCard.default().entries.get(key)
    return key == PRICE or (entry is not None and entry.kind in PRICES)


def varied(plan, changes):
    """The plan with inputs changed: {key: number or array, which broadcast}. Raises: InputError, Infeasible."""
    if not isinstance(changes, Mapping):
        raise InputError(f"changes must be a table {{input: value}}, not {changes!r}.")
    known = [*OF_THE_JOB, *plan.rates.entries]
    for key in changes:
        if key not in known:
            raise InputError(f"there is no input {key!r}{nearest(key, known)}.")
    job = {key: changes[key] for key in WHOLE if key in changes}
    if "volume_cm3" in changes:
        job["kit"] = plan.job.kit.scaled_to(changes["volume_cm3"])
    rates = {key: changes[key] for key in changes if key in plan.rates.entries}
    return plan.at(rates=plan.rates.replace(rates) if rates else None, **job)


def outcomes(plan, changes, clock=True):
    """Cost and days of a plan over arrays of inputs, infinite where the route cannot make the job.

    Parameters: `changes` {input: number or array} as of `varied`, which broadcast; `clock` whether days are asked for,
    which take longer (else 0).
    Returns: (total cost [currency], calendar days [d]), both of the broadcast shape. Raises: InputError. Where the
    route refuses, its limits are looked for along a single input, prices apart; of more, the arrays are halved until
    the refused points stand alone. What lies between a lower and an upper limit may be missed: along one input where
    it holds neither an end, nor the middle or quarters; of two where it is narrower than half of the range asked for.
    """
    arrays = {key: np.asarray(value) for key, value in changes.items()}
    try:
        shape = np.broadcast_shapes(*(array.shape for array in arrays.values()))
    except ValueError:
        sizes = ", ".join(f"{key} {array.shape}" for key, array in arrays.items())
        raise InputError(f"the inputs must broadcast together, but have shapes {sizes}.") from None
    arrays = {key: array.reshape((1,) * (len(shape) - array.ndim) + array.shape) for key, array in arrays.items()}
    return _divided(plan, arrays, shape, clock)


def outcomes_of(plans, changes, clock=True):
    """Cost and days of those of `plans` {route: Plan or NoPlan} that can make the job, as of `outcomes`: two tables
    {route: array}."""
    found = {route: outcomes(plan, changes, clock) for route, plan in feasible(plans).items()}
    return tuple({route: pair[i] for route, pair in found.items()} for i in (0, 1))


def with_delay(cost, days, price_of_day):
    """C + d·T [currency], infinite where a route cannot, also when a day costs nothing."""
    can = np.isfinite(cost) & np.isfinite(days)
    return np.where(can, cost, np.inf) + price_of_day * np.where(can, days, 0.0)


def _told(plan, clock):
    return plan.total_cost, plan.lead_time_days if clock else 0.0


def _divided(plan, arrays, shape, clock):
    try:
        return tuple(np.broadcast_to(value, shape) for value in _told(varied(plan, arrays), clock))
    except Infeasible:
        limiting = [key for key in _moving(arrays) if not is_linear(key)]  # by no price is a route refused
        if len(shape) == 1 and len(limiting) == 1:
            return _between_limits(plan, arrays, np.argsort(arrays[limiting[0]], kind="stable"), clock)
        axis = _where_to_cut(plan, arrays, shape)
    if axis is None:
        return np.full(shape, np.inf), np.full(shape, np.inf)
    half, halves = shape[axis] // 2, []
    for part, length in ((slice(0, half), half), (slice(half, None), shape[axis] - half)):
        along = (slice(None),) * axis + (part,)
        cut = {key: array[along] if array.shape[axis] > 1 else array for key, array in arrays.items()}
        halves.append(_divided(plan, cut, (*shape[:axis], length, *shape[axis + 1 :]), clock))
    return tuple(np.concatenate(pair, axis=axis) for pair in zip(*halves, strict=True))


def _moving(arrays):
    return [key for key, array in arrays.items() if np.min(array) < np.max(array)]


def _between_limits(plan, arrays, order, clock):
    """The same along one input, prices apart, of which `order` (n,) makes rising values: a route that can at two
    values can between them, passing a limit at either end once."""

    def some(places):
        return {key: array[places] if array.size > 1 else array for key, array in arrays.items()}

    def can(i):
        try:
            varied(plan, some(order[i : i + 1]))
        except Infeasible:
            return False
        return True

    size = order.size
    found = np.full((2, size), np.inf)
    inside = next(filter(can, (size // 2, size // 4, 3 * size // 4, 0, size - 1)), None)
    if inside is not None:
        first = bisect_left(range(inside), True, key=can)
        last = bisect_left(range(inside, size), True, key=lambda i: not can(i)) + inside
        found[:, order[first:last]] = np.broadcast_arrays(*_told(varied(plan, some(order[first:last])), clock))
    return tuple(found)


def _where_to_cut(plan, arrays, shape):
    """The axis along which to halve a block that the route refuses somewhere; None when it refuses all of it."""
    if np.prod(shape, dtype=int) == 1:
        return None
    moving = _moving(arrays)
    if len(moving) > 2:
        return int(np.argmax(shape))
    still = {key: array.flat[0] for key, array in arrays.items()}
    refused = np.empty((3,) * len(moving), dtype=bool)
    for corner in np.ndindex(refused.shape):
        ends = {key: _at_rank(arrays[key], end / 2) for key, end in zip(moving, corner, strict=True)}
        try:
            varied(plan, {**still, **ends})
            refused[corner] = False
        except Infeasible:
            refused[corner] = True
    if refused.all():  # small parts may have too thin walls and large ones be too heavy, with a size between them
        return int(np.argmax(arrays["volume_cm3"].shape)) if "volume_cm3" in moving else None
    depends = [key for i, key in enumerate(moving) if np.any(np.diff(refused, axis=i))]
    return int(np.argmax(arrays[depends[0]].shape if depends else shape))


def _at_rank(array, share):
    """The lowest (share 0), middle (0.5) or highest (1) value of an array."""
    return np.quantile(array, share, method="nearest")


# Ranges -----------------------------------------------------------------------------------------------


def moved_alone(entries):
    """Inputs moved one at a time: {key: (2k + 1,)}: all at their values, then each at its low, then at its high."""
    count, table = len(entries), {}
    for i, (key, entry) in enumerate(entries.items()):
        table[key] = np.full(2 * count + 1, float(entry.value))
        table[key][1 + i], table[key][1 + count + i] = entry.low, entry.high
    return table


def uncertain_inputs(plans):
    """The inputs that are uncertain and matter: {key: Entry}.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers for one job and rate card. Returns: the entries
    that, alone moved to their low or high, change a feasible plan's cost or days, but make no route infeasible
    (such limits are a choice of machine, not a doubt). Yields are not among them: a plan carries, but does not
    price them.
    """
    matter, spoil = {}, set()
    for plan in feasible(plans).values():
        plan.single_only("uncertain_inputs()")
        entries = ranged(plan)
        for values in outcomes(plan, moved_alone(entries)):
            sides = values[1:].reshape(2, -1)
            moved = np.any(np.abs(sides - values[0]) > 1e-9 * np.abs(values[0]), axis=0)
            spoil |= {key for key, bad in zip(entries, np.isinf(sides).any(axis=0), strict=True) if bad}
            matter |= {key: entry for (key, entry), does in zip(entries.items(), moved, strict=True) if does}
    return {key: entry for key, entry in matter.items() if key not in spoil}
