"""The one scheduler: people and machines, the working calendar, batches that follow each other through both.

A foreman's rule, the same for a plan, a workshop of orders and runs with failures: *load the machines first, then help
the oldest batch; work at the bench may be laid down at any time and taken up again, what loads a machine or must be
done in one go may not.* What is hot is handed over at once: a kiln's own clock starts it so late that somebody is there
when it is done. A machine is held from its set-up until it is unloaded. Setting up may go on the next morning; work
in one go begins only where the rest of the day holds it, and if no day does, with the day and into the evening.
Nothing looks ahead: nobody waits for work that is still to come, which is why one batch, hand or machine more may end
a job later (Graham 1969, SIAM J. Appl. Math. 17:416–429; from memory).

These functions run as they are, on lists, and compiled, on arrays (see `dispatch`). Times are hours since the
calendar's first midnight [h].
"""

import math
from typing import NamedTuple

import numpy as np

MOMENT_H = 1e-9  # what lies closer happens at one time
TO_LOAD, TO_WORK, AT_BENCH, UNDER_WAY, BOOKED, AWAY = range(6)  # what a batch does, or waits for
ARRIVING, SET_UP, RUNNING, UNLOADING, RESTING = range(5)  # where it is in a round of a visit
HOT_LINKS = 8  # steps that follow each other hot, at most


class Floor(NamedTuple):
    """Who and what is there: of each of P people a calendar's tables, (P, …), and how many; of each of M machines how
    many, and its bookings `closed` (machine, from, to)."""

    opening: np.ndarray
    before: np.ndarray
    shift: np.ndarray
    night: np.ndarray
    day_h: float
    people: np.ndarray
    machines: np.ndarray
    closed: np.ndarray


class Legs(NamedTuple):
    """The steps that are walked: `who` (S,) works at which `machine` (S,), -1 for none; whether the work is done in
    one go, `whole` (S,), and must begin `within_h` (S,) of the end of the leg before, else infinite."""

    who: np.ndarray
    machine: np.ndarray
    whole: np.ndarray
    within_h: np.ndarray


class Visits(NamedTuple):
    """Visits of legs in the order of time, (V,): how many rounds, and the hours of each."""

    leg: np.ndarray
    rounds: np.ndarray
    hands_on_h: np.ndarray
    run_h: np.ndarray
    unload_h: np.ndarray
    wait_h: np.ndarray


class Batches(NamedTuple):
    """Batches in the order of rank, (B,): their visits `first` up to `last`; when they are there at the earliest, which
    is infinite for those that another one of their `order` lets begin, when it has done its visit `frees` (else -1)."""

    first: np.ndarray
    last: np.ndarray
    ready_h: np.ndarray
    frees: np.ndarray
    order: np.ndarray


class State(NamedTuple):
    """Where every batch is (B,), what is held (M,), who is booked, and the log of what was done, if it has room."""

    at: np.ndarray
    turn: np.ndarray
    phase: np.ndarray
    mode: np.ndarray
    due_h: np.ndarray
    left_h: np.ndarray
    since_h: np.ndarray
    end_h: np.ndarray
    row: np.ndarray
    held: np.ndarray
    busy: np.ndarray
    owner: np.ndarray
    person: np.ndarray
    from_h: np.ndarray
    to_h: np.ndarray
    count: np.ndarray  # batches, bookings, bookings with those on trial, rows of the log, pieces in it
    rows: np.ndarray  # batch, visit, turn, ready, begin, worked, ran, unloaded, end
    pieces: np.ndarray  # row, from, to


# The calendar ---------------------------------------------------------------------------------------------


def worked_by(floor, who, at_h):
    """Hours that somebody has worked by a time [h]; infinite past the calendar's end."""
    day = int(at_h / 24) if at_h < 24 * len(floor.opening[who]) else len(floor.opening[who])
    if day >= len(floor.opening[who]):
        return math.inf
    return floor.before[who][day] + min(max(at_h - floor.opening[who][day], 0.0), floor.day_h)


def begin_of(floor, who, at_h, whole_h):
    """First moment at or after a time when somebody is there, for so many hours in one go unless no day holds them."""
    worked_h = worked_by(floor, who, at_h)
    day = int(worked_h / floor.day_h + MOMENT_H) if worked_h < math.inf else len(floor.shift[who])
    if day >= len(floor.shift[who]):
        return math.inf
    into_h = worked_h - day * floor.day_h
    if into_h > MOMENT_H and into_h + whole_h > floor.day_h + MOMENT_H and floor.night[who][day]:
        day, into_h = day + 1, 0.0
        if day >= len(floor.shift[who]):
            return math.inf
    return (day * floor.day_h + max(into_h, 0.0)) + floor.shift[who][day]


def end_of(floor, who, begin_h, hours, whole):
    """When work that begins at a time is done; in one go it goes on after closing."""
    if hours <= 0 or whole:
        return begin_h + hours
    worked_h = worked_by(floor, who, begin_h) + hours
    # Work that ends at closing time ends there, not at the next opening: hence a little less than the ratio.
    day = int(worked_h / floor.day_h - MOMENT_H) if worked_h < math.inf else len(floor.shift[who])
    return worked_h + floor.shift[who][day] if day < len(floor.shift[who]) else math.inf


# Where and when -------------------------------------------------------------------------------------------


def machine_of(legs, visits, visit):
    """The machine that a visit holds, -1 for none."""
    held_h = visits.hands_on_h[visit] + visits.run_h[visit] + visits.unload_h[visit]
    return legs.machine[visits.leg[visit]] if held_h > 0 else -1


def is_hot(legs, visits, first, visit):
    """Whether a visit must follow the one before it at once."""
    leg = visits.leg[visit]
    return visit > first and legs.within_h[leg] < math.inf and visits.leg[visit - 1] + 1 == leg


def in_one_go(legs, visits, batches, state, j):
    """Whether what a batch comes to is neither laid down nor left for the night: by itself, or for what follows hot."""
    visit = state.at[j]
    if state.phase[j] != SET_UP:
        return False
    after = visit + 1
    return legs.whole[visits.leg[visit]] or (after < batches.last[j] and is_hot(legs, visits, batches.first[j], after))


def slot(floor, state, who, at_h, hours, whole):
    """Earliest begin at or after a time when somebody is free for work that is not laid down for another."""
    if hours <= 0:
        return at_h
    while True:
        at_h = begin_of(floor, who, at_h, hours if whole else 0.0)
        until_h, taken, next_h = end_of(floor, who, at_h, hours, whole), 0, math.inf
        for i in range(state.count[1]):
            if state.person[i] == who and state.from_h[i] < until_h - MOMENT_H and at_h < state.to_h[i] - MOMENT_H:
                taken += 1
                next_h = min(next_h, state.to_h[i])
        if taken < floor.people[who] or at_h == math.inf:
            return at_h
        at_h = next_h


def bar(floor, machine, from_h, to_h):
    """How much later a machine can be taken than planned, for its bookings [h]."""
    late_h = 0.0
    for closed in floor.closed:
        if closed[0] == machine and from_h < closed[2] and closed[1] < to_h:
            late_h = max(late_h, closed[2] - from_h)
    return late_h


def place(floor, legs, visits, batches, state, j, at_h):
    """Earliest begin at or after a time of what is not laid down, with all that must follow it hot.

    Notes the bookings of people on trial, behind those that hold.
    """
    visit, last, setting_up = state.at[j], batches.last[j], state.phase[j] == SET_UP
    while True:
        trial, i, hours = state.count[1], visit, state.left_h[j]
        who, whole = legs.who[visits.leg[i]], in_one_go(legs, visits, batches, state, j)
        begin_h = slot(floor, state, who, at_h, hours, whole)
        now_h = end_of(floor, who, begin_h, hours, whole)
        late_h = bar(floor, machine_of(legs, visits, i), begin_h, now_h + visits.run_h[i]) if setting_up else 0.0
        from_h = begin_h
        while begin_h < math.inf:
            if hours > 0:
                state.owner[trial], state.person[trial] = j, who
                state.from_h[trial], state.to_h[trial] = from_h, now_h
                trial += 1
            if not setting_up or i + 1 >= last or not is_hot(legs, visits, batches.first[j], i + 1):
                break
            now_h += visits.run_h[i] + visits.wait_h[i]
            i += 1
            who, whole, hours = legs.who[visits.leg[i]], True, visits.hands_on_h[i]
            from_h = slot(floor, state, who, now_h, hours, True)
            if visits.run_h[i - 1] <= 0:  # no machine's clock can start it later
                late_h = max(late_h, from_h - now_h - legs.within_h[visits.leg[i]])
            now_h = from_h + hours
        if late_h <= MOMENT_H or begin_h == math.inf:
            state.count[2] = trial
            return begin_h
        at_h = begin_h + late_h


def hold(floor, legs, visits, batches, state, j, number):
    """Hold (1), or look whether one could (0), the machines of a visit and of those that follow it hot."""
    i, last = state.at[j], batches.last[j]
    while state.phase[j] == SET_UP:
        machine = machine_of(legs, visits, i)
        if machine >= 0:
            if state.held[machine] >= floor.machines[machine]:
                return False
            state.held[machine] += number
        i += 1
        if i >= last or not is_hot(legs, visits, batches.first[j], i):
            break
    return True


# What happens ---------------------------------------------------------------------------------------------


def note(state, j, column, at_h):
    """Write a time into the log of the round that a batch is in."""
    if len(state.rows):
        state.rows[state.row[j]][column] = at_h


def note_hands(state, j, from_h, to_h):
    """Write a stretch of hands-on work into the log."""
    if len(state.rows) and to_h > from_h:
        piece = state.pieces[state.count[4]]
        piece[0], piece[1], piece[2] = state.row[j], from_h, to_h
        state.count[4] += 1


def next_booking(state, j, now_h):
    """When a batch's next booked work begins, and ends [h]; now where it has none."""
    begin_h, until_h = math.inf, now_h
    for i in range(state.count[1]):
        if state.owner[i] == j and now_h - MOMENT_H <= state.from_h[i] < begin_h:
            begin_h, until_h = state.from_h[i], state.to_h[i]
    return (begin_h, until_h) if begin_h < math.inf else (now_h, now_h)


def arrive(legs, visits, batches, state, j, now_h):
    """A batch comes to a visit, or to its next round. Returns: whether it need wait for nobody and nothing."""
    visit = state.at[j]
    loads = legs.machine[visits.leg[visit]] >= 0 and visits.run_h[visit] + visits.unload_h[visit] > 0
    state.phase[j], state.left_h[j], state.due_h[j] = SET_UP, visits.hands_on_h[visit], math.inf
    state.mode[j] = TO_LOAD if loads else TO_WORK
    if len(state.rows):
        state.row[j] = state.count[3]
        state.count[3] += 1
        row = state.rows[state.row[j]]
        row[0], row[1], row[2], row[3] = j, visit, state.turn[j], now_h
    if is_hot(legs, visits, batches.first[j], visit):
        state.mode[j], state.due_h[j] = BOOKED, next_booking(state, j, now_h)[0]
        return False
    if visits.hands_on_h[visit] <= 0 and machine_of(legs, visits, visit) < 0:
        note(state, j, 4, now_h)
        note(state, j, 5, now_h)
        return True
    return False


def turn_over(legs, visits, batches, state, j, now_h):
    """A round is done: on to the next of those that follow hot, to the next round, or to the next visit."""
    visit, first = state.at[j], batches.first[j]
    state.phase[j] = ARRIVING
    if visit + 1 < batches.last[j] and is_hot(legs, visits, first, visit + 1):
        state.at[j] += 1
        return
    state.turn[j] += 1
    if state.turn[j] < visits.rounds[visit]:
        while is_hot(legs, visits, first, state.at[j]):
            state.at[j] -= 1
        return
    state.at[j], state.turn[j] = visit + 1, 0
    if visit == batches.frees[j]:
        for i in range(state.count[0]):
            if batches.order[i] == batches.order[j] and i != j:
                state.mode[i], state.due_h[i] = UNDER_WAY, now_h
    if state.at[j] == batches.last[j]:
        state.mode[j], state.due_h[j], state.end_h[j] = AWAY, math.inf, now_h


def proceed(legs, visits, batches, state, j, now_h):
    """Let a batch go on from what it has just ended, until something takes time or needs somebody."""
    while state.mode[j] != AWAY:
        visit = state.at[j]
        until_h = now_h
        if state.phase[j] == ARRIVING:
            if not arrive(legs, visits, batches, state, j, now_h):
                return
        elif state.phase[j] == SET_UP:
            state.phase[j] = RUNNING
            note(state, j, 5, now_h)
            until_h = now_h + visits.run_h[visit]
            if visit + 1 < batches.last[j] and is_hot(legs, visits, batches.first[j], visit + 1):
                ends_h = next_booking(state, j, now_h)[0] - visits.wait_h[visit]
                if visits.run_h[visit] > 0 and ends_h - until_h > legs.within_h[visits.leg[visit + 1]]:
                    until_h = ends_h  # started by its own clock
        elif state.phase[j] == RUNNING:
            state.phase[j] = UNLOADING
            note(state, j, 6, now_h)
            if visits.unload_h[visit] > 0:
                state.mode[j] = TO_LOAD if legs.machine[visits.leg[visit]] >= 0 else TO_WORK
                state.due_h[j], state.left_h[j] = math.inf, visits.unload_h[visit]
                return
        elif state.phase[j] == UNLOADING:
            state.phase[j] = RESTING
            note(state, j, 7, now_h)
            machine = machine_of(legs, visits, visit)
            if machine >= 0:
                state.held[machine] -= 1
            until_h = now_h + visits.wait_h[visit]
        else:
            note(state, j, 8, now_h)
            turn_over(legs, visits, batches, state, j, now_h)
        if until_h > now_h:
            state.mode[j], state.due_h[j] = UNDER_WAY, until_h
            return


def happen(legs, visits, batches, state, j, now_h):
    """What is due of a batch happens."""
    if state.mode[j] == TO_LOAD or state.mode[j] == TO_WORK:
        state.due_h[j] = math.inf  # it may be able to begin now
    elif state.mode[j] == BOOKED:
        end_h = next_booking(state, j, now_h)[1] if state.left_h[j] > 0 else now_h
        state.mode[j], state.due_h[j] = UNDER_WAY, end_h
        note(state, j, 4, now_h)
        note_hands(state, j, now_h, end_h)
    else:
        if state.mode[j] == AT_BENCH:
            note_hands(state, j, state.since_h[j], now_h)
        state.mode[j] = UNDER_WAY
        proceed(legs, visits, batches, state, j, now_h)


def set_out(floor, legs, visits, batches, state, j, now_h):
    """Begin what is not laid down, if it can begin now; else note when to try again."""
    if not hold(floor, legs, visits, batches, state, j, 0):
        return
    begin_h = place(floor, legs, visits, batches, state, j, now_h)
    if begin_h > now_h + MOMENT_H:
        state.due_h[j] = begin_h
        return
    hold(floor, legs, visits, batches, state, j, 1)
    who, end_h = legs.who[visits.leg[state.at[j]]], now_h
    if state.left_h[j] > 0:
        end_h = state.to_h[state.count[1]]
        state.busy[who] += 1
    state.count[1] = state.count[2]
    state.mode[j], state.due_h[j] = UNDER_WAY, end_h
    if state.phase[j] == SET_UP:
        note(state, j, 4, now_h)
    note_hands(state, j, now_h, end_h)


def at_bench(floor, legs, visits, batches, state, j, now_h):
    """Take up work at the bench where somebody is free for it, or lay it down."""
    who = legs.who[visits.leg[state.at[j]]]
    free, begun = state.busy[who] < floor.people[who], state.mode[j] == AT_BENCH
    working = begun and state.due_h[j] < math.inf
    if free and not begun:
        begin_h = begin_of(floor, who, now_h, 0.0)
        if state.phase[j] == SET_UP:
            end_h = end_of(floor, who, begin_h, state.left_h[j], False)
            begin_h += bar(floor, machine_of(legs, visits, state.at[j]), begin_h, end_h)
        if begin_h > now_h + MOMENT_H:
            state.due_h[j] = begin_h
            return
        if not hold(floor, legs, visits, batches, state, j, 0):
            return
        hold(floor, legs, visits, batches, state, j, 1)
        state.mode[j] = AT_BENCH
        if state.phase[j] == SET_UP:
            note(state, j, 4, now_h)
    if free:
        state.busy[who] += 1
        if not working:
            state.since_h[j], state.due_h[j] = now_h, end_of(floor, who, now_h, state.left_h[j], False)
    elif working:
        state.left_h[j] -= worked_by(floor, who, now_h) - worked_by(floor, who, state.since_h[j])
        state.due_h[j] = math.inf
        note_hands(state, j, state.since_h[j], now_h)


def dispatch(floor, legs, visits, batches, state, now_h):
    """Give out the work: load machines first, then the oldest batch."""
    kept = 0
    for who in range(len(floor.people)):
        state.busy[who] = 0
    for i in range(state.count[1]):
        if state.to_h[i] > now_h + MOMENT_H:
            state.owner[kept], state.person[kept] = state.owner[i], state.person[i]
            state.from_h[kept], state.to_h[kept] = state.from_h[i], state.to_h[i]
            if state.from_h[kept] <= now_h + MOMENT_H:
                state.busy[state.person[kept]] += 1
            kept += 1
    state.count[1] = kept
    for j in range(state.count[0]):
        if state.mode[j] == TO_LOAD and state.due_h[j] == math.inf:
            set_out(floor, legs, visits, batches, state, j, now_h)
    for j in range(state.count[0]):
        if state.mode[j] == AT_BENCH or (state.mode[j] == TO_WORK and state.due_h[j] == math.inf):
            who = legs.who[visits.leg[state.at[j]]]
            if state.mode[j] == AT_BENCH or not in_one_go(legs, visits, batches, state, j):
                at_bench(floor, legs, visits, batches, state, j, now_h)
            elif state.busy[who] < floor.people[who]:
                set_out(floor, legs, visits, batches, state, j, now_h)


def lead(floor, legs, visits, batches, state):
    """Lead all batches through the calendar: `state.end_h` is when each is done, infinite past the calendar's end."""
    while True:
        now_h = math.inf
        for j in range(state.count[0]):
            now_h = min(now_h, state.due_h[j])
        if now_h == math.inf:
            return
        asked = False
        for j in range(state.count[0]):
            if state.due_h[j] <= now_h + MOMENT_H:
                happen(legs, visits, batches, state, j, now_h)
            asked = asked or state.mode[j] <= AT_BENCH
        if asked:
            dispatch(floor, legs, visits, batches, state, now_h)


def lead_each(floor, legs, visits, every, runs, batches, state, end_h):
    """Lead runs that know nothing of each other: the batches runs[i] up to runs[i + 1] of `every`; fills `end_h`.

    `batches` and `state` have room for the largest run.
    """
    for run in range(len(runs) - 1):
        state.count[0] = runs[run + 1] - runs[run]
        state.count[1] = 0
        for i in range(len(state.held)):
            state.held[i] = 0
        for j in range(state.count[0]):
            i = runs[run] + j
            batches.first[j], batches.last[j], batches.frees[j] = every.first[i], every.last[i], every.frees[i]
            batches.ready_h[j], batches.order[j] = every.ready_h[i], every.order[i]
            state.at[j], state.turn[j], state.phase[j], state.mode[j] = every.first[i], 0, ARRIVING, UNDER_WAY
            state.due_h[j], state.end_h[j] = every.ready_h[i], math.inf
        lead(floor, legs, visits, batches, state)
        for j in range(state.count[0]):
            end_h[runs[run] + j] = state.end_h[j]
