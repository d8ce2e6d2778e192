"""The workshop: several orders in hand share people and machines on one calendar.

A deterministic list schedule: of all tasks that could begin, the one that can begin first does; where several
could begin at one moment, the queue rule chooses. Nothing is ever idle while a task could use it, and no task
is broken off for another. Hands-on work pauses when nobody is there and keeps its machine; a machine is held
from the beginning of its set-up. Waiting (drying, cooling) holds nobody and nothing.
Not modelled: failures (see `risk`), the second pair of hands at a pour, work handed from one person to another in
the middle of a task.
"""

import datetime as dt
import heapq
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import WorkingHours, calendar_from, moment_of
from pourprint.plans.plan import Span, made
from pourprint.plans.steps import JOB, Step

RULES = {  # lower comes first; orders that tie keep the order in which they were given
    "first come": lambda order: order.arrives,
    "shortest first": lambda order: order.hours,
    "earliest date first": lambda order: order.due or dt.datetime.max,
}


@dataclass(frozen=True)
class Task:
    """One round of a step: its hands-on, machine and waiting time [h], single numbers."""

    step: Step
    hands_on_h: float = 0.0
    machine_h: float = 0.0
    wait_h: float = 0.0

    @property
    def hours(self):
        """Hands-on, machine and waiting time together [h]."""
        return self.hands_on_h + self.machine_h + self.wait_h


@dataclass(frozen=True)
class Order:
    """A job in hand: tasks done once, then batches whose tasks follow each other, each batch on its own.

    `arrives` and `due` are dates and times; `delivery_days` [d] follow the last task.
    """

    name: str
    arrives: dt.datetime
    batches: tuple[tuple[Task, ...], ...]
    one_off: tuple[Task, ...] = ()
    due: dt.datetime | None = None
    delivery_days: float = 0.0

    @classmethod
    def of(cls, plan, arrives, name=None, due=None):
        """The order that a plan of single numbers makes. Raises: InputError."""
        made(plan).single_only("an order in the workshop")
        full, size, rest = (int(number) for number in plan.batch_sizes)
        one_off = (
            Task(step, float(work.hands_on_h), float(work.machine_h), float(work.wait_h))
            for step in plan.steps
            for work in step.work
            if work.level is JOB
        )
        return cls(
            plan.title if name is None else name,
            moment_of(arrives),
            (*(_tasks(plan, size),) * full, *(_tasks(plan, rest),) * (rest > 0)),
            tuple(one_off),
            None if due is None else moment_of(due),
            plan.job.delivery_days,
        )

    @cached_property
    def hours(self):
        """All its tasks' time added up [h]."""
        return sum(task.hours for tasks in (self.one_off, *self.batches) for task in tasks)


def _tasks(plan, kits):
    """A batch of `kits` as tasks, round by round; none for no kits."""
    found = []
    for step in plan.steps if kits else ():
        if any(work.level is not JOB for work in step.work):
            rounds, *hours = (float(number) for number in plan.durations_of(step, kits))
            found += [Task(step, *hours)] * round(rounds)
    return tuple(found)


@dataclass(frozen=True)
class Booked:
    """Whole days on which a person or machine is taken: `resource` a rate key such as "machine.kiln"."""

    resource: str
    first: dt.date
    last: dt.date
    why: str = ""

    def __post_init__(self):
        kind = self.resource.partition(".")[0] if isinstance(self.resource, str) else ""
        if kind not in ("labour", "machine"):
            raise InputError(f'resource must be a rate key such as "labour.technician", not {self.resource!r}.')
        if not (type(self.first) is type(self.last) is dt.date and self.first <= self.last):
            raise InputError(
                f"a booking needs dates with first ≤ last, such as date(2026, 12, 7), not {self.first!r} "
                f"and {self.last!r}."
            )

    @property
    def days(self):
        """Every day of the booking."""
        return [self.first + dt.timedelta(days=i) for i in range((self.last - self.first).days + 1)]


@dataclass(frozen=True)
class Slot:
    """One task of one order in the calendar: `batch` 0 is the one-off work; times of `span` are hours [h] since
    the timeline's start; `hands_on_h` [h] is the task's own; `queued_h` [h] is how long it waited for a busy
    person or machine."""

    order: str
    batch: int
    span: Span
    hands_on_h: float
    queued_h: float


@dataclass(frozen=True)
class Workshop:
    """Working hours, booked days and how many of each person and machine there are (one, where not named).

    `rule` is the queue rule: "first come", "shortest first" (least hours in all) or "earliest date first".
    """

    hours: WorkingHours = field(default_factory=WorkingHours)
    booked: tuple[Booked, ...] = ()
    places: Mapping[str, int] = field(default_factory=dict)
    rule: str = "first come"

    def __post_init__(self):
        if not isinstance(self.hours, WorkingHours):
            raise InputError(f"hours must be WorkingHours, such as rates.hours, not {self.hours!r}.")
        if self.rule not in RULES:
            raise InputError(f"rule must be one of {', '.join(RULES)}, not {self.rule!r}.")
        object.__setattr__(self, "booked", tuple(self.booked))
        if not all(isinstance(booking, Booked) for booking in self.booked):
            raise InputError(f"booked must hold Booked(resource, first, last), not {self.booked!r}.")
        check_numbers(arrays=False, **self.places)
        if odd := [name for name, number in self.places.items() if number % 1]:
            raise InputError(f"places[{odd[0]!r}] must be a whole number, not {self.places[odd[0]]!r}.")

    def calendar(self, who, first_day):
        """The Calendar of a person ("labour.technician") from a date on, their booked days taken out."""
        days = {day for booking in self.booked if booking.resource == who for day in booking.days}
        hours = replace(self.hours, holidays=tuple(sorted({*self.hours.holidays, *days})))
        return calendar_from(hours, first_day.isoformat())

    def schedule(self, orders):
        """Lead all orders through the workshop: a Timeline.

        Parameters: `orders` one or more Order. Raises: InputError, also past the calendar's horizon.
        """
        orders = tuple(orders)
        if not orders or not all(isinstance(order, Order) for order in orders):
            raise InputError("orders must be one or more Order, as from Order.of(plan, arrives=…).")
        if len({order.name for order in orders}) < len(orders):
            raise InputError("two orders have the same name: give each its own, Order.of(plan, arrives, name=…).")
        start = min(order.arrives for order in orders)
        return Timeline(self, orders, start, tuple(self._slots(orders, start)))

    def _slots(self, orders, start):
        midnight = dt.datetime.combine(start.date(), dt.time())
        offset_h = (start - midnight) / dt.timedelta(hours=1)
        desk = _Desk(self, start.date())
        ranks = [RULES[self.rule](order) for order in orders]
        chains = [(order.one_off, *order.batches) for order in orders]
        # Entries: (earliest begin, rank, order, batch, place in the chain, ready); the begin may prove too early.
        waiting = []

        def put(order, batch, at, ready_h, begin_h):
            heapq.heappush(waiting, (round(begin_h, 9), ranks[order], order, batch, at, ready_h))

        def follow(order, batch, at, ready_h):
            if at < len(chains[order][batch]):
                put(order, batch, at, ready_h, ready_h)
            elif batch == 0:
                for later in range(1, len(chains[order])):
                    follow(order, later, 0, ready_h)

        for i, order in enumerate(orders):
            follow(i, 0, 0, (order.arrives - midnight) / dt.timedelta(hours=1))
        while waiting:
            hoped_h, _, order, batch, at, ready_h = heapq.heappop(waiting)
            task = chains[order][batch][at]
            begin_h, worked_h, ran_h = desk.earliest(task, ready_h)
            if begin_h > hoped_h + 1e-9:
                put(order, batch, at, ready_h, begin_h)
                continue
            desk.take(task, worked_h, ran_h)
            end_h = ran_h + task.wait_h
            queued_h = begin_h - desk.alone(task, ready_h)
            span = Span(task.step, *(at_h - offset_h for at_h in (ready_h, begin_h, worked_h, ran_h, end_h)))
            yield Slot(orders[order].name, batch, span, task.hands_on_h, queued_h)
            follow(order, batch, at + 1, end_h)


class _Desk:
    """When each person and machine is next free, while one schedule is made."""

    def __init__(self, workshop, first_day):
        self.workshop, self.first_day = workshop, first_day
        self.free = {}  # {resource: [h at which each place is free]}
        self.calendars = {}  # {person: Calendar}
        self.closed = {}  # {machine: [(from, to) hours of its bookings]}
        for booking in workshop.booked:
            span = tuple(24.0 * (day - first_day).days for day in (booking.first, booking.last + dt.timedelta(days=1)))
            self.closed.setdefault(booking.resource, []).append(span)

    def calendar(self, who):
        if who not in self.calendars:
            self.calendars[who] = self.workshop.calendar(who, self.first_day)
        return self.calendars[who]

    def resources(self, task):
        person = [task.step.who] if task.hands_on_h > 0 else []
        machine = [f"machine.{task.step.machine}"] if task.step.machine and task.hands_on_h + task.machine_h > 0 else []
        return person, machine

    def places(self, name):
        return self.free.setdefault(name, [-np.inf] * int(self.workshop.places.get(name, 1)))

    def alone(self, task, ready_h):
        """When the task could begin if nobody else were there."""
        return self._times(task, ready_h)[0]

    def earliest(self, task, ready_h):
        """(begin, hands free, machine free) of the task at the earliest [h]."""
        person, machine = self.resources(task)
        return self._times(task, max([ready_h, *(min(self.places(name)) for name in person + machine)]))

    def _times(self, task, begin_h):
        _, machine = self.resources(task)
        while True:
            worked_h = begin_h
            if task.hands_on_h > 0:
                calendar = self.calendar(task.step.who)
                if task.step.whole:
                    begin_h = calendar.whole(begin_h, task.hands_on_h)
                begin_h = float(calendar.opening(begin_h))
                worked_h = float(calendar.finish(begin_h, task.hands_on_h))
            ran_h = worked_h + task.machine_h
            clashes = [to for name in machine for at, to in self.closed.get(name, ()) if begin_h < to and at < ran_h]
            if not clashes:
                return begin_h, worked_h, ran_h
            begin_h = max(clashes)

    def take(self, task, worked_h, ran_h):
        person, machine = self.resources(task)
        for names, until_h in ((person, worked_h), (machine, ran_h)):
            for name in names:
                places = self.places(name)
                places[places.index(min(places))] = until_h


@dataclass(frozen=True)
class Timeline:
    """What a workshop makes of its orders: `slots` in the order in which they begin, from `start` on."""

    workshop: Workshop
    orders: tuple[Order, ...]
    start: dt.datetime
    slots: tuple[Slot, ...] = field(repr=False)

    def _moment(self, hours):
        return self.start + dt.timedelta(minutes=round(60 * hours))

    @cached_property
    def done_h(self):
        """When each order is delivered, (number of orders,) [h since `start`]."""
        arrives = [(order.arrives - self.start) / dt.timedelta(hours=1) for order in self.orders]
        ends = dict(zip((order.name for order in self.orders), arrives, strict=True))
        for slot in self.slots:
            ends[slot.order] = max(ends[slot.order], slot.span.end_h)
        return np.array([ends[order.name] + 24 * order.delivery_days for order in self.orders])

    @property
    def flow_days(self):
        """Days from arrival to delivery of each order, (number of orders,) [d]."""
        arrives = np.array([(order.arrives - self.start) / dt.timedelta(days=1) for order in self.orders])
        return self.done_h / 24 - arrives

    @property
    def mean_flow_days(self):
        """Mean days from arrival to delivery [d]."""
        return float(self.flow_days.mean())

    def table(self):
        """One row a task: order, batch, step, who, machine, when, and hours waited for a busy person or machine."""
        import pandas as pd

        rows = [
            {
                "order": slot.order,
                "batch": slot.batch,
                "stage": slot.span.step.stage.title,
                "step": slot.span.step.name,
                "who": slot.span.step.who.partition(".")[2] if slot.span.worked_h > slot.span.begin_h else "",
                "machine": slot.span.step.machine or "",
                "begin": self._moment(slot.span.begin_h),
                "hands_free": self._moment(slot.span.worked_h),
                "machine_free": self._moment(slot.span.ran_h),
                "end": self._moment(slot.span.end_h),
                "queued_h": slot.queued_h,
            }
            for slot in self.slots
        ]
        return pd.DataFrame(rows)

    def summary(self):
        """One row an order: arrival, delivery, days, days late, and days spent in queues, summed over its batches."""
        import pandas as pd

        rows = []
        for order, done_h, days in zip(self.orders, self.done_h, self.flow_days, strict=True):
            done = self._moment(done_h)
            late = None if order.due is None else max(0.0, (done - order.due) / dt.timedelta(days=1))
            queued = sum(slot.queued_h for slot in self.slots if slot.order == order.name) / 24
            rows.append((order.name, order.arrives, done, days, order.due, late, queued))
        columns = ["order", "arrives", "done", "days", "due", "days_late", "days_queued"]
        return pd.DataFrame(rows, columns=columns).set_index("order")

    def load(self):
        """Hours of each person (worked) and machine (held, pauses of attended work included) [h], busiest first."""
        held = {}
        for slot in self.slots:
            step, span = slot.span.step, slot.span
            held[step.who] = held.get(step.who, 0.0) + slot.hands_on_h
            if step.machine:
                name = f"machine.{step.machine}"
                held[name] = held.get(name, 0.0) + span.ran_h - span.begin_h
        return dict(sorted(held.items(), key=lambda item: -item[1]))
