"""Routes side by side: unit cost over quantity, cost by stage, days. One figure that is updated in place.

It is built from, and later fed with, the same arrays.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pourprint.compare import DELAY, LATER
from pourprint.figures._look import HATCH, INK, KINDS, LOOKS, styled, tint, title_of
from pourprint.figures.stages import SHORT, example_plans
from pourprint.steps import Stage

MOST_MARKS = 24  # break-even marks that the chart can hold; the sentence counts them all
NAME_HEIGHT = 0.07  # of the cost axis: what the name of a line takes
NAMED_SHARE = 0.045  # of the highest bar: a lower piece cannot hold its name
# The clock chart draws stages that follow each other at one place as one phase: fewer bars redraw faster.
PHASES = {
    "at the desk": (Stage.DESIGN, Stage.TOOLING, Stage.SIMULATE, Stage.DIE),
    "patterns": (Stage.PATTERN,),
    "mould or print": (Stage.ASSEMBLE, Stage.MOULD),
    "fire": (Stage.FIRE,),
    "pour": (Stage.POUR,),
    "break out and finish": (Stage.BREAK_OUT, Stage.FINISH),
}
PHASE_OF = {stage.title: phase for phase, stages in PHASES.items() for stage in stages} | {LATER: [*PHASES][-1]}

COMPARISON_IN_WORDS = (
    "<p><i>In words:</i> the first chart draws the cost of one kit, with the price of the days, against the number "
    "of kits wanted, one line a route, both axes logarithmic; a cross marks each quantity from which another route "
    "is cheapest, a ring the chosen quantity. The second stacks the cost of one kit by stage, first stage lowest. "
    "The third lays the days of the first batch and of all that follow end to end: plain is hands-on (nights and "
    "weekends within a task included), strokes are machines running alone, dots are waiting. The table below holds "
    "the same answer in numbers.</p>"
)

# The comparison: three charts in one figure ---------------------------------------------------------------


@cache
def _stage_slots():
    """{route: stages that may cost something, the days last} of every route, read from an example's steps."""
    return {plan.route: (*(stage.title for stage in plan.stages), DELAY) for plan in example_plans()}


@cache
def _clock_slots():
    """{route: ((phase, kind), …)} of every route: what may take time, in order."""
    slots = {}
    for plan in example_plans():
        slots[plan.route] = tuple(
            (phase, kind)
            for phase, stages in PHASES.items()
            for kind in KINDS
            if any(_may_take(step, kind) for step in plan.steps if step.stage in stages)
        )
    return slots


def _may_take(step, kind):
    if kind == "waiting":
        return True  # for closing time at least
    hours = "hands_on_h" if kind == "hands-on" else "machine_h"
    return any(np.any(getattr(work, hours) > 0) for work in step.work)


def _apart(lines):
    """Heights of the lines' names: at each line's end, or as far above the next lower name that both can be read.

    Parameters: `lines` of (n,) costs on a logarithmic axis. Returns: (len(lines),), nan for absent lines.
    """
    ends = np.array([line[-1] for line in lines])
    seen = [line[np.isfinite(line)] for line in lines if np.isfinite(line).any()]
    if not seen:
        return ends
    step = (max(line.max() for line in seen) / min(line.min() for line in seen)) ** NAME_HEIGHT
    for lower, upper in pairwise(np.argsort(ends)):  # nan comes last and stays
        ends[upper] = max(ends[upper], ends[lower] * step) if np.isfinite(ends[upper]) else np.nan
    return ends


def comparison_data(comparison):
    """What each trace of the comparison figure shows, in the order of its traces, as far as it ever changes.

    Returns: list of dicts of "x" and "y" arrays: a line over quantity for each route, their names, break-even
    marks, the chosen quantity, bars by stage, their names where the bar can hold one, bars by time. Traces and bars
    keep their places as long as the comparison has the same routes. An absent point is nan; an absent bar is zero,
    since plotly begins a stack anew after a nan.
    """
    grid, routes = comparison.quantities, [*comparison.plans]
    nothing = np.full(grid.shape, np.nan)
    lines = [comparison.unit_costs.get(route, nothing) for route in routes]
    lowest = np.nanmin(lines, axis=0) if comparison.unit_costs else nothing
    turns = np.full((2, MOST_MARKS), np.nan)
    found = np.searchsorted(grid, comparison.break_even.crossings)[:MOST_MARKS]
    turns[:, : len(found)] = grid[found], lowest[found]
    chosen = np.isin(grid, [plan.job.quantity for plan in comparison.plans.values() if plan.feasible])

    costs, clock = comparison.stage_costs(), comparison.clock()
    bars, middles, days = [], [], []
    highest = max((sum(cost.values()) for cost in costs.values()), default=0.0)
    for route in routes:
        heights = np.array([costs.get(route, {}).get(name, 0.0) for name in _stage_slots()[route]])
        bars.append(heights)
        middles.append(np.where(heights > NAMED_SHARE * highest, np.cumsum(heights) - heights / 2, np.nan))
        spent = dict.fromkeys(_clock_slots()[route], 0.0)
        for stage, *kinds in clock.get(route, ()):
            for kind, amount in zip(KINDS, kinds, strict=True):
                if amount:
                    spent[PHASE_OF[stage], kind] += amount
        days.append([*spent.values()])
    return [
        *({"y": line} for line in lines),
        {"y": _apart(lines)},
        {"x": turns[0], "y": turns[1]},
        {"x": grid[chosen][:1], "y": lowest[chosen][:1]},
        {"y": np.concatenate(bars)},
        {"y": np.concatenate(middles)},
        {"x": np.concatenate(days)},
    ]


def comparison_figure(comparison):
    """Three charts in one figure: unit cost over quantity, cost of a kit by stage, days from the start.

    Returns: go.Figure whose traces stand in the order of `comparison_data`.
    """
    figure = make_subplots(
        rows=3,
        cols=1,
        row_heights=[0.4, 0.34, 0.26],
        vertical_spacing=0.11,
        subplot_titles=(
            "Unit cost falls with quantity in steps: clusters, boxes and plates are paid whole",
            "Where the money of one kit goes, stage by stage",
            "Where the days go: plain = hands-on, strokes = machine, dots = waiting",
        ),
    )
    *lines, names, turns, chosen, costs, stage_names, days = comparison_data(comparison)
    grid, routes, money = comparison.quantities, [*comparison.plans], _currency(comparison)
    for route, line in zip(routes, lines, strict=True):
        look = LOOKS[route]
        figure.add_scatter(
            **line,
            x=grid,
            name=title_of(route),
            mode="lines",
            line={"color": look.colour, "dash": look.dash, "width": 2.5, "shape": "hv"},
            hovertemplate=f"{title_of(route)}<br>%{{x}} kits: %{{y:,.0f}} {money} a kit<extra></extra>",
        )
    # Names and marks are traces of a few points: text or markers at every point of a line redraw slowly.
    figure.add_scatter(
        **names,
        x=[grid[-1]] * len(routes),
        name="names of the routes",
        mode="text",
        text=[title_of(route) for route in routes],
        textposition="top left",
        textfont={"color": [LOOKS[route].colour for route in routes]},
        hoverinfo="skip",
    )
    figure.add_scatter(
        **turns,
        name="break-even",
        mode="markers",
        marker={"symbol": "x-thin", "size": 13, "line": {"width": 2.5, "color": INK}},
        hovertemplate="break-even from %{x} kits on<extra></extra>",
    )
    figure.add_scatter(
        **chosen,
        name="chosen quantity",
        mode="markers",
        marker={"symbol": "circle-open", "size": 15, "color": INK, "line": {"width": 2.5}},
        hovertemplate=f"chosen: %{{x}} kits at %{{y:,.0f}} {money}<extra></extra>",
    )
    figure.add_trace(_stage_bars(routes, costs, money), row=2, col=1)
    figure.add_trace(_stage_names(routes, stage_names), row=2, col=1)
    figure.add_trace(_clock_bars(routes, days), row=3, col=1)
    figure.update_xaxes(
        title_text="kits wanted", type="log", tickvals=[1, 2, 5, 10, 20, 50, 100, 200, 400], row=1, col=1
    )
    figure.update_yaxes(title_text=f"{money} a kit", type="log", tickvals=_round_numbers(), row=1, col=1)
    figure.update_yaxes(title_text=f"{money} a kit", row=2, col=1)
    figure.update_xaxes(title_text="days from the start", row=3, col=1)
    figure.update_yaxes(autorange="reversed", row=3, col=1)
    # Plotly's check whether tick labels overflow the picture is dear, and there is room for all of them.
    figure.update_xaxes(automargin=False, ticklabeloverflow="allow")
    figure.update_yaxes(automargin=False, ticklabeloverflow="allow")
    return styled(figure, height=1000)


def _round_numbers():
    """1, 2, 5, 10 … 5 million: ticks of a logarithmic axis of money."""
    return [digit * 10**power for power in range(7) for digit in (1, 2, 5)]


def _currency(comparison):
    return next((plan.rates.currency for plan in comparison.plans.values() if plan.feasible), "money")


def _stage_bars(routes, costs, money):
    """All stages of all routes as one stacked trace; tints tell neighbours apart, names stand inside."""
    pieces = [(route, i, name) for route in routes for i, name in enumerate(_stage_slots()[route])]
    return go.Bar(
        x=[title_of(route) for route, _, _ in pieces],
        **costs,
        customdata=[SHORT[name] for _, _, name in pieces],
        marker={
            "color": [tint(LOOKS[route].colour, 0.45 if i % 2 else 0.7) for route, i, _ in pieces],
            "line": {"color": "white", "width": 1},
        },
        hovertemplate="%{x}, %{customdata}: %{y:,.0f} " + money + " a kit<extra></extra>",
        name="cost by stage",
    )


def _stage_names(routes, heights):
    """The names of the stages in the middle of their bars; nan leaves a bar without."""
    pieces = [(route, name) for route in routes for name in _stage_slots()[route]]
    return go.Scatter(
        x=[title_of(route) for route, _ in pieces],
        **heights,
        mode="text",
        text=[SHORT[name] for _, name in pieces],
        textfont={"size": 12},
        hoverinfo="skip",
        name="stage names",
    )


def _clock_bars(routes, days):
    """Hands-on, machine and waiting days of all phases of all routes as one stacked trace."""
    pieces = [(route, phase, kind) for route in routes for phase, kind in _clock_slots()[route]]
    white = {"hands-on": 0.0, "machine": 0.4, "waiting": 0.8}
    return go.Bar(
        y=[title_of(route) for route, _, _ in pieces],
        **days,
        orientation="h",
        marker={
            "color": [tint(LOOKS[route].colour, white[kind]) for route, _, kind in pieces],
            "pattern": {
                "shape": [HATCH[kind] for _, _, kind in pieces],
                "fillmode": "overlay",
                "fgcolor": INK,
                "solidity": 0.2,
            },
        },
        customdata=[f"{phase}, {kind}" for _, phase, kind in pieces],
        hovertemplate="%{y}, %{customdata}: %{x:.1f} days<extra></extra>",
        name="days by phase",
    )
