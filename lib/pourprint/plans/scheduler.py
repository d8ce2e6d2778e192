"""The one scheduler: people and machines, the working calendar, batches that follow each other through both.

A foreman's rule, the same for a plan, a workshop of orders and runs with failures: *load the machines first, then help
the oldest batch; work at the bench may be laid down at any time and taken up again, what loads a machine or must be
done in one go may not.* What is hot is handed over at once: a kiln's own clock starts it so late that somebody is there
when it is done. A machine is held from its set-up until it is unloaded, and where a step follows hot, until that one is
done too. Setting up may go on the next morning; work in one go begins only where the rest of the day holds it, and if
no day does, with the day and into the evening. Nothing looks ahead: nobody waits for work that is still to come, which
is why one batch, hand or machine more may end a job later (Graham 1969, SIAM J. Appl. Math. 17:416–429; from memory).

A visit of a step is two stretches of a batch's way: hands set up, then the machine runs alone; hands unload, then it
dries or cools alone.

These functions run as they are, on objects, and compiled, on records (see `dispatch`). Times are hours since the
calendar's first midnight [h].
"""

import math
from collections import namedtuple

import numpy as np

from pourprint.ledger.workdays import BEFORE, OPENS, SHIFT

MOMENT_H = 1e-9  # what lies closer happens at one time
# What a batch does, or waits for: to come; to load, to work in one go, to work at the bench; working there or laid
# down; until one of these three can begin; hands that are not laid down; alone; until the moment set for it; gone.
COMING, TO_LOAD, TO_WORK, TO_BENCH, AT_BENCH, LATER, IN_HAND, ALONE, BOOKED, AWAY = range(10)

# Who and what is there: of each person the `days` of a calendar, a working one of `day_h`, how many there are and how
# many are `idle`; of each machine how many and how many have `room`, and its times `closed` (machine, from, to);
# `bookings` of people for work that is not laid down, with their number `booked`; all stretches; the `log`, or None.
PLACES = "days day_h people idle machines room closed bookings booked stretches log"
Floor = namedtuple("Floor", PLACES)


def record(whole, hours, size="u4"):
    """The type of a record of whole numbers from 0 on, of some size, and of hours: a place in a table that may be below
    0 is looked for from the table's end, and asking for that takes a fifth of all time."""
    return np.dtype([(name, "f8") for name in hours.split()] + [(name, size) for name in whole.split()], align=True)


# What `who` does, and for how long nobody need be there then: the `mode` in which a batch comes to it; the machines it
# `takes`, its own and that of what follows hot, and `gives` back; whether work is done in one go; how soon the visit
# that follows hot must begin, `within_h`, else infinite. After the last of a round `back` to its first, `rounds` times.
STRETCH = record("who mode takes also gives too whole back", "rounds hands_h alone_h within_h", "u2")

# Where a batch is on its way, up to the `last` stretch, in which round (`turn`) and `mode`; when something is due, or
# infinite while it waits for a machine, hands, or an older one, `after`, to come to the stretch where that `frees` it;
# hands-on hours `left_h`, taken up `since_h`; when what follows hot begins, `next_h`.
BATCH = record("number after frees at last turn mode", "due_h end_h left_h since_h next_h")

BOOKING = record("who", "from_h to_h")

# The calendar ---------------------------------------------------------------------------------------------


def day_of(floor, who, at_h):
    """Which day a time lies on, the one past the calendar's end for all that come later."""
    return int(min(at_h * (1 / 24), len(floor.days[who]) - 1))


def worked_by(floor, who, at_h):
    """Hours that somebody has worked by a time [h]."""
    day = day_of(floor, who, at_h)
    return floor.days[who][day][BEFORE] + min(max(at_h - floor.days[who][day][OPENS], 0.0), floor.day_h)


def stint(floor, who, at_h, hours, whole):
    """First (begin, end) of some hours' work at or after a time when somebody is there; infinite past the calendar's
    end. In one go it begins where the day holds it, unless no day does, and then goes on after closing."""
    day = day_of(floor, who, at_h)
    opens_h = floor.days[who][day][OPENS]
    begin_h = max(at_h, opens_h)
    late = begin_h - opens_h + hours > floor.day_h + MOMENT_H if whole else begin_h - opens_h > floor.day_h - MOMENT_H
    if late and begin_h > opens_h + MOMENT_H and floor.days[who][day + 1][OPENS] > opens_h + floor.day_h:
        day += 1  # a night lies between
        begin_h = opens_h = floor.days[who][day][OPENS]
    end_h = begin_h + hours
    if end_h > opens_h + floor.day_h and not whole:
        # Work that ends at closing time ends there, not at the next opening: hence a little less than the ratio.
        worked_h = floor.days[who][day][BEFORE] + (begin_h - opens_h) + hours
        day = int(min(worked_h / floor.day_h - MOMENT_H, len(floor.days[who]) - 1))
        end_h = worked_h + floor.days[who][day][SHIFT]
    return begin_h, end_h


# Where and when -------------------------------------------------------------------------------------------


def slot(floor, who, at_h, hours, whole):
    """Earliest (begin, end) at or after a time when somebody is free for work that is not laid down for another."""
    end_h = at_h
    while hours > 0:
        (at_h, end_h), taken, next_h = stint(floor, who, at_h, hours, whole), 0, math.inf
        for one in floor.bookings[: floor.booked[0]]:
            if one.who == who and min(one.to_h, end_h) - max(one.from_h, at_h) > MOMENT_H:
                taken += 1
                next_h = min(next_h, one.to_h)
        if taken < floor.people[who] or at_h == math.inf:
            break
        at_h = next_h
    return at_h, end_h


def book(floor, who, from_h, to_h, now_h):
    """Book somebody for work that is not laid down, in the place of what is over."""
    i = 0
    while i < floor.booked[0] and floor.bookings[i].to_h > now_h + MOMENT_H:
        i += 1
    floor.booked[0] = max(floor.booked[0], i + 1)
    one = floor.bookings[i]
    one.who, one.from_h, one.to_h = who, from_h, to_h


def bar(floor, machine, from_h, to_h):
    """How much later a machine can be taken than planned, for the times when it is closed [h]."""
    late_h = 0.0
    for closed in floor.closed:
        if closed[0] == machine and from_h < closed[2] and closed[1] < to_h:
            late_h = max(late_h, closed[2] - from_h)
    return late_h


def place(floor, batch, at_h):
    """(begin, end) of what is not laid down, at or after a time; notes when what must follow it hot begins."""
    stretch = floor.stretches[batch.at]
    while True:
        begin_h, end_h = slot(floor, stretch.who, at_h, batch.left_h, stretch.whole)
        late_h = bar(floor, stretch.takes, begin_h, end_h + stretch.alone_h)
        if stretch.within_h < math.inf and begin_h < math.inf:
            follows = floor.stretches[batch.at + 2]
            ready_h = end_h + stretch.alone_h + floor.stretches[batch.at + 1].alone_h
            batch.next_h, _ = slot(floor, follows.who, ready_h, follows.hands_h, follows.whole)
            if stretch.alone_h <= 0:  # no machine's clock can start it later
                late_h = max(late_h, batch.next_h - ready_h - stretch.within_h)
        if late_h <= MOMENT_H:
            return begin_h, end_h
        at_h = begin_h + late_h


def free(floor, stretch):
    """Whether the machines that a stretch takes have room."""
    return floor.room[stretch.takes] > 0 and floor.room[stretch.also] > 0


# What happens ---------------------------------------------------------------------------------------------


def note(log, batch, at_h):
    """Write down a time of a stretch: when it was ready, each begin and end of work by hand, and its end."""
    if log is not None:
        log.setdefault((batch.number, batch.at, batch.turn), []).append(at_h)


def begin(floor, batch, now_h, end_h):
    """Hands begin what they do not lay down."""
    batch.mode, batch.due_h = IN_HAND, end_h
    note(floor.log, batch, now_h)


def proceed(floor, batches, batch, now_h):
    """Let a batch go on from what it has just ended, until something takes time or needs somebody."""
    while batch.mode != AWAY:
        stretch = floor.stretches[batch.at]
        if batch.mode == AT_BENCH or batch.mode == IN_HAND:
            note(floor.log, batch, now_h)
            floor.room[stretch.gives] += 1
            floor.room[stretch.too] += 1
            batch.mode, batch.due_h = ALONE, now_h + stretch.alone_h
            if stretch.within_h < math.inf and stretch.alone_h > 0:
                ends_h = batch.next_h - floor.stretches[batch.at + 1].alone_h
                if ends_h - batch.due_h > stretch.within_h:
                    batch.due_h = ends_h  # started by its own clock
            if batch.due_h > now_h:
                return
        if batch.mode == ALONE:
            note(floor.log, batch, now_h)
            turn_over(batches, batch, stretch, now_h)
        if batch.mode == COMING:
            stretch = floor.stretches[batch.at]
            batch.mode, batch.left_h, batch.due_h = stretch.mode, stretch.hands_h, math.inf
            note(floor.log, batch, now_h)
            if stretch.mode == BOOKED:
                batch.due_h = batch.next_h if stretch.hands_h > 0 else now_h
            if stretch.mode != IN_HAND:
                return
            note(floor.log, batch, now_h)


def turn_over(batches, batch, stretch, now_h):
    """A stretch is done: on to the next one, or to the next round; or the batch is."""
    batch.mode, batch.turn = COMING, batch.turn + (stretch.back > 0)
    if batch.turn < stretch.rounds:
        batch.at -= stretch.back
        return
    batch.at, batch.turn = batch.at + 1, batch.turn if stretch.back == 0 else 0
    if batch.at == batch.frees:
        for other in batches:
            if other.after == batch.number:
                other.due_h = now_h
    if batch.at == batch.last:
        batch.mode, batch.due_h, batch.end_h = AWAY, math.inf, now_h


def set_out(floor, batch, now_h):
    """Begin what is not laid down, if it can begin now; else note when to try again."""
    stretch = floor.stretches[batch.at]
    if not free(floor, stretch):
        return
    begin_h, end_h = place(floor, batch, now_h)
    if begin_h > now_h + MOMENT_H:
        batch.mode, batch.due_h = LATER, begin_h
        return
    floor.room[stretch.takes] -= 1
    floor.room[stretch.also] -= 1
    floor.idle[stretch.who] -= batch.left_h > 0
    book(floor, stretch.who, now_h, end_h, now_h)
    if stretch.within_h < math.inf:
        follows = floor.stretches[batch.at + 2]
        book(floor, follows.who, batch.next_h, batch.next_h + follows.hands_h, now_h)
    begin(floor, batch, now_h, end_h)


def at_bench(floor, batch, now_h):
    """Take up work at the bench where somebody is free for it, or lay it down."""
    stretch = floor.stretches[batch.at]
    who, working = stretch.who, batch.mode == AT_BENCH and batch.due_h < math.inf
    if floor.idle[who] <= 0:
        if working:
            batch.left_h -= worked_by(floor, who, now_h) - worked_by(floor, who, batch.since_h)
            batch.due_h = math.inf
            note(floor.log, batch, now_h)
        return
    if not working:
        if batch.mode == TO_BENCH and not free(floor, stretch):
            return
        begin_h, end_h = stint(floor, who, now_h, batch.left_h, False)
        if batch.mode == TO_BENCH:
            begin_h += bar(floor, stretch.takes, begin_h, end_h)
            if begin_h > now_h + MOMENT_H:
                batch.mode, batch.due_h = LATER, begin_h
                return
            floor.room[stretch.takes] -= 1
        batch.mode, batch.since_h, batch.due_h = AT_BENCH, now_h, end_h
        note(floor.log, batch, now_h)
    floor.idle[who] -= 1


def dispatch(floor, batches, now_h):
    """Give out the work: load machines first, then the oldest batch. Returns: when next something is due."""
    for who in range(len(floor.people)):
        floor.idle[who] = floor.people[who]
    for one in floor.bookings[: floor.booked[0]]:
        floor.idle[one.who] -= one.from_h <= now_h + MOMENT_H < one.to_h
    for batch in batches:
        if batch.mode == TO_LOAD:
            set_out(floor, batch, now_h)
    next_h = math.inf
    for batch in batches:
        if batch.mode == AT_BENCH or batch.mode == TO_BENCH:
            at_bench(floor, batch, now_h)
        elif batch.mode == TO_WORK and floor.idle[floor.stretches[batch.at].who] > 0:
            set_out(floor, batch, now_h)
        next_h = min(next_h, batch.due_h)
    return next_h


def lead(floor, batches, runs):
    """Lead batches through the calendar, run by run, the batches runs[i] up to runs[i + 1] together: each notes when it
    is done, `end_h`, infinite past the calendar's end."""
    for run in range(len(runs) - 1):
        mine, now_h = batches[runs[run] : runs[run + 1]], -math.inf
        floor.booked[0] = 0
        for machine in range(len(floor.room)):
            floor.room[machine] = floor.machines[machine]
        while now_h < math.inf:
            for batch in mine:
                if batch.due_h > now_h + MOMENT_H:
                    continue
                if batch.mode == BOOKED:
                    begin(floor, batch, now_h, now_h + batch.left_h)
                elif batch.mode == LATER:
                    batch.mode, batch.due_h = floor.stretches[batch.at].mode, math.inf
                else:
                    proceed(floor, mine, batch, now_h)
            while len(mine) > 0 and mine[0].mode == AWAY:
                mine = mine[1:]
            now_h = dispatch(floor, mine, now_h)
