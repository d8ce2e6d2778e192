"""Stacked bars of routes, and bars of one route's costs, as plain HTML: quick to redraw, printed as they stand.

Plotly draws curves and solids of the course; a stack of ten pieces costs it more time than a key press allows.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import cycle
from pathlib import Path

import numpy as np

from pourprint.decide.inputs import rounded_up
from pourprint.figures.look import GREY, HATCH, LOOKS, SHADE, THEME, sheer, tint, title_of
from pourprint.figures.plan import span_pieces
from pourprint.figures.stages import DELAY, short
from pourprint.plans.days import calendar_of
from pourprint.plans.steps import Stage
from pourprint.routes import PRINTED

TORN = 1.5  # times as long as the axis should be: a bar from there on is torn
STYLE = f"{THEME}<style>{Path(__file__).with_suffix('.css').read_text(encoding='utf-8')}</style>"
# Stages that follow each other at one place are one phase of the clock.
DESK, BUILD, FINISH = "at the desk", "", "break out, finish"  # what is printed or built is named by the route
PHASE_OF = {
    Stage.DESIGN: DESK, Stage.TOOLING: DESK, Stage.SIMULATE: DESK, Stage.DIE: "die", Stage.PATTERN: "patterns",
    Stage.ASSEMBLE: BUILD, Stage.MOULD: BUILD, Stage.FIRE: "fire", Stage.POUR: "pour",
    Stage.BREAK_OUT: FINISH, Stage.FINISH: FINISH,
}  # fmt: skip
LATER, LATER_SHADE = "later batches", 0.65
KEY = {kind: sheer(GREY, share) for kind, share in (SHADE | {LATER: LATER_SHADE}).items()}  # how kinds of time look


@dataclass(frozen=True)
class Piece:
    """One piece of a bar: `name`, `amount` ≥ 0 in the chart's unit, `colour`, a longer `hint`, `kind` of time or ""."""

    name: str
    amount: float
    colour: str
    hint: str
    kind: str = ""


@dataclass(frozen=True)
class Bar:
    """One bar: its name, its pieces in order, the number that is written behind it, and where a stroke marks an amount
    (None: nowhere)."""

    name: str
    pieces: tuple[Piece, ...]
    number: float
    mark: float | None = None

    @property
    def total(self):
        """Sum of the pieces, in the chart's unit."""
        return sum(piece.amount for piece in self.pieces)

    @property
    def reach(self):
        """What the axis must hold of it: the longer of bar and mark, in the chart's unit."""
        return max(self.total, self.mark or 0.0)


def stage_bars(comparison):
    """Cost of one kit by stage, the price of the days last, with failures as a stroke: one Bar a route [currency]."""
    bars = []
    for route, days in comparison.days.items():
        plan, looks = comparison.plans[route], cycle([tint(LOOKS[route].colour, white) for white in (0.7, 0.45)])
        job = {stage.title: cost for stage, cost in plan.cost_by_stage().items()}
        job[DELAY] = comparison.price_of_day * days
        one = plan.job.quantity
        pieces = [Piece(short(stage, route), cost / one, next(looks), stage) for stage, cost in job.items()]
        bars.append(_bar(route, pieces, comparison.mean_unit_cost(route)))
    return bars


def _bar(route, pieces, with_failures):
    """A route's bar of those pieces that are any, its mean with failures as stroke and number."""
    return Bar(title_of(route), tuple(piece for piece in pieces if piece.amount > 1e-9), with_failures, with_failures)


def clock_bars(comparison):
    """Calendar days from the start by phase and kind, further batches last, with failures as a stroke: one Bar a route
    [d]."""
    bars = []
    for route, spans in comparison.spans.items():
        calendar, begin_h = calendar_of(comparison.plans[route])
        spent, look = Counter(), LOOKS[route].colour
        for span in spans:
            phase = PHASE_OF[span.step.stage] or short(Stage.MOULD.title, route)
            spent.update({(phase, kind): 0.0 for kind in HATCH})  # in this order
            for kind, from_h, to_h in span_pieces(span, calendar, begin_h):
                spent[phase, kind] += (to_h - from_h) / 24
        longest = {phase: max(days for (what, _), days in spent.items() if what == phase) for phase, _ in spent}
        pieces = [
            Piece(phase * (days == longest[phase]), days, sheer(look, SHADE[kind]), f"{phase}, {kind}", kind)
            for (phase, kind), days in spent.items()
        ]
        later = comparison.days[route] - spans[-1].end_h / 24
        pieces.append(Piece("", later, sheer(look, LATER_SHADE), f"{LATER} and delivery", LATER))
        bars.append(_bar(route, pieces, comparison.mean_days(route)))
    return bars


def comparison_bars(comparison, unit):
    """Both stacks of a comparison, cost by stage and days by phase, as HTML.

    Parameter: `unit` of the cost of one, as "EUR a kit". The serial reference does not set the axis: where it is far
    longer than the printed routes, its bar is torn. The page needs STYLE once.
    """
    printed, text = [title_of(route) for route in PRINTED], ""
    for title, bars, amounts in (
        ("Where the money goes, stage by stage", stage_bars(comparison), unit),
        ("Where the days go, phase by phase", clock_bars(comparison), "days from the start"),
    ):
        longest = max((bar.reach for bar in bars if bar.name in printed), default=None)
        unit = f"{amounts}; bar: if nothing fails; dashed, stroke and number: with failures"
        text += stacked_bars(title, bars, unit, "{:,.0f}", "with failures", longest)
    return text


def change_bars(title, route, now, first, unit):
    """What the parts of a route come to now as bars of its colour, and at first as strokes, as HTML.

    Parameters: `now`, `first` {name: amount ≥ 0}, a name that one of them lacks comes to nothing there; `unit` of the
    amounts. The page needs STYLE once.
    """
    colour, costs = LOOKS[route].colour, dict.fromkeys([*now, *first], 0.0) | now
    pieces = {name: (Piece("", cost, colour, name),) if cost else () for name, cost in costs.items()}
    bars = [Bar(name, made, costs[name], first.get(name, 0.0)) for name, made in pieces.items()]
    return stacked_bars(title, bars, f"{unit}; bar: now, stroke: at first", stroke="at first")


def stacked_bars(title, bars: Sequence[Bar], unit, form="{:,.1f}", stroke="", most=None):
    """Horizontal stacked bars on one axis from zero, as HTML.

    Parameters: `title` the message, behind it what the looks of pieces mean; `bars` all with a mark or none; `unit` of
    the amounts, written below the axis with what else must be said of the bars behind a semicolon; `form` how a number
    is written; `stroke` what the marks are.
    A piece shows its name where it is wide enough, and always as its tooltip; bars on a narrow page have the names of
    their pieces in order below them. The axis of bars with marks ends at a
    round number, so that it stands still while they move a little. Where the longest would be over TORN times `most`,
    the axis ends behind `most`; what goes on beyond it is torn there, and that is said.
    """
    marked = any(bar.mark is not None for bar in bars)
    longest = max((bar.reach for bar in bars), default=0.0)
    if most and longest > TORN * most:
        longest, unit = most, f"{unit}; torn: goes on to its number"
    ticks = _ticks(longest, beyond=marked)
    end = max(longest, ticks[-1]) or 1.0
    rows = "".join(_row(bar, end, ticks, form, stroke) for bar in bars)
    marks = "".join(f"<i style=left:{100 * tick / end:.2f}%><span>{tick:,g}</span></i>" for tick in ticks)
    said = "; ".join(_said(bar, form, stroke) for bar in bars)
    spoken = escape(f"{title}. In {unit.partition(';')[0]}: {said}.")
    looks = "'pourprint-bars marked'" if marked else "pourprint-bars"
    kinds = {piece.kind for bar in bars for piece in bar.pieces}
    shown = [(kind, look) for kind, look in KEY.items() if kind in kinds]
    key = "".join(f" <span><s class='{kind}' style=background-color:{look}></s> {kind}</span>" for kind, look in shown)
    return (
        f"<div class={looks} role=img aria-label='{spoken}'><p>{escape(title)}{key}</p>{rows}"
        f"<div><span></span><span>{marks}</span><span></span></div>"
        f"<div><span></span><span style=text-align:center>{escape(unit)}</span><span></span></div></div>"
    )


def _said(bar, form, stroke):
    """A bar in words: its name, its number, and its mark where that reads otherwise."""
    number, mark = (form.format(bar.number if amount is None else amount) for amount in (bar.number, bar.mark))
    return f"{bar.name} {number}" + (f" ({stroke} {mark})" if mark != number else "")


def _row(bar, end, ticks, form, stroke):
    grid = "".join(f"<i style=left:{100 * tick / end:.2f}%></i>" for tick in ticks)
    pieces, room = "", end
    for piece in bar.pieces:
        wide = min(piece.amount, room)
        room -= wide
        name = f"<span>{escape(piece.name)}</span>" if piece.name else ""  # not seen where its piece is too narrow
        pieces += (
            f"<s class='{piece.kind}' title='{escape(f'{piece.hint}: {form.format(piece.amount)}')}' "
            f"style='width:{100 * wide / end:.4f}%;background-color:{piece.colour}'>{name}</s>"
        )
    mark, torn = "", " class=torn" if bar.total > end else ""
    if bar.mark is not None and bar.mark <= end:
        mark = f"<em style=left:{100 * bar.mark / end:.4f}% title='{escape(stroke)}: {form.format(bar.mark)}'></em>"
        pieces += f"<small style=width:{100 * max(bar.mark - bar.total, 0.0) / end:.4f}%></small>"
    named = escape(", ".join(piece.name for piece in bar.pieces if piece.name))
    drawn = f"<span>{grid}<u{torn}>{pieces}</u>{mark}<label>{named}</label></span>"
    return f"<div><span>{escape(bar.name)}</span>{drawn}<b>{form.format(bar.number)}</b></div>"


def _ticks(longest, beyond=False):
    """Round numbers from zero to at least about nine tenths of `longest`, four to eight of them; `beyond` adds the
    next one where they end below `longest`.

    >>> _ticks(1713.0).tolist()
    [0.0, 250.0, 500.0, 750.0, 1000.0, 1250.0, 1500.0]
    >>> _ticks(1713.0, beyond=True).tolist()[-1]
    1750.0
    """
    if not longest > 0:
        return np.zeros(1)
    step = rounded_up(longest / 7, (1, 2, 2.5, 5, 10))
    steps = np.ceil(longest / step - 1e-9) if beyond else np.floor(longest / step + 1e-9)
    return step * np.arange(steps + 1)
