"""The scheduler put to work, plain or compiled: who is there, and when which batch is done."""

from functools import cache
from types import FunctionType, SimpleNamespace

import numpy as np

from pourprint.ledger.workdays import past_horizon
from pourprint.plans import scheduler

MOST_PLAIN = 20_000  # visits with all their rounds, some 0.2 s: beyond it loading what was compiled is the quicker way
LOADED_PLAIN = 100  # the same when it has been loaded already

NOWHERE = 0  # the machine of what needs none, with room for all


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
    """Whether so many visits, each counted with its rounds, are led the sooner without what is compiled."""
    return visits <= (LOADED_PLAIN if compiled.cache_info().currsize else MOST_PLAIN)


def _stretches(who, machine, steps, visited, hours, first):
    """Records of two stretches a visit.

    Parameters: `who` and `machine` of each of the `steps`; `visited` (V,) which of them each visit is, `hours` (5, V)
    its rounds, and hands-on, run, unloading and waiting time of each; `first` visits of batches.
    """
    table = np.zeros((visited.size, 2), scheduler.STRETCH)
    (load, empty), (rounds, by_hand, run, unload, wait) = table.T, hours
    within_h, whole = np.array([(step.within_h, step.whole) for step in steps], dtype=float).T
    follows = np.append(False, np.diff(visited) == 1) & (within_h < np.inf)[visited]
    follows[first] = False
    leads = np.append(follows[1:], False)
    whole, runs = (whole > 0)[visited] | follows | leads, (run > 0) | (unload > 0)
    machine = machine[visited] * (runs | (by_hand > 0))  # else NOWHERE
    loads = runs & (machine != NOWHERE)
    load["hands_h"], load["alone_h"], empty["hands_h"], empty["alone_h"] = by_hand, run, unload, wait
    table["who"], load["whole"] = who[visited][:, None], whole
    bench = np.where(whole, scheduler.TO_WORK, scheduler.TO_BENCH)
    bench = np.where((by_hand <= 0) & (machine == NOWHERE), scheduler.IN_HAND, bench)
    load["mode"] = np.where(follows, scheduler.BOOKED, np.where(loads, scheduler.TO_LOAD, bench))
    empty["mode"] = np.where(unload <= 0, scheduler.IN_HAND, np.where(loads, scheduler.TO_LOAD, scheduler.TO_BENCH))
    # What is hot stays in its machine until the last hands are done with it: both are held, and given back, together.
    load["takes"], load["also"] = machine * ~follows, leads * np.append(machine[1:], NOWHERE)
    empty["gives"], empty["too"] = machine * ~leads, follows * np.append(NOWHERE, machine[:-1])
    table["within_h"] = np.inf
    load["within_h"][leads] = within_h[visited[follows]]
    empty["back"], empty["rounds"] = (1 + 2 * follows) * ~leads, rounds * ~leads
    return table.ravel()


def _plain(given):
    """An array as a list, one of records as a list of objects."""
    if not isinstance(given, np.ndarray):
        return given
    rows, names = given.tolist(), given.dtype.names
    return [SimpleNamespace(**dict(zip(names, row, strict=True))) for row in rows] if names else rows


def schedule(calendar_of, steps, visited, hours, batches, runs, places=None, closed=(), log=None):
    """Lead batches through the calendar, in `runs` that know nothing of each other.

    Parameters: `calendar_of` somebody, a rate key, the Calendar; `steps`, `visited`, `hours` as of `_stretches`;
    `batches` in the order of rank, arrays (B,): their `first` visit up to the `last`, when they are there, which older
    one must have done its one-off work before (else -1), and their own visit that comes after such work; `runs` (n +
    1,) where each run's batches begin; one of each person and machine but for `places` {rate key: how many}; times at
    which machines are `closed` (rate key, from, to [h]); a `log` {} to be filled with {(batch, stretch, round): when it
    was ready, each begin and end of work by hand, its end}. Returns: end of each batch (B,). All [h]. Raises:
    InputError past the calendar's end.
    """
    people, who = np.unique([step.who for step in steps], return_inverse=True)
    names = [f"machine.{step.machine}" if step.machine else "" for step in steps]
    machines, machine = np.unique(["", *names], return_inverse=True)
    first, last, ready_h, after, frees = batches
    begun = np.append(0, np.cumsum(hours[0]))  # rounds up to each visit
    plain = log is not None or plainly((begun[last] - begun[first]).sum())
    calendars = [calendar_of(name) for name in people]
    there = [np.array([(places or {}).get(name, 1) for name in names]) for names in (people, machines)]
    there[1][NOWHERE] = np.iinfo(np.int32).max
    floor = scheduler.Floor(
        [one.listed for one in calendars] if plain else np.stack([one.days for one in calendars]),
        calendars[0].hours.day_h,
        there[0],
        np.zeros(people.size, int),
        there[1],
        np.zeros(machines.size, int),
        np.array([(i, *times) for name, *times in closed for i in np.flatnonzero(machines == name)]).reshape(-1, 3),
        np.zeros(2 * first.size, scheduler.BOOKING),
        np.zeros(1, int),
        _stretches(who, machine[1:], steps, visited, hours, first),
        log,
    )
    led = np.zeros(first.size, scheduler.BATCH)
    led["number"], led["after"] = np.arange(first.size), np.where(after < 0, first.size, after)
    led["mode"], led["due_h"], led["end_h"] = scheduler.COMING, np.where(after < 0, ready_h, np.inf), np.inf
    led["at"], led["frees"], led["last"] = 2 * first, 2 * frees, 2 * last
    if plain:
        objects = _plain(led)
        scheduler.lead(scheduler.Floor(*map(_plain, floor)), objects, runs.tolist())
        led["end_h"] = [batch.end_h for batch in objects]
    else:
        compiled()(floor, led, runs)
    if np.isinf(led["end_h"]).any():
        raise past_horizon()
    return led["end_h"]
