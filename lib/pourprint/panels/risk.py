"""The panel that counts days and failures: quantity, price of a day, deadline, yields, spares and design errors."""

import datetime as dt
from functools import lru_cache

import numpy as np

from pourprint.decide.information import Samples, probability_best
from pourprint.decide.inputs import dearest_day
from pourprint.figures.simulation import chance_data, chance_figure, money_of_one, spread_bars
from pourprint.figures.tables import table_html
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import number_row
from pourprint.panels.panel import TEXTS, Shown, kit_of, panel, start_or_next, value_rows
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible
from pourprint.risk.simulation import drawn, of_runs
from pourprint.routes import PRINTED, plan_all

# Batches a route that are run while a slider moves, and once it rests; and the fewest runs, however many batches each.
QUICK, FULL = (100, 25), (6000, 200)
NINE_OF_TEN = (0.05, 0.95)


def risk_panel(kit, rates, alloy="AlSi7Mg", start=None):
    """Sliders for what makes an answer doubtful, with cost, days and the chance of a date beside them.

    Parameters: `kit` Kit or Part; `rates` RateCard; `alloy`; `start` date and time (default: as of `compare_panel`).
    Returns: Panel. Raises: InputError.
    """
    kit, start = kit_of(kit, rates), start_or_next(start, rates)

    @lru_cache(maxsize=4)  # most sliders leave the inputs alone: they are drawn once
    def ready(level, n):
        """Every route that can, its inputs drawn, yields moved by `level`: {route: Drawn}."""
        plans = feasible(plan_all(Job(kit, alloy, start=start), _with_yields(rates, level), PRINTED))
        if not plans:
            raise InputError(f"no printed route can make {kit.name} in {alloy}: choose another alloy.")
        return {route: drawn(plan, n) for route, plan in plans.items()}

    def asked(values, batches, fewest):
        """Runs of every route that can, about so many batches of each."""
        job = {"quantity": values["quantity"], "batch_size": values["batch"]}
        n = max(fewest, int(batches / np.ceil(values["quantity"] / values["batch"])))
        options = {"spares": values["spares"], "design_again": values["design"] / 100}
        return {route: inputs.at(**job).run(**options) for route, inputs in ready(values["yields"], n).items()}

    def shown(runs, values):
        prices = values["day"], values["deadline"]
        bars, traces = spread_bars(runs, values["day"]), chance_data(runs, values["deadline"])
        if next(iter(runs.values())).n < FULL[1]:  # too few for words and numbers
            return Shown(None, bars, None, [*runs], traces)
        return Shown(_facts(runs, *prices), bars, _table(runs, *prices), [*runs], traces)

    rows, most = value_rows("risk", rates, kit.noun), dearest_day(rates)
    day = number_row("price of a day", 0, 0, most, most / 100, f"{rates.currency}/day")
    groups = {
        "The job": {key: rows[key] for key in ("quantity", "batch", "spares")},
        f"The clock: start {start:%a %d %b %Y}": {"day": day, "deadline": rows["deadline"]},
        "What may go wrong": {key: rows[key] for key in ("yields", "design")},
    }
    return panel(
        groups,
        lambda values: asked(values, *FULL),
        shown,
        TEXTS["words"]["risk"],
        lambda runs, values: _figure(runs, values["deadline"]),
        rough=lambda values: asked(values, *QUICK),
        only_shown=("day", "deadline"),
    )


def _with_yields(rates, level):
    """The card with every first-pass yield moved from its value towards its low (level −1) or its high (+1)."""
    yields = {key: (e.low, e.value, e.high) for key, e in rates.entries.items() if e.kind is Kind.YIELD}
    moved = {key: float(np.interp(level, (-1, 0, 1), ends)) for key, ends in yields.items()}
    return rates.replace(moved) if level else rates


def _figure(runs, deadline):
    """Chance of delivery over time."""
    figure = chance_figure(runs, deadline, height=380)
    figure.update_xaxes(automargin=False, ticklabeloverflow="allow", nticks=6)  # each costs time while a slider moves
    figure.update_yaxes(automargin=False, ticklabeloverflow="allow")
    return figure.update_layout(margin={"l": 70, "t": 20})


def _facts(runs, price_of_day, deadline):
    """Who costs least on average and how surely, and the chance of the deadline."""
    means = {route: run.with_delay(price_of_day).mean() / run.plan.job.quantity for route, run in runs.items()}
    best = min(means, key=means.get)
    plan, share = runs[best].plan, probability_best(Samples.of(runs), price_of_day)[best]
    soonest = min(runs.values(), key=lambda run: run.days.mean())
    date = runs[best].plan.begin + dt.timedelta(days=deadline)
    chances = ", ".join(
        f"{run.plan.title.lower()} {of_runs(run.chance(deadline))}"
        + f" (its quickest run takes {run.days.min():,.1f} days)" * (run.chance(deadline) == 0)
        for run in runs.values()
    )
    return {
        "cheapest on average, failures and inputs drawn": f"{plan.title}, {means[best]:,.0f} {plan.rates.currency} a "
        f"{plan.job.kit.noun}; best in {of_runs(share)} of {runs[best].n:,} runs",
        "soonest on average, failures and inputs drawn": f"{soonest.plan.title}, {soonest.days.mean():,.0f} days",
        f"chance of delivery by {date:%a %d %b %Y %H:%M}, failures and inputs drawn": chances,
    }


def _table(runs, price_of_day, deadline):
    """Each route's cost, days, pieces begun and chance as an HTML table."""
    import pandas as pd

    rows, money = {}, money_of_one(runs)
    for run in runs.values():
        kit = run.with_delay(price_of_day) / run.plan.job.quantity
        cells = rows[run.plan.title] = {}
        for what, values in ((f"{money}, days priced", kit), ("days", run.days)):
            cells[f"{what}: mean"] = round(values.mean())
            cells[f"{what}: nine of ten"] = "{:,.0f} to {:,.0f}".format(*np.quantile(values, NINE_OF_TEN))
        cells |= {"begun for one good": round(run.attempts.mean(), 2), "in time": of_runs(run.chance(deadline))}
    return table_html(pd.DataFrame.from_dict(rows, orient="index").rename_axis("route"), TEXTS["captions"]["risk"])
