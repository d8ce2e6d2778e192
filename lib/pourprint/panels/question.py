"""What the compare panel asks: from its controls to a setting and back, and the answer with failures."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from pourprint.decide.along import Along, unit_costs
from pourprint.decide.compare import Comparison
from pourprint.decide.failures import Shares, again_along, again_at_knots, again_here, kits_of
from pourprint.decide.inputs import OF_THE_JOB, WHOLE, outcomes_of, parted
from pourprint.decide.settings import Setting, same_kit
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.ledger.workdays import begin_of
from pourprint.panels.panel import mean_cm3
from pourprint.parts.kits import Kit
from pourprint.plans.plan import feasible
from pourprint.risk.simulation import simulate_all
from pourprint.routes import PRINTED, ROUTES, plan_all

DAYS_POINTS = 16  # of the days along an input; the rest is read between them
RUNS = 400  # for the chance of a date
MADE, BOUGHT = "made here", "bought"
SAME = ("alloy", "quantity", "deadline", "routes")  # controls that a Setting calls by the same names
WORK = ("kit", "alloy", "routes")  # with size and what is bought: what the steps depend on beside the card


@dataclass(frozen=True)
class Answer:
    """What the panel asks for: the plans side by side, their costs along the chosen input, and once the sliders rest
    (`chances` is None before) {route: chance of the date}, empty without a date."""

    now: Comparison
    along: Along
    chances: Mapping[str, float] | None


@dataclass(frozen=True)
class Question:
    """What a panel's controls ask for: its `kits` {name: Kit}, `rates`, first `start`, `axes` of the chart {input: (its
    title, values (n,), whether it is a matter of orders)}, keys of the `prices` with a control.

    `known` keeps what was asked last with what it depended on: of the work alone, in which no price is, the plans, the
    clock, the days along the chart, and how much is done again; and the costs along the chart.
    """

    kits: dict
    rates: RateCard
    start: dt.datetime
    axes: Mapping[str, tuple]
    prices: tuple[str, ...]
    known: dict = field(default_factory=dict)

    def setting(self, values, name="now"):
        """The controls' {name: value} as a Setting."""
        if values["start"] is None:
            raise InputError("start: choose a date, or press “today”.")
        if values["deadline"] and values["deadline"] < values["start"]:
            raise InputError("wanted by: choose a date that is not before the start.")
        kit = self.kits[values["kit"]]
        card = self._card([ware for ware in self.rates.bought if values[f"buy.{ware}"] == MADE])
        rates = card.replace({key: values[key] for key in self.prices if values[key] != self.rates[key]})
        asked = {key: values[key] for key in SAME} | {"price_of_day": values["day"]}
        asked["batch_size"] = None if values["at_once"] else values["batch"]
        asked["volume_cm3"] = None if values["volume"] == mean_cm3(kit) else values["volume"]
        return Setting(name, kit, rates, start=self._begin(values["start"]), **asked)

    def values_of(self, setting):
        """A Setting as {name of a control: value}; a kit that is not among `kits` joins them. Raises: InputError for
        what has no control here."""
        made = [ware for ware in self.rates.bought if ware not in setting.rates.bought]
        here = self._card(made).replace({key: setting.rates[key] for key in self.prices})
        values = {key: entry.value for key, entry in here.entries.items()}
        other = [key for key, entry in setting.rates.entries.items() if entry.value != values.get(key)]
        other += ["currency"] * (setting.rates.currency != here.currency)
        other += ["working hours"] * (setting.rates.hours != here.hours)
        if other:
            what = ", ".join(other[:3])
            raise InputError(f"{setting.name} was kept with another rate card ({what}): open a panel with that card.")
        if setting.routes not in (PRINTED, tuple(ROUTES)):
            raise InputError(f"{setting.name} weighs {', '.join(setting.routes)} alone: here all printed routes are.")
        if begin_of(setting.start, self.rates.hours) != self._begin(setting.start.date()):
            raise InputError(f"{setting.name} starts at {setting.start:%H:%M}: here work starts when the lab opens.")
        label = next((name for name, kit in self.kits.items() if same_kit(kit, setting.kit)), None)
        if label is None:
            label = f"{setting.kit.name}, as in {setting.name}"
            self.kits[label] = setting.kit
        return {
            "kit": label,
            "volume": setting.volume_cm3 or mean_cm3(setting.kit),
            **({"batch": setting.batch_size} if setting.batch_size else {}),
            "at_once": setting.batch_size is None,
            "start": setting.start.date(),
            "day": setting.price_of_day,
            **{key: getattr(setting, key) for key in SAME},
            **{key: setting.rates[key] for key in self.prices},
            **{f"buy.{ware}": MADE if ware in made else BOUGHT for ware in self.rates.bought},
        }

    def offer(self, kits):
        """More kits {name: Kit} to choose from."""
        self.kits.update(kits)
        self.known.clear()  # what was known of a name may be another kit's

    def _card(self, made):
        """The card, but some of its wares made here."""
        return self.rates.making(*made) if made else self.rates

    def _begin(self, date):
        return self.start if date == self.start.date() else begin_of(date, self.rates.hours)

    def answer(self, values, resting=True):
        """The Answer for the controls' {name: value}; while one still moves, with the last known shares of failures."""
        asked, axis = self.setting(values), values["axis"]
        job, card = replace(asked, kit=_measured(asked.kit)).job, [values[name] for name in self.prices]
        size = {"quantity": job.quantity, "batch_size": None if job.all_at_once else job.batch_size, "start": job.start}
        work = {name: value for name, value in values.items() if name in WORK or name.startswith("buy.")}
        work["volume_cm3"] = values["volume"]
        plans = self._once("plans", work, lambda: plan_all(job, asked.rates, asked.routes))
        plans = {route: plan.at(asked.rates, **size) if plan.feasible else plan for route, plan in plans.items()}
        work, able = work | size, feasible(plans)
        others = {key: value for key, value in work.items() if key != axis}
        clock = self._once("clock", work, lambda: {route: plan.schedule() for route, plan in able.items()})
        spans, days = parted(clock)
        if resting or "again" not in self.known or not able.keys() <= self.known["again"][1].keys():
            self._once("again", (work, axis), lambda: self._again(able, axis, others))
            self.known["card"] = asked.rates
        here, again = getattr(job, axis) if axis in WHOLE else kits_of(job)[1], self.known["again"][1]
        failing = {r: Shares(*map(float, again[r].at(here, days[r], self.known["card"]))) for r in able}
        now = Comparison(plans, asked.price_of_day, spans, days, failing)
        along = self._along(now, axis, others, card, values, resting)
        if not resting:
            return Answer(now, along, None)
        runs = simulate_all(able, RUNS) if asked.deadline else {}
        return Answer(now, along, {route: run.chance(asked.deadline) for route, run in runs.items()})

    def _once(self, what, depends, make):
        """What `make()` gives; made anew only where something that it `depends` on is another than the last time."""
        if what not in self.known or self.known[what][0] != depends:
            self.known[what] = depends, make()
        return self.known[what][1]

    def _again(self, able, axis, others):
        """{route: Again}: at the job's own kits, and along the chosen input where that is a number of kits."""
        if axis not in WHOLE:
            return {route: again_here(plan) for route, plan in able.items()}
        knots = self._once("knots", (others, axis), lambda: {r: again_at_knots(p, axis) for r, p in able.items()})
        return {route: again_along(plan, axis, knots[route]) for route, plan in able.items()}

    def _along(self, now, axis, others, card, values, resting):
        """Costs along the chosen input, failures included; `others` that the work depends on but that one."""
        title, grid, log = self.axes[axis]
        size = values["quantity"] if values["at_once"] else values["batch"]
        at = (values | {"batch_size": size, "volume_cm3": values["volume"]})[axis]
        changes = {} if axis == "day" else {axis: grid}
        depends = others, card, axis, *now.days
        totals = self._once("totals", depends, lambda: outcomes_of(now.plans, changes, clock=False)[0])
        if axis in OF_THE_JOB and at not in grid:  # between two values saw-teeth may hide the present one
            place = np.searchsorted(grid, at)
            totals = {r: np.insert(line, place, now.plans[r].total_cost) for r, line in totals.items()}
            grid = np.insert(grid.astype(float), place, at)
        price, kits = grid if axis == "day" else values["day"], grid if axis == "quantity" else values["quantity"]
        days, failing = now.days, now.failing
        if axis in OF_THE_JOB and values["day"]:
            days = self._days(now, axis, others, grid, at, resting)
        if axis in WHOLE or axis in self.prices:
            wanted, changed = (grid, {}) if axis in WHOLE else (size, {axis: grid})
            again, prices = self.known["again"][1], self.known["card"].replace(changed)
            failing = {route: again[route].at(wanted, days[route], prices) for route in now.days}
        unit = f"{self.rates.currency} a {self.kits[values['kit']].noun}"
        return Along(title, grid, log, unit_costs(totals, kits, price, days, failing), at, unit)

    def _days(self, now, axis, others, grid, at, resting):
        """Days along the chosen input, read between some points and the present value; while a slider moves the points
        grow as the job's days do. Where a route cannot its days are of no account."""
        every, known = self.axes[axis][1], ("days", axis, *now.days)
        some = every[np.unique(np.geomspace(1, every.size, DAYS_POINTS).astype(int)) - 1]
        if known in self.known and not resting:
            points = self.known[known][1]
            points = {r: line * now.days[r] / _between(at, some, line, now.days[r]) for r, line in points.items()}
        else:
            points = self._once(known, others, lambda: outcomes_of(now.plans, {axis: some})[1])
        x = np.append(some, at)
        return {r: _between(grid, x, np.append(line, now.days[r]), now.days[r]) for r, line in points.items()}


def _between(at, x, y, default):
    """What `y` (n,) over `x` (n,) comes to at some places, read between those of them that are finite."""
    order = np.argsort(x, kind="stable")
    order = order[np.isfinite(y[order])]
    return np.interp(at, x[order], y[order]) if order.size else default


_measured = lru_cache(maxsize=64)(Kit.without_meshes)  # one kit for one, so that plans know it again
