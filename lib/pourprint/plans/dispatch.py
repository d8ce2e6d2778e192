"""The scheduler put to work, plain or compiled: who is there, and when which batch is done."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import FunctionType

import numpy as np

from pourprint.ledger.workdays import Calendar, past_horizon
from pourprint.plans import scheduler
from pourprint.plans.scheduler import UNDER_WAY, Floor, State, Visits

MOST_PLAIN = 20_000  # visits, some 0.2 s: beyond it loading what was compiled is the quicker way
LOADED_PLAIN = 100  # the same when it has been loaded already


@cache
def compiled():
    """`lead` compiled by numba, which takes a second to load; the functions are the same.

    They make no arrays, so that none need be counted, and are put into each other: ten and three times as quick.
    """
    from numba import njit

    space = dict(vars(scheduler))
    for name, function in vars(scheduler).items():
        if isinstance(function, FunctionType):
            own = FunctionType(function.__code__, space, name)
            space[name] = njit(cache=True, _nrt=False, error_model="numpy", nogil=True, forceinline=name != "lead")(own)
    return space["lead"]


def plainly(visits):
    """Whether so many visits are led the sooner without what is compiled."""
    return visits <= (LOADED_PLAIN if compiled.cache_info().currsize else MOST_PLAIN)


@dataclass(frozen=True)
class Shop:
    """Who and what is there: everybody's Calendar but for `own` ones {who: Calendar}; one of each person and machine
    but for `places` {rate key: how many}; bookings of machines (rate key, from, to [h])."""

    calendar: Calendar
    own: Mapping[str, Calendar] = field(default_factory=dict)
    places: Mapping[str, int] = field(default_factory=dict)
    booked: tuple = ()

    def calendar_of(self, who):
        """The Calendar of somebody."""
        return self.own.get(who, self.calendar)

    def floor(self, people, machines, plain=False):
        """The Floor of some people and machines, rate keys; of arrays, or of lists."""
        calendars = [self.calendar_of(who) for who in people]
        tables = zip(*(one.lists if plain else one.tables for one in calendars), strict=True)
        tables = [list(table) if plain else np.stack(table) for table in tables]
        closed = [(machines.index(name), *times) for name, *times in self.booked if name in machines]
        rest = [np.array([self.places.get(name, 1) for name in names], int) for names in (people, machines)]
        rest.append(np.array(closed, float).reshape(-1, 3))
        rest = [table.tolist() for table in rest] if plain else rest
        return Floor(*tables, self.calendar.hours.day_h, *rest)


def places_of(names):
    """(the different names in order, the place of each among them (n,), -1 for None)."""
    different = list(dict.fromkeys(name for name in names if name is not None))
    return different, np.array([-1 if name is None else different.index(name) for name in names], dtype=int)


def visits_of(steps, leg, hours, first):
    """(Visits, rate keys of people, of machines).

    Parameters: `leg` (V,) which of the `steps` each visit is, `hours` (5, V) its rounds, and hands-on, run, unloading
    and waiting time of each; `first` visits of batches.
    """
    rounds, hands_on_h, run_h, unload_h, wait_h = (np.append(row, 0) for row in hours)
    people, who = places_of([step.who for step in steps])
    machines, machine = places_of([step.machine and f"machine.{step.machine}" for step in steps])
    whole, within_h = np.array([step.whole for step in steps]), np.array([step.within_h for step in steps], dtype=float)
    leg = np.append(leg, 0)
    follows = np.append(False, leg[1:] == leg[:-1] + 1)
    follows[first] = follows[-1] = False
    within_h = np.where(follows, within_h[leg], np.inf)
    whole = whole[leg] | (within_h < np.inf) | np.append(within_h[1:] < np.inf, False)
    machine = np.where(hands_on_h + run_h + unload_h > 0, machine[leg], -1)
    held = who[leg], machine, whole, within_h, rounds.astype(int), hands_on_h, run_h, unload_h, wait_h
    return Visits(*held), people, machines


def schedule(shop, steps, leg, hours, batches, runs=None, log=False):
    """Lead batches through the calendar, all together or in `runs` that know nothing of each other.

    Parameters: `steps`, `leg`, `hours` as of `visits_of`; Batches of arrays; `runs` (n + 1,) where each run's batches
    begin; `log` whether to write down what was done. Returns: (end of each batch (B,), rows of the log (R, 9), pieces
    of hands-on work (P, 3)), as of `State`, all [h]. Raises: InputError past the calendar's end.
    """
    visits, people, machines = visits_of(steps, leg, hours, batches.first)
    number = len(batches.first)
    runs = np.array([0, number]) if runs is None else runs
    plain = plainly((batches.last - batches.first).sum())
    turns = int(sum(visits.rounds[a:b].sum() for a, b in zip(batches.first, batches.last, strict=True))) if log else 0

    def zeros(kinds, size):
        return [np.zeros(size, int if kind == "i" else float) for kind in kinds]

    state = State(
        *zeros("iiiiifffff", number),
        *zeros("i", len(machines)),
        *zeros("i", len(people)),
        *zeros("iff", 3 * int(np.diff(runs).max(initial=1))),
        np.zeros((turns, 9)),
        np.zeros((5 * turns, 3)),
        np.zeros(5, int),
    )
    state.at[:], state.due_h[:], state.end_h[:], state.mode[:] = batches.first, batches.ready_h, np.inf, UNDER_WAY
    floor, given = shop.floor(people, machines, plain), [visits, batches, runs, state]
    if plain:
        given = [type(g)(*(each.tolist() for each in g)) if isinstance(g, tuple) else g.tolist() for g in given]
        scheduler.lead(floor, *given)
    else:
        compiled()(floor, *given)
    state = State(*map(np.asarray, given[-1]))
    if np.isinf(state.end_h).any():
        raise past_horizon()
    return state.end_h, state.rows[: state.count[scheduler.ROWS]], state.pieces[: state.count[scheduler.PIECES]]
