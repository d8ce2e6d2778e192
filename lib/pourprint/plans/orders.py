"""The workshop: several orders in hand share people and machines on one calendar.

Orders go by the rule of `scheduler`: machines are loaded first, then the order that comes first by the queue rule is
helped, its oldest batch first. Waiting (drying, cooling in the open) holds nobody and nothing.
Not modelled: failures (see `risk`), the second pair of hands at a pour.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import WorkingHours, calendar_from, moment_of
from pourprint.plans.days import Span, spans_of
from pourprint.plans.dispatch import Shop, schedule
from pourprint.plans.plan import made
from pourprint.plans.scheduler import Batches
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
    wait_h: float = 0.0
    unload_h: float = 0.0
    rounds: int = 1

    @property
    def hours(self):
        """All its time together [h]."""
        return self.rounds * (self.hands_on_h + self.machine_h + self.wait_h + self.unload_h)


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
        return cls(
            plan.title if name is None else name,
            moment_of(arrives),
            (
                *(_tasks(plan.legs[1], plan.visits_of(size)),) * full,
                *(_tasks(plan.legs[1], plan.visits_of(rest)),) * (rest > 0),
            ),
            _tasks(plan.legs[0], plan.once),
            None if due is None else moment_of(due),
            plan.job.delivery_days,
        )

    @cached_property
    def hours(self):
        """All its tasks' time added up [h]."""
        return sum(task.hours for tasks in (self.one_off, *self.batches) for task in tasks)


def _tasks(steps, visits):
    """Visits of steps as tasks."""
    return tuple(
        Task(step, *map(float, (hands_on, run, wait, unload)), int(rounds))
        for step, (rounds, hands_on, run, unload, wait) in zip(steps, visits, strict=True)
    )


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
        begin_h = (start - midnight) / dt.timedelta(hours=1)
        names, tasks, rows = [], [], []  # (order, batch) of each batch; the Task of each visit; rows of Batches
        for order in sorted(orders, key=RULES[self.rule]):
            ready_h, once = (order.arrives - midnight) / dt.timedelta(hours=1), -1
            for number, batch in enumerate((order.one_off, *order.batches)):
                if batch:
                    rows.append((len(tasks), len(tasks) + len(batch), ready_h if once < 0 else np.inf, once))
                    once = len(names) if not number else once
                    names.append((order.name, number))
                    tasks += batch
        calendars = {booking.resource: self.calendar(booking.resource, start.date()) for booking in self.booked}
        shop = Shop(self.calendar("", start.date()), calendars, self.places, tuple(self._closed(start.date())))
        first, last, ready_h, after = zip(*rows, strict=True)
        batches = Batches(np.array(first), np.array(last), np.array(ready_h, float), np.array(after))
        steps = [task.step for task in tasks]
        hours = np.array([(t.rounds, t.hands_on_h, t.machine_h, t.unload_h, t.wait_h) for t in tasks], float).T
        _, rows, pieces = schedule(shop, steps, np.arange(len(tasks)), hours, batches, log=True)
        slots = (
            Slot(*names[batch], span, tasks[visit].hands_on_h + tasks[visit].unload_h, queued)
            for (batch, visit), span in zip(
                rows[:, :2].astype(int), spans_of(steps, rows, pieces, begin_h), strict=True
            )
            for queued in [_queued_h(tasks[visit], span, shop.calendar_of(span.step.who), begin_h)]
        )
        return sorted(slots, key=lambda slot: slot.span.begin_h)

    def _closed(self, first_day):
        """Bookings as (rate key, from, to) [h since the first day's midnight]."""
        for booking in self.booked:
            from_d, last_d = ((day - first_day) / dt.timedelta(days=1) for day in (booking.first, booking.last))
            yield booking.resource, 24 * from_d, 24 * (last_d + 1)


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
                "machine_free": self._moment(slot.span.unloaded_h),
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
            for machine in filter(None, (step.machine, step.keeps)):
                name = f"machine.{machine}"
                held[name] = held.get(name, 0.0) + span.unloaded_h - span.begin_h
        return dict(sorted(held.items(), key=lambda item: -item[1]))
