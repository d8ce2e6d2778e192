"""The panel that counts days and failures: quantity, price of a day, deadline, yields, spares and design errors."""

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from pourprint.decide.information import Samples, probability_best
from pourprint.figures.bars import STYLE
from pourprint.figures.look import styled
from pourprint.figures.risk import add_chances, chance_data, spread_bars
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import columns, group, named, number_row, page
from pourprint.panels.live import at_rest, guarded, live, redraw, status_line
from pourprint.panels.shared import answer_html, check_card, kit_of, start_or_today
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible
from pourprint.risk.runs import drawn, percent
from pourprint.routes import PRINTED, plan_all

# Batches a route that are run while a slider moves, and once it rests; and the fewest runs, however many batches each.
QUICK, FULL = (100, 25), (6000, 200)
LOW_SHARE, HIGH_SHARE = 0.05, 0.95


@dataclass(frozen=True)
class RiskPanel:
    """The parts of a risk panel: `controls` {name: Row}; `place` the box of the live figure; `answer`, `bars`,
    `table`, `status` HTML; `full` runs the whole simulation at once; `widget` all of it."""

    controls: dict
    place: widgets.Box
    answer: widgets.HTML
    bars: widgets.HTML
    table: widgets.HTML
    status: widgets.HTML
    full: object
    widget: widgets.Widget

    @property
    def figure(self):
        """The live figure that is shown now."""
        return self.place.children[0]


def risk_panel(kit, rates, alloy="AlSi7Mg", start=None):
    """Sliders for what makes an answer doubtful, with cost, days and the chance of a date beside them.

    Parameters: `kit` Kit or Part; `rates` RateCard; `alloy`; `start` date and time (default: today at opening time).
    Returns: a widget to show. Raises: InputError.
    """
    return build(kit, rates, alloy, start).widget


def build(kit, rates, alloy="AlSi7Mg", start=None):
    """The RiskPanel behind `risk_panel`; parameters as there."""
    kit = kit_of(kit)
    check_card(rates)
    start = start_or_today(start, rates)
    controls = _controls(rates)

    @lru_cache(maxsize=4)  # most sliders leave the inputs alone: they are drawn once
    def ready(level, n):
        """Every route that can, its inputs drawn, yields moved by `level`: {route: Drawn}."""
        plans = feasible(plan_all(Job(kit, alloy), _with_yields(rates, level), PRINTED))
        if not plans:
            raise InputError(f"no printed route can make {kit.name} in {alloy}: choose another alloy.")
        return {route: drawn(plan, n) for route, plan in plans.items()}

    def asked(batches, fewest):
        """Runs of every route that can, about so many batches of each."""
        set_to = {name: row.value for name, row in controls.items()}
        job = {"quantity": set_to["quantity"], "batch_size": set_to["batch"]}
        n = max(fewest, int(batches / np.ceil(set_to["quantity"] / set_to["batch"])))
        options = {"start": start, "spares": int(set_to["spares"]), "design_again": set_to["design"] / 100}
        return {route: inputs.at(**job).run(**options) for route, inputs in ready(set_to["yields"], n).items()}

    def prices():
        return controls["day"].value, controls["deadline"].value

    last = [asked(*FULL)]
    place = widgets.VBox([live(_figure(last[0], controls["deadline"].value))], layout=widgets.Layout(width="100%"))
    answer, bars, table = (widgets.HTML().add_class("pourprint-live") for _ in range(3))
    status = status_line()

    def show(runs):
        tell(runs)  # first: the browser has set the text by the time the picture is drawn
        draw(runs)

    def draw(runs):
        before, last[0] = last[0], runs
        bars.value = spread_bars(runs, controls["day"].value)
        if runs.keys() == before.keys():
            redraw(place.children[0], chance_data(runs, controls["deadline"].value))
        else:  # another set of routes needs another figure
            place.children = [live(_figure(runs, controls["deadline"].value))]

    def tell(runs):
        answer.value = answer_html(_answer(runs, *prices()))
        table.value = _table(runs, *prices())

    full = guarded(lambda: show(asked(*FULL)), status)
    finish = at_rest(full)

    def moved():
        """A few runs are drawn at once; all of them, and what they say, when the slider has come to rest."""
        draw(asked(*QUICK))
        finish()

    for name, row in controls.items():
        # Runs stay as they are when only their days are priced or judged.
        row.observe(guarded((lambda: show(last[0])) if name in ("day", "deadline") else moved, status))
    tell(last[0])
    bars.value = spread_bars(last[0], controls["day"].value)
    words = widgets.HTML(
        "<p><i>In words:</i> the upper chart has a row for each route and shows a kit's cost with its share of the "
        "days: the thin bar holds nine runs of ten, the thick bar half of them, the stroke is the middle. The lower "
        "chart draws the chance of delivery against the date, one rising curve a route; the upright line is the "
        "deadline. While a slider moves, only these two follow; the sentence above and the table with the same in "
        "numbers wait until it rests.</p>"
    )
    content = widgets.VBox([answer, status, bars, place])
    shown = named(widgets.VBox([page(columns(_groups(controls, start)), content), words, table, widgets.HTML(STYLE)]))
    return RiskPanel(controls, place, answer, bars, table, status, full, shown)


def _with_yields(rates, level):
    """The card with every first-pass yield moved from its value towards its low (level −1) or its high (+1)."""

    def moved(entry):
        return entry.value + abs(level) * ((entry.high if level > 0 else entry.low) - entry.value)

    yields = {key: moved(entry) for key, entry in rates.entries.items() if entry.kind is Kind.YIELD}
    return rates.replace(yields) if level else rates


def _controls(rates):
    money = rates.currency
    return {
        "quantity": number_row("quantity wanted", 4, 1, 400, 1, "kits", log=True),
        "batch": number_row("batch size", 4, 1, 100, 1, "kits", log=True),
        "spares": number_row("spare pieces", 0, 0, 60, 1, "a batch"),
        "day": number_row("price of a day", 0, 0, 1000, 10, f"{money}/day"),
        "deadline": number_row("deadline", 60, 5, 400, 1, "days"),
        "yields": number_row("yields", 0, -1, 1, 0.1, "low … high"),
        "design": number_row("design error", 0, 0, 50, 1, "% chance"),
    }


def _groups(controls, start):
    return [
        group("The job", [controls[name] for name in ("quantity", "batch", "spares")]),
        group(f"The clock: start {start:%a %d %b %Y}", [controls[name] for name in ("day", "deadline")]),
        group("What may go wrong", [controls[name] for name in ("yields", "design")]),
    ]


def _figure(runs, deadline):
    """Chance of delivery over time."""
    figure = go.Figure()
    add_chances(figure, runs, chance_data(runs, deadline))
    figure.update_xaxes(automargin=False, ticklabeloverflow="allow", nticks=6)  # each costs time while a slider moves
    figure.update_yaxes(automargin=False, ticklabeloverflow="allow")
    figure = styled(figure, 380)
    figure.update_layout(margin={"l": 70, "t": 20})
    return figure


def _answer(runs, price_of_day, deadline):
    """Who costs least on average and how surely, and the chance of the deadline."""
    means = {route: run.with_delay(price_of_day).mean() / run.plan.job.quantity for route, run in runs.items()}
    best = min(means, key=means.get)
    plan, share = runs[best].plan, probability_best(Samples.of(runs), price_of_day)[best]
    date = runs[best].start + dt.timedelta(days=deadline)
    chances = ", ".join(f"{run.plan.title.lower()} {percent(run.chance(deadline))}" for run in runs.values())
    said = (
        f"{plan.title} costs least on average, {means[best]:,.0f} {plan.rates.currency} a kit, and is best in "
        f"{percent(share)} of {runs[best].n} runs. Chance of delivery by {date:%a %d %b %Y}: {chances}."
    )
    late = [
        f"{run.plan.title} cannot make that date: its quickest run takes {run.days.min():.0f} days."
        for run in runs.values()
        if run.chance(deadline) == 0
    ]
    return " ".join([said, *late])


def _table(runs, price_of_day, deadline):
    """Each route's cost, days, pieces begun and chance as an HTML table."""
    money = next(iter(runs.values())).plan.rates.currency
    heads = ("mean", f"{LOW_SHARE:.0%}", f"{HIGH_SHARE:.0%}", "mean", f"{LOW_SHARE:.0%}", f"{HIGH_SHARE:.0%}")
    body = ""
    for run in runs.values():
        cells = []
        for values in (run.with_delay(price_of_day) / run.plan.job.quantity, run.days):
            cells += [f"{v:,.0f}" for v in (values.mean(), *np.quantile(values, (LOW_SHARE, HIGH_SHARE)))]
        cells += [f"{run.attempts.mean():.2f}", percent(run.chance(deadline))]
        row = "".join(f"<td>{cell}</td>" for cell in cells)
        body += f'<tr><th scope="row" style="text-align:left">{run.plan.title}</th>{row}</tr>'
    names = "".join(f'<th scope="col">{head}</th>' for head in heads)
    left = 'style="text-align:left"'
    return f"""<table class="pourprint-table" style="border-spacing:9px 2px;text-align:right;white-space:nowrap">
        <caption {left}>Means and nine runs of ten. Yields are scenario inputs; estimates for teaching and planning, not
        a quotation.</caption><thead><tr><th></th><th colspan="3" scope="colgroup">{money} a kit, days priced</th>
        <th colspan="3" scope="colgroup">days</th><th></th><th></th></tr><tr><th scope="col" {left}>route</th>{names}
        <th scope="col">begun for one good</th><th scope="col">in time</th></tr></thead><tbody>{body}</tbody></table>"""
