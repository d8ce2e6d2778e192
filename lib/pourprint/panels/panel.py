"""The one builder of panels: controls beside what follows from them."""

import datetime as dt
import html
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import ipywidgets as widgets
import plotly.graph_objects as go
from IPython.display import display

from pourprint.figures.bars import STYLE
from pourprint.ledger.alloys import alloys
from pourprint.ledger.rates import check_card
from pourprint.ledger.workdays import begin_of
from pourprint.panels.controls import Row, choice_row, folded, group, named, number_row
from pourprint.panels.live import LiveFigure, at_rest, guarded, status_line
from pourprint.parts.kits import Kit
from pourprint.routes.findings import allowed

TEXTS = tomllib.loads(Path(__file__).with_name("panels.toml").read_text(encoding="utf-8"))
SLIDERS = TEXTS["sliders"]
CLEAR = dt.timedelta(weeks=6)  # a job that starts by itself starts so long before any holiday


@dataclass(frozen=True)
class Panel:
    """A panel and its parts, for tests and for pages that place them otherwise.

    `controls` {name: Row}; `beside` the widgets that stand with them; the live `chart`, or None; `answer`, `bars`,
    `table`, `status` HTML; `finish()` does at once what waits until a slider rests; `widget` all of it.
    """

    controls: Mapping[str, Row]
    beside: tuple[widgets.Widget, ...]
    chart: LiveFigure | None
    answer: widgets.HTML
    bars: widgets.HTML
    table: widgets.HTML
    status: widgets.HTML
    finish: Callable
    widget: widgets.Widget

    def _ipython_display_(self):
        display(self.widget)


@dataclass(frozen=True)
class Shown:
    """What a panel shows of one result.

    `facts` {what: sentence} in order; `bars`, `table` HTML; each None to stay as it is. `kind` of live chart: one of
    another kind is drawn anew, as is one without; `traces` of it, `layout` that changes with them, as of
    `LiveFigure.redraw`.
    """

    facts: Mapping[str, str] | None
    bars: str | None
    table: str | None
    kind: object = field(default_factory=object)
    traces: list = field(default_factory=list)
    layout: Mapping[str, dict] = field(default_factory=dict)


def panel(groups, asked, shown, words, figure=None, folds=None, rough=None, only_shown=(), more=None, beside=()):
    """Controls, what they ask for, and how it is shown: a Panel.

    Parameters: `groups`, `folds` {caption: {name: Row}}, open and folded; `asked(values)` the result for {name:
    value}, which may be refused; `shown(result, values)` what is seen of it: Shown; `words` on the pictures;
    `figure(result, values)` the whole live chart; `rough(values)` a
    result quick enough to draw while a slider moves, where `asked` is not and waits until it rests;
    `only_shown` names of controls that leave the result as it is; `more` (caption of a button, what it shows of the
    result as HTML), until a control moves; `beside` widgets that stand with the controls.
    """
    folds = folds or {}
    controls = {name: row for rows in (*groups.values(), *folds.values()) for name, row in rows.items()}
    answer, bars, table = (widgets.HTML().add_class("pourprint-live") for _ in range(3))
    status, extra = status_line(), widgets.HTML()

    def values():
        return {name: row.value for name, row in controls.items()}

    result, kind = asked(values()), None
    chart = LiveFigure(go.Figure()) if figure else None

    def show(found):
        nonlocal result, kind
        extra.value = ""
        new = shown(found, values())  # text first: the browser has set it by the time the picture is drawn
        for place, text in ((answer, new.facts and facts_html(new.facts)), (table, new.table), (bars, new.bars)):
            if text is not None:
                place.value = text
        if chart and new.kind == kind:
            chart.redraw(new.traces, **new.layout)
        elif chart:
            chart.draw(figure(found, values()))
        result, kind = found, new.kind

    finish = guarded(lambda: show(asked(values())), status)
    later = at_rest(finish)

    def moved():
        show(rough(values()))
        later()

    for name, row in controls.items():
        row.observe(guarded((lambda: show(result)) if name in only_shown else moved, status) if rough else finish)
    show(result)
    boxes = [group(caption, rows.values()) for caption, rows in groups.items()]
    boxes += [widgets.VBox([folded(caption, rows=rows.values()) for caption, rows in folds.items()])] if folds else []
    content = widgets.VBox([answer, status, chart or bars]).add_class("pourprint-content")
    undo = widgets.Button(description="↺ all as at first").add_class("pourprint-undo")
    undo.on_click(lambda button: [row.back() for row in controls.values()])
    asks = widgets.VBox([*boxes, *beside, undo]).add_class("pourprint-controls")
    page = widgets.HBox([asks, content]).add_class("pourprint-page")
    below = [bars] if chart else []
    if more:
        button = widgets.Button(description=more[0]).add_class("pourprint-more")
        button.on_click(guarded(lambda button: setattr(extra, "value", more[1](result)), status))
        below += [button, extra]
    spoken = widgets.HTML(f"<p><i>In words:</i> {words}</p>{STYLE}")
    tree = named(widgets.VBox([page, *below, table, spoken]))
    return Panel(controls, tuple(beside), chart, answer, bars, table, status, finish, tree)


def facts_html(facts):
    """Facts {what: sentence} as short texts side by side."""
    cells = "".join(f"<div>{html.escape(name)}<br><b>{html.escape(fact)}</b></div>" for name, fact in facts.items())
    return f"<div class='pourprint-facts'>{cells}</div>"


# What panels are given --------------------------------------------------------------------------------------


def kit_of(kit, rates):
    """A Kit, from a Kit or a Part, to be asked at a RateCard; anything else is refused. Raises: InputError."""
    check_card(rates)
    return Kit.of(kit)


def start_or_next(start, rates):
    """A start as a datetime; None is the next working day that no holiday follows soon, at opening time.

    Raises: InputError.
    """
    hours = rates.hours
    if start is not None:
        return begin_of(start, hours)
    days = [dt.date.today() + dt.timedelta(days=n) for n in range(366)]
    working = [day for day in days if hours.works(day)]
    clear = [day for day in working if not any(dt.timedelta() <= off - day <= CLEAR for off in hours.holidays)]
    return begin_of([*clear, *working][0], hours)


def alloy_row(route=None, rates=None, first=None):
    """A choice of the alloys that a route makes in a card's lab, or of all; starts with `first` if in it: a Row."""
    offered = [(a.title, name) for name, a in alloys().items() if route is None or allowed(route, a, rates)]
    return choice_row("alloy", offered, first)


def volume_row(kits, most, first=None):
    """The mean volume of the first kit's pieces, from 5 cm3 to `most` and as far as all kits' own: a Row; `first` as of
    Row."""
    own = [mean_cm3(kit) for kit in kits]
    return number_row("mean part volume", own[0], min(5.0, *own), max(most, *own), 0.1, "cm³", log=True, first=first)


def mean_cm3(kit):
    """Mean volume of a kit's pieces as a slider shows it [cm3]."""
    return max(0.1, round(float(kit.volume_cm3) / kit.nodes, 1))


def value_rows(panel, rates, noun="kit"):
    """Rows of a panel's numbers, as `panels.toml` has them; those of the card start as the card has them: {key: Row}.

    Parameters: `panel` of the file; `rates` RateCard; `noun` what is counted, "kit" or "piece". Raises: InputError.
    """
    check_card(rates)
    rows = {}
    for key, slider in SLIDERS[panel].items():
        value = rates[key] if key in rates.entries else slider["value"]
        unit = slider["unit"] if "unit" in slider else rates.entries[key].unit.replace("m3", "m³")
        low, high = min(slider["low"], value), max(slider["high"], value)
        unit = unit.format(noun=noun, money=rates.currency)
        rows[key] = number_row(slider["name"], value, low, high, slider["step"], unit, slider.get("log", False))
    return rows
