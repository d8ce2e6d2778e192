"""The workshop: several orders in hand share people and machines on one calendar.

Orders go by the rule of `scheduler`: machines are loaded first, then the order that comes first by the queue rule is
helped, its oldest batch first. Waiting (drying, cooling in the open) holds nobody and nothing.
Not modelled: failures (see `risk`), the second pair of hands at a pour.
"""

import datetime as dt
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial

import numpy as np

from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import WorkingHours, begin_of, calendar_from, end_of
from pourprint.plans.days import Span, spans_of
from pourprint.plans.dispatch import schedule
from pourprint.plans.plan import made
from pourprint.plans.steps import Step

RULES = {  # lower comes first; orders that tie keep the order in which they were given
    "first come": lambda order: order.arrives,
    "shortest first": lambda order: order.hours,
    "earliest date first": lambda order: order.due or dt.datetime.max,
}


@dataclass(frozen=True)
class Task:
    """A step of one batch in `rounds` [-]: hands-on, machine, waiting and unloading time of each [h], plain numbers."""

    step: Step
    hands_on_h: float = 0.0
    machine_h: float = 0.0
    unload_h: float = 0.0
    wait_h: float = 0.0
    rounds: int = 1


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
        one_off, each = plan.once_and_each
        batches = [_tasks(plan, each, kits) for kits in [size] * full + [rest] * (rest > 0)]
        return cls(
            plan.title if name is None else name,
            begin_of(arrives, plan.rates.hours),
            tuple(batches),
            _tasks(plan, one_off, 1),
            None if due is None else end_of(due),
            plan.job.delivery_days,
        )

    @cached_property
    def hours(self):
        """All its tasks' time added up [h]."""
        tasks = [task for tasks in (self.one_off, *self.batches) for task in tasks]
        return sum(t.rounds * (t.hands_on_h + t.machine_h + t.unload_h + t.wait_h) for t in tasks)


def _tasks(plan, steps, kits):
    """A batch of some kits through some steps of a plan, as tasks."""
    visits = zip(steps, plan.visits_of(steps, kits), strict=True)
    return tuple(Task(step, *map(float, hours), int(rounds)) for step, (rounds, *hours) in visits)


@dataclass(frozen=True)
class Booked:
    """Whole days on which a person or machine is taken: `resource` a rate key such as "machine.kiln"."""

    resource: str
    first: dt.date
    last: dt.date
    why: str = ""

    def __post_init__(self):
        if not (isinstance(self.resource, str) and self.resource.startswith(("labour.", "machine."))):
            raise InputError(f'resource must be a rate key such as "labour.technician", not {self.resource!r}.')
        if not (type(self.first) is type(self.last) is dt.date and self.first <= self.last):
            raise InputError(
                f"a booking needs dates with first ≤ last, such as date(2026, 12, 7), not {self.first!r} "
                f"and {self.last!r}."
            )


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
        check_known(RULES, rule=self.rule)
        object.__setattr__(self, "booked", tuple(self.booked))
        if not all(isinstance(booking, Booked) for booking in self.booked):
            raise InputError(f"booked must hold Booked(resource, first, last), not {self.booked!r}.")
        check_numbers(arrays=False, whole=True, **self.places)

    def calendar(self, who, first_day):
        """The Calendar of a person ("labour.technician") from a date on, their booked days taken out."""
        mine = [booking for booking in self.booked if booking.resource == who]
        days = {b.first + dt.timedelta(days=i) for b in mine for i in range((b.last - b.first).days + 1)}
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
        midnight = dt.datetime.combine(start.date(), dt.time())
        begin_h = (start - midnight) / dt.timedelta(hours=1)
        tasks, names, rows, log = [], [], [], {}  # Task and (order, batch) of each visit; batches as of `schedule`
        for order in sorted(orders, key=RULES[self.rule]):
            ready_h, oldest = (order.arrives - midnight) / dt.timedelta(hours=1), len(rows)
            for number, batch in enumerate(order.batches, 1):
                first, once = len(tasks), order.one_off if number == 1 else ()
                tasks += [*once, *batch]
                names += [(order.name, 0)] * len(once) + [(order.name, number)] * len(batch)
                after = oldest if number > 1 and order.one_off else -1
                if len(tasks) > first:
                    rows.append((first, len(tasks), ready_h, after, first + len(once)))
        day, calendar_of = start.date(), cache(partial(self.calendar, first_day=start.date()))
        steps, visited = [task.step for task in tasks], np.arange(len(tasks))
        hours = np.array([(t.rounds, t.hands_on_h, t.machine_h, t.unload_h, t.wait_h) for t in tasks], float).T
        batches = tuple(map(np.array, zip(*rows, strict=True)))
        closed = [(b.resource, 24 * (b.first - day).days, 24 * (b.last - day).days + 24) for b in self.booked]
        schedule(calendar_of, steps, visited, hours, batches, np.array([0, len(rows)]), self.places, closed, log)
        slots = []
        for (_, visit, _), span in spans_of(steps, hours[2], log, begin_h).items():
            task, queued_h = tasks[visit], _queued_h(tasks[visit], span, calendar_of(span.step.who), begin_h)
            slots.append(Slot(*names[visit], span, task.hands_on_h + task.unload_h, queued_h))
        return Timeline(self, orders, start, tuple(sorted(slots, key=lambda slot: slot.span.begin_h)))


def _queued_h(task, span, calendar, begin_h):
    """How long a task lay waiting for a busy person or machine, or laid down for others [h]."""
    if span.step.within_h < np.inf:
        return 0.0  # begun hot, at the moment that was set for it
    queued_h, free_h = 0.0, span.ready_h
    for number, (from_h, to_h) in enumerate(span.hands or [(span.begin_h, span.begin_h)]):
        if from_h >= span.ran_h > span.worked_h:
            free_h = max(free_h, span.ran_h)  # unloading
        whole_h = task.hands_on_h if span.step.whole and not number else 0.0
        alone_h = calendar.opening(free_h + begin_h, whole_h) - begin_h if span.hands else free_h
        queued_h, free_h = queued_h + max(from_h - float(alone_h), 0.0), to_h
    return queued_h


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
        ends = {order.name: (order.arrives - self.start) / dt.timedelta(hours=1) for order in self.orders}
        for slot in self.slots:
            ends[slot.order] = max(ends[slot.order], slot.span.end_h)
        return np.array([ends[order.name] + 24 * order.delivery_days for order in self.orders])

    @property
    def flow_days(self):
        """Days from arrival to delivery of each order, (number of orders,) [d]."""
        arrives = np.array([(order.arrives - self.start) / dt.timedelta(days=1) for order in self.orders])
        return self.done_h / 24 - arrives

    def table(self):
        """One row a task: order, batch, step, who, machine, when, and hours waited for a busy person or machine."""
        rows = []
        for slot in self.slots:
            span, step = slot.span, slot.span.step
            who = step.who.partition(".")[2] if span.worked_h > span.begin_h else ""
            times = map(self._moment, (span.begin_h, span.worked_h, span.unloaded_h, span.end_h))
            what = slot.order, slot.batch, step.stage.title, step.name, who, step.machine or ""
            rows.append((*what, *times, slot.queued_h))
        columns = "order batch stage step who machine begin hands_free machine_free end queued_h"
        return table_of(rows, columns=columns.split())

    def summary(self):
        """One row an order: arrival, delivery, days, days late, and days spent in queues, summed over its batches."""
        rows = []
        for order, done_h, days in zip(self.orders, self.done_h, self.flow_days, strict=True):
            done = self._moment(done_h)
            late = None if order.due is None else max(0.0, (done - order.due) / dt.timedelta(days=1))
            queued = sum(slot.queued_h for slot in self.slots if slot.order == order.name) / 24
            rows.append((order.name, order.arrives, done, days, order.due, late, queued))
        columns = ["order", "arrives", "done", "days", "due", "days_late", "days_queued"]
        return table_of(rows, "order", columns)

    def load(self):
        """Hours of each person (worked) and machine (held, pauses of attended work included) [h], busiest first."""
        held = Counter()
        for slot in self.slots:
            held[slot.span.step.who] += slot.hands_on_h
            for machine in filter(None, (slot.span.step.machine, slot.span.step.keeps)):
                held[f"machine.{machine}"] += slot.span.unloaded_h - slot.span.begin_h
        return dict(held.most_common())
