"""The one scheduler: people and machines, the working calendar, batches that follow each other through both.

A foreman's rule, the same for a plan, a workshop of orders and runs with failures: *load the machines first, then help
the oldest batch; work at the bench may be laid down at any time and taken up again, what loads a machine or must be
done in one go may not.* What is hot is handed over at once: a kiln's own clock starts it so late that somebody is there
when it is done. A machine is held from its set-up until it is unloaded, and where a step follows hot, until that one is
done too. Setting up may go on the next morning; work in one go begins only where the rest of the day holds it, and if
no day does, with the day and into the evening. Nothing looks ahead: nobody waits for work that is still to come, which
is why one batch, hand or machine more may end a job later (Graham 1969, SIAM J. Appl. Math. 17:416–429; from memory).

These functions run as they are, on lists, and compiled, on arrays (see `dispatch`). Times are hours since the
calendar's first midnight [h].
"""

import math
from collections import namedtuple

MOMENT_H = 1e-9  # what lies closer happens at one time
TO_LOAD, TO_WORK, AT_BENCH, UNDER_WAY, BOOKED, AWAY = range(6)  # what a batch does, or waits for
ARRIVING, SET_UP, RUNNING, UNLOADING, RESTING, ENDED = range(6)  # where it is in a round of a visit
BOOKINGS, ROWS, PIECES, OLDEST, BEYOND = range(5)  # places of State.count


# Who and what is there: of each of P people a calendar's tables, (P, …), and how many; of each of M machines how many,
# and its bookings `closed` (machine, from, to).
Floor = namedtuple("Floor", "opening before shift night day_h people machines closed")

# Visits of steps in the order of time, (V,), and one more that is nobody's: `who` works at which `machine`, -1: none;
# whether what they do is neither laid down nor left for the night, `whole`; how soon it must follow the visit before
# it, `within_h`, else infinite; how many rounds, and the hours of each.
Visits = namedtuple("Visits", "who machine whole within_h rounds hands_on_h run_h unload_h wait_h")

# Batches in the order of rank, (B,): their visits `first` up to `last`; when they are there at the earliest, which is
# infinite for those that wait until an older one, `after`, is done (else -1).
Batches = namedtuple("Batches", "first last ready_h after")

# Where every batch is, (B,); what is held, (M,); who is busy, (P,), and booked; the log of what was done, if it has
# room: rows of batch, visit, turn, ready, begin, worked, ran, unloaded, end; pieces of row, from, to. `next_h` is when
# what follows hot begins, `count` how many bookings, rows and pieces there are, and which batches are led.
PLACES = "at mode phase turn row due_h end_h left_h since_h next_h"
State = namedtuple("State", f"{PLACES} held busy person from_h to_h rows pieces count")


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
    if worked_h == math.inf:
        return math.inf
    day = int(worked_h / floor.day_h + MOMENT_H)
    into_h = worked_h - day * floor.day_h
    if into_h > MOMENT_H and into_h + whole_h > floor.day_h + MOMENT_H and floor.night[who][day]:
        day, into_h = day + 1, 0.0
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


def slot(floor, state, who, at_h, hours, whole):
    """Earliest begin at or after a time when somebody is free for work that is not laid down for another."""
    while hours > 0:
        at_h = begin_of(floor, who, at_h, hours if whole else 0.0)
        until_h, taken, next_h = end_of(floor, who, at_h, hours, whole), 0, math.inf
        for i in range(state.count[BOOKINGS]):
            if state.person[i] == who and state.from_h[i] < until_h - MOMENT_H and at_h < state.to_h[i] - MOMENT_H:
                taken += 1
                next_h = min(next_h, state.to_h[i])
        if taken < floor.people[who] or at_h == math.inf:
            break
        at_h = next_h
    return at_h


def bar(floor, machine, from_h, to_h):
    """How much later a machine can be taken than planned, for its bookings [h]."""
    late_h = 0.0
    for closed in floor.closed:
        if closed[0] == machine and from_h < closed[2] and closed[1] < to_h:
            late_h = max(late_h, closed[2] - from_h)
    return late_h


def place(floor, visits, state, j, at_h):
    """(begin, end) of what is not laid down, at or after a time; notes when what must follow it hot begins."""
    visit, setting_up = state.at[j], state.phase[j] == SET_UP
    after, who, whole = visit + 1, visits.who[visit], setting_up and visits.whole[visit]
    while True:
        begin_h = slot(floor, state, who, at_h, state.left_h[j], whole)
        end_h, late_h = end_of(floor, who, begin_h, state.left_h[j], whole), 0.0
        if setting_up and begin_h < math.inf:
            ran_h = end_h + visits.run_h[visit]
            late_h = bar(floor, visits.machine[visit], begin_h, ran_h)
            if visits.within_h[after] < math.inf:
                ready_h = ran_h + visits.wait_h[visit]
                next_h = slot(floor, state, visits.who[after], ready_h, visits.hands_on_h[after], visits.whole[after])
                state.next_h[j] = next_h
                if visits.run_h[visit] <= 0:  # no machine's clock can start it later
                    late_h = max(late_h, next_h - ready_h - visits.within_h[after])
        if late_h <= MOMENT_H:
            return begin_h, end_h
        at_h = begin_h + late_h


def book(state, who, from_h, to_h):
    """Book somebody for work that is not laid down."""
    if to_h > from_h:
        i = state.count[BOOKINGS]
        state.person[i], state.from_h[i], state.to_h[i] = who, from_h, to_h
        state.count[BOOKINGS] += 1


def hold(floor, visits, state, visit, number):
    """Hold (1) or give back (-1) the machine of a visit and of what follows it hot, or look whether one could (0)."""
    for i in range(visit, visit + 1 + (visits.within_h[visit + 1] < math.inf)):
        machine = visits.machine[i]
        if machine >= 0:
            if number >= 0 and state.held[machine] >= floor.machines[machine]:
                return False
            state.held[machine] += number
    return True


# What happens ---------------------------------------------------------------------------------------------


def note(state, j, at_h):
    """Write into the log when the phase that a batch is in began."""
    if len(state.rows):
        state.rows[state.row[j]][3 + state.phase[j]] = at_h


def note_hands(state, j, from_h, to_h):
    """Write a stretch of hands-on work into the log."""
    if len(state.rows) and to_h > from_h:
        piece = state.pieces[state.count[PIECES]]
        piece[0], piece[1], piece[2] = state.row[j], from_h, to_h
        state.count[PIECES] += 1


def arrive(visits, state, j, now_h):
    """A batch comes to a visit, or to its next round. Returns: whether it need wait for nobody and nothing."""
    visit = state.at[j]
    loads = visits.machine[visit] >= 0 and visits.run_h[visit] + visits.unload_h[visit] > 0
    state.phase[j], state.left_h[j], state.due_h[j] = SET_UP, visits.hands_on_h[visit], math.inf
    state.mode[j] = TO_LOAD if loads else TO_WORK
    if len(state.rows):
        state.row[j] = state.count[ROWS]
        state.count[ROWS] += 1
        row = state.rows[state.row[j]]
        row[0], row[1], row[2], row[3] = j, visit, state.turn[j], now_h
    if visits.within_h[visit] < math.inf:
        state.mode[j], state.due_h[j] = BOOKED, state.next_h[j] if state.left_h[j] > 0 else now_h
        return False
    if visits.hands_on_h[visit] <= 0 and visits.machine[visit] < 0:
        note(state, j, now_h)
        return True
    return False


def turn_over(visits, batches, state, j, now_h):
    """A round is done: on to what follows hot, to the next round, or to the next visit."""
    visit = state.at[j]
    state.phase[j] = ARRIVING
    if visits.within_h[visit + 1] < math.inf:
        state.at[j] += 1
        return
    state.turn[j] += 1
    if state.turn[j] < visits.rounds[visit]:
        state.at[j] -= visits.within_h[visit] < math.inf
        return
    state.at[j], state.turn[j] = visit + 1, 0
    if state.at[j] == batches.last[j]:
        state.mode[j], state.due_h[j], state.end_h[j] = AWAY, math.inf, now_h
        for i in range(j + 1, state.count[BEYOND]):
            if batches.after[i] == j:
                state.due_h[i] = now_h


def proceed(floor, visits, batches, state, j, now_h):
    """Let a batch go on from what it has just ended, until something takes time or needs somebody."""
    while state.mode[j] != AWAY:
        visit = state.at[j]
        until_h, follows_h = now_h, visits.within_h[visit + 1]
        if state.phase[j] == ARRIVING:
            if not arrive(visits, state, j, now_h):
                return
        elif state.phase[j] == SET_UP:
            state.phase[j] = RUNNING
            note(state, j, now_h)
            until_h = now_h + visits.run_h[visit]
            if follows_h < math.inf and visits.run_h[visit] > 0:
                ends_h = state.next_h[j] - visits.wait_h[visit]
                if ends_h - until_h > follows_h:
                    until_h = ends_h  # started by its own clock
        elif state.phase[j] == RUNNING:
            state.phase[j] = UNLOADING
            note(state, j, now_h)
            if visits.unload_h[visit] > 0:
                state.mode[j] = TO_LOAD if visits.machine[visit] >= 0 else TO_WORK
                state.due_h[j], state.left_h[j] = math.inf, visits.unload_h[visit]
                return
        elif state.phase[j] == UNLOADING:
            state.phase[j] = RESTING
            note(state, j, now_h)
            if follows_h == math.inf:  # else what is hot stays in it, until that is done
                hold(floor, visits, state, visit - (visits.within_h[visit] < math.inf), -1)
            until_h = now_h + visits.wait_h[visit]
        else:
            state.phase[j] = ENDED
            note(state, j, now_h)
            turn_over(visits, batches, state, j, now_h)
        if until_h > now_h:
            state.mode[j], state.due_h[j] = UNDER_WAY, until_h
            return


def happen(floor, visits, batches, state, j, now_h):
    """What is due of a batch happens."""
    if state.mode[j] == TO_LOAD or state.mode[j] == TO_WORK:
        state.due_h[j] = math.inf  # it may be able to begin now
    elif state.mode[j] == BOOKED:
        state.mode[j], state.due_h[j] = UNDER_WAY, now_h + state.left_h[j]
        note(state, j, now_h)
        note_hands(state, j, now_h, state.due_h[j])
    else:
        if state.mode[j] == AT_BENCH:
            note_hands(state, j, state.since_h[j], now_h)
        state.mode[j] = UNDER_WAY
        proceed(floor, visits, batches, state, j, now_h)


def set_out(floor, visits, state, j, now_h):
    """Begin what is not laid down, if it can begin now; else note when to try again."""
    visit, setting_up = state.at[j], state.phase[j] == SET_UP
    if setting_up and not hold(floor, visits, state, visit, 0):
        return
    begin_h, end_h = place(floor, visits, state, j, now_h)
    if begin_h > now_h + MOMENT_H:
        state.due_h[j] = begin_h
        return
    state.busy[visits.who[visit]] += state.left_h[j] > 0
    book(state, visits.who[visit], now_h, end_h)
    if setting_up:
        hold(floor, visits, state, visit, 1)
        note(state, j, now_h)
        if visits.within_h[visit + 1] < math.inf:
            book(state, visits.who[visit + 1], state.next_h[j], state.next_h[j] + visits.hands_on_h[visit + 1])
    state.mode[j], state.due_h[j] = UNDER_WAY, end_h
    note_hands(state, j, now_h, end_h)


def at_bench(floor, visits, state, j, now_h):
    """Take up work at the bench where somebody is free for it, or lay it down."""
    visit, who = state.at[j], visits.who[state.at[j]]
    working = state.mode[j] == AT_BENCH and state.due_h[j] < math.inf
    if state.busy[who] >= floor.people[who]:
        if working:
            state.left_h[j] -= worked_by(floor, who, now_h) - worked_by(floor, who, state.since_h[j])
            state.due_h[j] = math.inf
            note_hands(state, j, state.since_h[j], now_h)
        return
    if state.mode[j] != AT_BENCH:
        begin_h, setting_up = begin_of(floor, who, now_h, 0.0), state.phase[j] == SET_UP
        if setting_up:
            end_h = end_of(floor, who, begin_h, state.left_h[j], False)
            begin_h += bar(floor, visits.machine[visit], begin_h, end_h)
        if begin_h > now_h + MOMENT_H:
            state.due_h[j] = begin_h
            return
        if setting_up:
            if not hold(floor, visits, state, visit, 0):
                return
            hold(floor, visits, state, visit, 1)
            note(state, j, now_h)
        state.mode[j] = AT_BENCH
    state.busy[who] += 1
    if not working:
        state.since_h[j], state.due_h[j] = now_h, end_of(floor, who, now_h, state.left_h[j], False)


def dispatch(floor, visits, state, now_h):
    """Give out the work: load machines first, then the oldest batch. Returns: when next something is due."""
    kept = 0
    for who in range(len(floor.people)):
        state.busy[who] = 0
    for i in range(state.count[BOOKINGS]):
        if state.to_h[i] > now_h + MOMENT_H:
            state.person[kept], state.from_h[kept], state.to_h[kept] = state.person[i], state.from_h[i], state.to_h[i]
            state.busy[state.person[kept]] += state.from_h[kept] <= now_h + MOMENT_H
            kept += 1
    state.count[BOOKINGS] = kept
    next_h, oldest, beyond = math.inf, state.count[OLDEST], state.count[BEYOND]
    for j in range(oldest, beyond):
        if state.mode[j] == TO_LOAD and state.due_h[j] == math.inf:
            set_out(floor, visits, state, j, now_h)
    for j in range(oldest, beyond):
        mode = state.mode[j]
        if mode == AT_BENCH or (mode == TO_WORK and state.due_h[j] == math.inf):
            visit = state.at[j]
            if mode == AT_BENCH or state.phase[j] != SET_UP or not visits.whole[visit]:
                at_bench(floor, visits, state, j, now_h)
            elif state.busy[visits.who[visit]] < floor.people[visits.who[visit]]:
                set_out(floor, visits, state, j, now_h)
        next_h = min(next_h, state.due_h[j])
    return next_h


def lead(floor, visits, batches, runs, state):
    """Lead batches through the calendar, run by run, the batches runs[i] up to runs[i + 1] together: `state.end_h` is
    when each is done, infinite past the calendar's end."""
    for run in range(len(runs) - 1):
        state.count[BOOKINGS], state.count[OLDEST], state.count[BEYOND] = 0, runs[run], runs[run + 1]
        for i in range(len(state.held)):
            state.held[i] = 0
        now_h = -math.inf
        while now_h < math.inf:
            for j in range(state.count[OLDEST], runs[run + 1]):
                if state.due_h[j] <= now_h + MOMENT_H:
                    happen(floor, visits, batches, state, j, now_h)
            while state.count[OLDEST] < runs[run + 1] and state.mode[state.count[OLDEST]] == AWAY:
                state.count[OLDEST] += 1
            now_h = dispatch(floor, visits, state, now_h)
