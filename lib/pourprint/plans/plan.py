"""The engine of cost and time: a route's steps multiplied by a rate card and led through the calendar.

Partly filled clusters, boxes and plates are paid whole, so unit cost against quantity is saw-toothed
(property shown by Ruffo, Tuck & Hague 2006, Proc. IMechE B 220:1417–1427; from memory).

Not modelled here: failures and rework (yields are carried, not priced; see `risk`) and other jobs (see `orders`).
"""

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.entries import table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard, check_card
from pourprint.ledger.workdays import begin_of
from pourprint.plans.days import calendar_of, days_of, spans_and_days
from pourprint.plans.jobs import Job
from pourprint.plans.steps import BATCH, JOB, Step, priced, weighed


@dataclass(frozen=True)
class Plan:
    """A route's steps evaluated for a job at a rate card: costs [currency] and times [h].

    `recipe` is the route's function (job, rates) → steps, `watch` the one to findings, kept so that a plan can be
    asked again.
    Costs and times are scalars, or arrays of the broadcast shape of quantity, batch size, rates, volume.
    """

    route: str
    title: str
    job: Job
    rates: RateCard
    recipe: Callable = field(repr=False)
    steps: tuple[Step, ...] = field(repr=False)
    watch: Callable = field(repr=False, default=lambda job, rates: ())

    feasible = True

    def at(self, rates=None, **changes):
        """The same route planned again with other job fields (`quantity=…`, `batch_size=…`) or rates."""
        job, rates = self.job.with_(**changes), self.rates if rates is None else rates
        check_card(rates)
        # Steps are written per level of work, so they hold for every quantity, batch size and start, and at all prices.
        same = rates.works_as(self.rates) and changes.keys() <= {"quantity", "batch_size", "start"}
        return replace(self, job=job, rates=rates, steps=self.steps if same else self.recipe(job, rates))

    @cached_property
    def findings(self):
        """What is to be watched on the parts, as `routes.findings` has it; what is refused leaves no plan."""
        return self.watch(self.job, self.rates)

    # How much work there is ------------------------------------------------------------------------

    @cached_property
    def batch_sizes(self):
        """(full batches, kits in a full batch, kits in the last partial batch), each [-]."""
        full, rest = np.divmod(self.job.quantity, self.job.batch_size)
        return full, self.job.batch_size, rest

    @cached_property
    def batches(self):
        """How many batches the job takes [-], the last one perhaps partial."""
        full, _, rest = self.batch_sizes
        return full + np.minimum(rest, 1)

    @cached_property
    def counts(self):
        """{Level: times done in the whole job [-]}."""
        full, size, rest = self.batch_sizes
        return {
            level: 1 if level is JOB else full * level.per_batch(size) + level.per_batch(rest) for level in self._levels
        }

    @cached_property
    def _levels(self):
        """Each Level of the steps' work, once; two of one name may count different loads."""
        return tuple(dict.fromkeys(work.level for step in self.steps for work in step.work))

    @cached_property
    def amounts(self):
        """What each step of the whole job takes of all that has a price: [{rate key: amount}], as `weighed`."""
        rows = []
        for step in self.steps:
            row = {}
            for work in step.work:
                times = self.counts[work.level]
                for key, amount in weighed(step, work, self.rates).items():
                    row[key] = row.get(key, 0.0) + times * amount
            rows.append(row)
        return rows

    # Costs -----------------------------------------------------------------------------------------

    @cached_property
    def step_costs(self):
        """Cost of each step in the whole job [currency], in the order of `steps`."""
        return [priced(row, self.rates) for row in self.amounts]

    @cached_property
    def total_cost(self):
        """Cost of the whole job [currency]."""
        return self._shaped(sum(self.step_costs))

    @property
    def unit_cost(self):
        """Cost of one kit [currency], one-off work spread over the quantity."""
        return self.total_cost / self.job.quantity

    @cached_property
    def one_off_cost(self):
        """Cost of work done once a job (design, tooling design, die) [currency]."""
        return self._shaped(sum(replace(self, steps=self.once_and_each[0]).step_costs))

    @property
    def batch_cost(self):
        """Cost of a batch, one-off work left out, averaged over the job's batches [currency]."""
        return (self.total_cost - self.one_off_cost) / self.batches

    def cost_by_stage(self):
        """{stage: cost of the whole job [currency]} for the stages that the route has."""
        costs = dict.fromkeys(self.stages, 0.0)
        for step, cost in zip(self.steps, self.step_costs, strict=True):
            costs[step.stage] = costs[step.stage] + cost
        return {stage: self._shaped(cost) for stage, cost in costs.items()}

    @cached_property
    def stages(self):
        """The stages that the route keeps, in order."""
        return tuple(sorted({step.stage for step in self.steps}))

    @cached_property
    def hands_on_h(self):
        """Hands-on hours of all people in the whole job [h]."""
        return self._shaped(self._hours("labour."))

    @cached_property
    def machine_h(self):
        """Hours for which machines are held in the whole job, set-up, cooling and unloading included [h]."""
        return self._shaped(self._hours("machine."))

    def _hours(self, section):
        hours = (amount for row in self.amounts for key, amount in row.items() if key.startswith(section))
        return sum(hours, start=0.0)

    @property
    def first_pass_yield(self):
        """Rolled throughput yield: the product of the steps' first-pass yields [-]."""
        return math.prod(step.first_pass_yield for step in self.steps)

    @cached_property
    def shape(self):
        """Broadcast shape of the plan's results."""
        return np.broadcast_shapes(
            *(np.shape(cost) for cost in self.step_costs),
            *(np.shape(work.wait_h) for step in self.steps for work in step.work),  # waiting costs nothing
            np.shape(self.job.quantity),
            np.shape(self.job.batch_size),
        )

    def _shaped(self, value):
        return np.broadcast_to(value, self.shape).copy() if self.shape else float(value)

    # Times -----------------------------------------------------------------------------------------

    @cached_property
    def once_and_each(self):
        """(one-off work piece by piece, the steps of a batch): tuples of Step, each in the order of work."""
        alone = {"whole": False, "within_h": math.inf, "first_pass_yield": 1.0, "returns_to": ""}
        one_off = tuple(
            replace(step, work=(work,), rounds=BATCH.per_batch, **alone)
            for step in self.steps
            for work in step.work
            if work.level is JOB
        )
        kept = ((step, tuple(work for work in step.work if work.level is not JOB)) for step in self.steps)
        return one_off, tuple(replace(step, work=work) for step, work in kept if work)

    def visits_of(self, steps, kits):
        """Each of some steps, one-off or of a batch, visited once by `kits`: [(rounds [-], hands-on, run, unloading,
        wait [h] of a round)]; runs and cooling in the machine together."""
        times, rows = {level: 1 if level is JOB else level.per_batch(kits) for level in self._levels}, []
        for step in steps:
            rounds, hands_on, run, unload, wait = np.maximum(step.rounds(kits), 1), 0.0, 0.0, 0.0, 0.0
            for work in step.work:
                count = times[work.level]
                hands_on = hands_on + count * work.hands_on_h
                run = run + count * (work.machine_h + work.cooling_h)
                unload = unload + count * work.unload_h
                wait = np.maximum(wait, np.minimum(count, 1) * work.wait_h)
            rows.append((rounds, hands_on / rounds, run / rounds, unload / rounds, wait))
        return rows

    @cached_property
    def lead_time_days(self):
        """Calendar days from the job's start to delivery [d]: a number, or an array of the plan's shape.

        All batches share one of each person and machine, by the rule of `scheduler`. From the hundredth batch on each
        is taken to follow at the pace of the fifty before it (tests show that it has set in by then). Raises:
        InputError.
        """
        return days_of(self)

    @property
    def elapsed_h(self):
        """Clock hours from the job's start to the end of the last batch [h]."""
        return 24 * (self.lead_time_days - self.job.delivery_days)

    # Views -----------------------------------------------------------------------------------------

    def single_only(self, what):
        """Refuse a plan that holds arrays where `what` needs single numbers. Raises: InputError."""
        if self.shape:
            raise InputError(
                f"{what} needs one quantity, batch size and rate, but this plan holds an array of shape "
                f"{self.shape}: ask plan.at(quantity=4) first."
            )

    def table(self):
        """One row a step: stage, hours [h], costs [currency] and yield. Needs a plan of single numbers.

        Hours and costs are those of the whole job, `wait_h` that of one batch (batches wait side by side). A machine
        that is kept hot for a step, `kept_hot_h`, is paid in that step's row.
        """
        self.single_only("table()")
        rows, kits = [], min(self.job.quantity, self.job.batch_size)
        columns = {"labour": "labour", "machine": "machine_cost", "energy": "energy"}  # the rest is material
        for step, row in zip(self.steps, self.amounts, strict=True):
            costs = dict.fromkeys(("labour", "machine_cost", "material", "energy"), 0.0)
            for key, amount in row.items():
                costs[columns.get(key.partition(".")[0], "material")] += float(amount * self.rates[key])
            wait = max((w.wait_h for w in step.work if w.level is not JOB and w.level.per_batch(kits) > 0), default=0.0)
            wait = step.rounds(kits) * wait + sum(work.wait_h for work in step.work if work.level is JOB)
            rows.append(
                {
                    "stage": step.stage.title,
                    "step": step.name,
                    "who": step.who.split(".", 1)[1],
                    "machine": step.machine or "",
                    "hands_on_h": float(row[step.who]),
                    "machine_h": float(row.get(f"machine.{step.machine}", 0.0)),
                    "kept_hot": step.keeps or "",
                    "kept_hot_h": float(row.get(f"machine.{step.keeps}", 0.0)),
                    "wait_h": float(wait),
                    **costs,
                    "cost": sum(costs.values()),
                    "first_pass_yield": step.first_pass_yield,
                    "a_failure_spoils": step.spoils,
                    "returns_to": step.returns_to,
                }
            )
        return table_of(rows)

    @property
    def begin(self):
        """When work may begin, date and time. Raises: InputError where the job has no start."""
        if self.job.start is None:
            raise InputError('dates need a start: Job(…, start="2026-11-25T08:00"), or plan.at(start=…).')
        return begin_of(self.job.start, self.rates.hours)

    def spans(self):
        """One-off work and the first batch through the calendar, round by round: tuple of Span.

        Needs a plan of single numbers.
        """
        return self.schedule()[0]

    def schedule(self):
        """The `spans` of the first batch, and the days from the start to delivery of the last [d].

        Needs a plan of single numbers. Quicker than asking for each.
        """
        self.single_only("spans()")
        return spans_and_days(self)[:2]

    def timeline(self):
        """When each step begins and ends in the first batch, with a last row for the further batches, if any.

        Returns: pandas table. Needs a plan of single numbers, of a job with a start. Raises: InputError.
        """
        self.single_only("timeline()")
        (spans, days, log), more, steps = spans_and_days(self), int(self.batches) - 1, {}
        for span in spans:
            steps.setdefault(span.step.name, []).append(span)
        rows = [(of[0].step.stage.title, name, len(of), of[0].begin_h, of[-1].end_h) for name, of in steps.items()]
        if more:
            begin_h = float(min(times[1] for (batch, *_), times in log.items() if batch > 0)) - calendar_of(self)[1]
            finish_h = 24 * (days - self.job.delivery_days)
            rows.append(("", f"{more} further batch{'es' * (more > 1)}", more, begin_h, finish_h))
        table = table_of(rows, columns=["stage", "step", "rounds", "begin", "end"])
        for column in ("begin", "end"):
            table[column] = [self.begin + dt.timedelta(minutes=round(60 * at_h)) for at_h in table[column]]
        return table


@dataclass(frozen=True)
class NoPlan:
    """A route that cannot make the job, and why: `reasons` in whole sentences."""

    route: str
    title: str
    reasons: tuple[str, ...]

    feasible = False

    @property
    def reason(self):
        """All reasons in one text."""
        return " ".join(self.reasons)


def why_none(plans):
    """Why no route can make a job, what several say said once. Parameter: `plans` {route: NoPlan}."""
    sayers, said = {}, {}
    for plan in plans.values():
        for reason in plan.reasons:
            sayers.setdefault(reason, []).append(plan.title)
    for reason, titles in sayers.items():
        who = "Every route" if len(titles) == len(plans) > 1 else ", ".join(titles)
        said.setdefault(who, []).append(reason)
    return " ".join(f"{who}: {' '.join(reasons)}" for who, reasons in said.items())


def made(plan):
    """The plan itself where its route can make the job. Raises: InputError."""
    if not isinstance(plan, (Plan, NoPlan)):
        raise InputError(f"a plan is needed, as from plan(route, job, rates), not {plan!r}.")
    if not plan.feasible:
        raise InputError(f"{plan.title} cannot make this job: {plan.reason}")
    return plan


def feasible(plans):
    """The plans that can be made, {route: Plan}. Raises: InputError for anything but a table of plans."""
    if not isinstance(plans, Mapping) or not all(isinstance(plan, Plan | NoPlan) for plan in plans.values()):
        raise InputError(f"plans must be a table {{route: plan}} as from plan_all(job, rates), not {plans!r}.")
    return {route: plan for route, plan in plans.items() if plan.feasible}


def ranged(plan):
    """The numbers that a plan of single numbers reads and that have a range: {key: Entry}.

    A number that is not read moves nothing when it alone is moved.
    """
    read = set()

    class Noting(dict):
        """Entries that note which were read."""

        def __getitem__(self, key):
            read.add(key)
            return super().__getitem__(key)

    rates = replace(plan.rates, entries=Noting(plan.rates.entries))
    replace(plan, rates=rates, steps=plan.recipe(plan.job, rates)).total_cost  # noqa: B018  read for what it reads
    return {key: entry for key, entry in plan.rates.entries.items() if key in read and entry.low < entry.high}


@dataclass(frozen=True)
class LeadTime:
    """When a plan is delivered: `finish`, a datetime or an array of them to the minute; `days` from the start [d]."""

    finish: dt.datetime | np.ndarray
    days: np.ndarray | float


def lead_time(plan, start, rates=None):
    """Finish of a plan from some start, whatever its job's own, holidays included.

    Parameters: `plan` a Plan; `start` as of Job; `rates` a card with other working hours (default: the plan's).
    Returns: LeadTime, delivery included. Raises: InputError.
    """
    plan = made(plan).at(rates=rates, start=start)
    finish = np.datetime64(plan.begin, "m") + np.round(np.multiply(plan.lead_time_days, 1440)).astype("timedelta64[m]")
    return LeadTime(finish if plan.shape else finish.item(), plan.lead_time_days)
