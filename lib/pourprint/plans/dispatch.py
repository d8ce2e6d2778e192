"""The scheduler put to work, plain or compiled: who is there, and when which batch is done."""

from functools import cache
from types import FunctionType
from typing import NamedTuple

import numpy as np

from pourprint.ledger.workdays import past_horizon
from pourprint.plans import scheduler
from pourprint.plans.scheduler import HOT_LINKS, Batches, Floor, State

MOST_PLAIN = 600  # visits of batches: beyond it loading what was compiled is the quicker way
LOADED_PLAIN = 100  # the same when it has been loaded already


@cache
def compiled():
    """`lead_each` compiled by numba, which takes a second to load; the functions are the same.

    They make no arrays, so that none need be counted, and are put into each other: ten and three times as quick.
    """
    from numba import njit

    space = dict(vars(scheduler))
    for name, function in vars(scheduler).items():
        if isinstance(function, FunctionType):
            own = FunctionType(function.__code__, space, name)
            space[name] = njit(cache=True, _nrt=False, forceinline=name not in APART)(own)
    return space["lead_each"]


APART = ("lead_each", "lead", "dispatch", "place", "happen")  # too large, or called from too many places


class Shop(NamedTuple):
    """A Calendar of each of P kinds of people, how many there are of each, of each of M machines, and the bookings of
    machines, (n, 3): machine, from, to [h]."""

    calendars: tuple
    people: np.ndarray
    machines: np.ndarray
    closed: np.ndarray = np.zeros((0, 3))

    def floor(self, plain):
        """The Floor, of lists or of arrays."""
        tables = zip(*(one.lists if plain else one.tables for one in self.calendars), strict=True)
        tables = (list(table) if plain else np.stack(table) for table in tables)
        rest = (as_lists if plain else tuple)((self.people, self.machines, self.closed))
        return Floor(*tables, self.calendars[0].hours.day_h, *rest)


def as_lists(arrays):
    """A tuple of arrays as the same of lists."""
    return [one.tolist() for one in arrays]


def schedule(shop, legs, visits, batches, runs=None, log=False):
    """Lead batches through the calendar, all together or in `runs` that know nothing of each other.

    Parameters: Shop, and Legs, Visits, Batches of arrays; `runs` (n + 1,) where each run's batches begin; `log` whether
    to write down what was done. Returns: (end of each batch (B,), rows of the log (R, 9), pieces of hands-on work
    (P, 3)), as of `State`, all [h]. Raises: InputError past the calendar's end.
    """
    runs = np.array([0, len(batches.first)]) if runs is None else runs
    most = int(np.diff(runs).max(initial=1))
    turns = int(sum(visits.rounds[a:b].sum() for a, b in zip(batches.first, batches.last, strict=True))) if log else 0
    plain = (batches.last - batches.first).sum() <= (LOADED_PLAIN if compiled.cache_info().currsize else MOST_PLAIN)
    size = {"bookings": most * (HOT_LINKS + 1), "people": len(shop.people), "machines": len(shop.machines)}

    def zeros(kinds, number):
        return [np.zeros(number, int if kind == "i" else float) for kind in kinds]

    state = State(
        *zeros("iiiiffffi", most),
        *zeros("i", size["machines"]),
        *zeros("i", size["people"]),
        *zeros("iiff", size["bookings"]),
        *zeros("i", 5),
        np.zeros((turns, 9)),
        np.zeros((5 * turns, 3)),
    )
    given = [legs, visits, batches, runs, Batches(*zeros("iifii", most)), state, np.zeros(len(batches.first))]
    if plain:
        given = [type(one)(*as_lists(one)) if isinstance(one, tuple) else one.tolist() for one in given]
    (scheduler.lead_each if plain else compiled())(shop.floor(plain), *given)
    end_h, state = np.asarray(given[-1]), given[-2]
    if np.isinf(end_h).any():
        raise past_horizon()
    return end_h, *(np.asarray(part)[:number] for part, number in zip(state[-2:], state.count[3:], strict=True))
