"""What a plan says when its inputs move, which inputs can move, and how far.

An input is named by its key: a number of the rate card or of the process tables ("machine.metal_printer"), or the
job's "quantity", "batch_size" or "volume_cm3" (mean volume of a piece; the whole kit grows in similar shape, while
bores, sockets and faces keep their sizes). Properties of the alloy stand at their values.
"""

from collections import Counter
from collections.abc import Mapping

import numpy as np

from pourprint.ledger.checks import nearest
from pourprint.ledger.entries import PRICES
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard
from pourprint.plans.plan import feasible

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
    """The dearest day worth looking at [currency/d], in any currency: a round number, at least 25 h of a technician, or
    of the metal printer where hands cost nothing, and twice the price asked for."""
    hour = float(np.max(rates["labour.technician"]) or np.max(rates["machine.metal_printer"]))
    return rounded_up(max(25 * hour, 2 * price_of_day, 1.0))


def rounded_up(least, steps=(1, 2, 5, 10)):
    """The next 1, 2 or 5, or other of `steps`, with zeros from a positive number on: 950.0 → 1000.0."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(step * power for step in steps if step * power >= least))


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
    route refuses, the arrays are halved along one input that may be in the way until refused points stand alone.
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
    return parted({route: outcomes(plan, changes, clock) for route, plan in feasible(plans).items()})


def parted(pairs):
    """Two tables {route: value} from one of pairs."""
    return tuple({route: pair[i] for route, pair in pairs.items()} for i in (0, 1))


def usage(plan):
    """What a plan takes of everything that has a price and may be scarce: {rate key: amount}, as in `plan.amounts`;
    nothing of all else."""
    used = Counter()
    for row in plan.amounts:
        used.update(row)
    return used


def with_delay(cost, days, price_of_day):
    """C + d·T [currency], infinite where a route cannot, also when a day costs nothing."""
    can = np.isfinite(cost) & np.isfinite(days)
    return np.where(can, cost, np.inf) + price_of_day * np.where(can, days, 0.0)


def _divided(plan, arrays, shape, clock):
    moving = [key for key, array in arrays.items() if np.ptp(array) and not is_linear(key)]  # no price is in the way
    moving.sort(key=lambda key: (key not in WHOLE, key != "volume_cm3"))
    limiting = [key for key in moving if key not in WHOLE]  # steps know nothing of how many
    try:
        made = varied(plan, arrays)
        limiting = moving  # but the calendar ends some day
        told = made.total_cost, made.lead_time_days if clock else 0.0
        return tuple(np.broadcast_to(value, shape) for value in told)
    except Infeasible:
        if not limiting:
            return np.full(shape, np.inf), np.full(shape, np.inf)
    axis = np.argmax(arrays[limiting[0]].shape)
    half, halves = shape[axis] // 2, []
    for places in (np.arange(half), np.arange(half, shape[axis])):
        some = {key: a.take(places, axis) if a.shape[axis] > 1 else a for key, a in arrays.items()}
        halves.append(_divided(plan, some, (*shape[:axis], places.size, *shape[axis + 1 :]), clock))
    return tuple(np.concatenate(pair, axis=axis) for pair in zip(*halves, strict=True))
