"""What the compare panel asks: from its controls to a setting and back, and the answer with failures."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from pourprint.decide.along import Along, days_along, unit_costs_along
from pourprint.decide.compare import Comparison, comparison
from pourprint.decide.failures import SharesAlong, shares, shares_along
from pourprint.decide.inputs import WHOLE
from pourprint.decide.settings import Setting, same_kit
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.panels.panel import at_opening, mean_cm3
from pourprint.plans.plan import feasible
from pourprint.risk.simulation import simulate_all
from pourprint.routes import plan_all

DAYS_POINTS = 24  # of the days along an input; the rest is read between them
RUNS = 400  # for the chance of a date
MADE, BOUGHT = "made here", "bought"


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

    `known` keeps the plans last asked for, the days along the chart, which prices leave as they are, and what failures
    made of the plans, now and along the chart, when the sliders rested last.
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
        kit, card = self.kits[values["kit"]], self._card([key for key in self.wares if values[key] == MADE])
        changed = {key: values[key] for key in self.prices if values[key] != self.rates[key]}
        return Setting(
            name,
            kit,
            card.replace(changed),
            values["alloy"],
            values["quantity"],
            self._begin(values["start"]),
            None if values["at_once"] else values["batch"],
            values["deadline"],
            values["day"],
            None if values["volume"] == mean_cm3(kit) else values["volume"],
            values["routes"],
        )

    def values_of(self, setting):
        """A Setting as {name of a control: value}; a kit that is not among `kits` joins them. Raises: InputError for
        what has no control here."""
        made = [key for key in self.wares if key.removeprefix("buy.") not in setting.rates.bought]
        here = self._card(made).replace({key: setting.rates[key] for key in self.prices})
        values = {key: entry.value for key, entry in here.entries.items()}
        other = [key for key, entry in setting.rates.entries.items() if entry.value != values.get(key)]
        if other or setting.rates.currency != here.currency:
            what = ", ".join(other[:3]) or setting.rates.currency
            raise InputError(f"{setting.name} was kept with another rate card ({what}): open a panel with that card.")
        if setting.start != self._begin(setting.start.date()):
            raise InputError(f"{setting.name} starts at {setting.start:%H:%M}: here work starts when the lab opens.")
        label = next((name for name, kit in self.kits.items() if same_kit(kit, setting.kit)), None)
        if label is None:
            label = f"{setting.kit.name}, as in {setting.name}"
            self.kits[label] = setting.kit
        return {
            "kit": label,
            "volume": setting.volume_cm3 or mean_cm3(setting.kit),
            "alloy": setting.alloy,
            "quantity": setting.quantity,
            **({"batch": setting.batch_size} if setting.batch_size else {}),
            "at_once": setting.batch_size is None,
            "routes": setting.routes,
            "start": setting.start.date(),
            "deadline": setting.deadline,
            "day": setting.price_of_day,
            **{key: setting.rates[key] for key in self.prices},
            **{key: MADE if key in made else BOUGHT for key in self.wares},
        }

    @property
    def wares(self):
        """The names of the controls of what the card buys: "buy.printed_mould"."""
        return tuple(f"buy.{ware}" for ware in self.rates.bought)

    def _card(self, made):
        """The card, but some of its wares made here."""
        return self.rates.making(*(key.removeprefix("buy.") for key in made)) if made else self.rates

    def _begin(self, date):
        return self.start if date == self.start.date() else at_opening(date, self.rates.hours)

    def answer(self, values, resting=True):
        """The Answer for the controls' {name: value}; while one still moves, with the last known shares of failures."""
        asked = self.setting(values)
        plans, now = self._plans(values, asked), self.known.get("now")
        able = feasible(plans)
        axis = values["axis"]
        if resting:
            self.known["failing"] = {route: _failing(plan, axis, asked.start) for route, plan in able.items()}
        here = getattr(asked.job, axis) if axis in WHOLE else 1
        failing = {route: found.at(here) for route, found in self.known["failing"].items()}
        if now is None or now.plans is not plans or now.start != asked.start:
            now = comparison(plans, asked.price_of_day, asked.start, failing)
        else:
            now = replace(now, price_of_day=asked.price_of_day, failing=now.failing | failing)
        self.known["now"] = now
        along = self._along(values, now, resting)
        if not resting:
            return Answer(now, along, None)
        runs = simulate_all(able, RUNS, start=asked.start) if asked.deadline else {}
        return Answer(now, along, {route: run.chance(asked.deadline) for route, run in runs.items()})

    def _plans(self, values, asked):
        """The plans asked for: the same while clock and price of a day move; steps hold for every quantity and batch
        size, so that these alone change while they move."""
        job = replace(asked, kit=_measured(asked.kit)).job
        base = [values[name] for name in ("volume", "alloy", "routes", *self.prices, *self.wares)]
        size = {"quantity": job.quantity, "batch_size": None if job.all_at_once else job.batch_size}
        kit, known, before, plans = self.known.get("plans", (None, None, None, {}))
        if kit is not asked.kit or known != base:
            plans = plan_all(job, asked.rates, asked.routes)
        elif before != size:
            plans = {route: plan.at(**size) if plan.feasible else plan for route, plan in plans.items()}
        self.known["plans"] = asked.kit, base, size, plans
        return plans

    def _along(self, values, now, resting):
        """Costs along the chosen input, failures included."""
        axis, price, days = values["axis"], values["day"], now.days
        title, grid, log = self.axes[axis]
        size = values["quantity"] if values["at_once"] else values["batch"]
        at = (values | {"batch_size": size, "volume_cm3": values["volume"]})[axis]
        changes = {axis: grid}
        if axis == "day":
            changes, price = {}, grid
        elif price and axis not in self.prices:
            days = self._days(values, now, at, resting)
        failing = {route: found.at(grid if axis in WHOLE else 1) for route, found in self.known["failing"].items()}
        costs = unit_costs_along(now.plans, changes, price, days, failing)
        return Along(title, grid, log, costs, at, self.rates.currency)

    def _days(self, values, now, at, resting):
        """Days along the chosen input; while a slider moves they grow as those of the job do."""
        axis, grid = values["axis"], self.axes[values["axis"]][1]
        chart = axis, now.start, *now.days
        asked = [values[name] for name in ("kit", "volume", "alloy", "quantity", "at_once", "batch", *self.wares)]
        before, days = self.known.get(chart, (None, None))
        if before == asked:
            return days
        if days and not resting:
            return {route: line * now.days[route] / np.interp(at, grid, line) for route, line in days.items()}
        days = days_along(now.plans, {axis: grid}, now.start, DAYS_POINTS, at)
        self.known[chart] = asked, days
        return days


def _failing(plan, axis, start):
    """What failures make of a plan along the chart: SharesAlong; the same all along, unless it runs along kits."""
    if axis in WHOLE:
        return shares_along(plan, axis, start)
    return SharesAlong(np.ones(1), np.reshape(shares(plan, start), (2, 1)))


@lru_cache(maxsize=64)
def _measured(kit):
    """The same kit without its meshes: they are measured already, and a slider need not move vertices."""
    return replace(kit, parts=tuple(replace(i, part=replace(i.part, mesh=None)) for i in kit.parts))
