"""Unit cost of the routes over quantity: one figure that is updated in place.

It is built from, and later fed with, the same arrays.
"""

from itertools import pairwise

import numpy as np

from pourprint.figures.look import LOOKS, title_of
from pourprint.figures.strokes import canvas, line, mark

MOST_MARKS = 24  # break-even marks that the chart can hold; the sentence counts them all
NAME_HEIGHT = 0.07  # of the cost axis: what the name of a line takes
ROUND = np.array([digit * 10**power for power in range(9) for digit in (1, 2, 5)])  # ticks of the axis of money
COMPARISON_IN_WORDS = (
    "The chart draws the cost of one kit, with the price of the days, against the number of kits wanted, one line a "
    "route, both axes logarithmic; a cross marks each quantity from which another route is cheapest, a ring the "
    "chosen quantity."
)


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
    marks, the chosen quantity. Traces keep their places as long as the comparison has the same routes; an absent point
    is nan.
    """
    grid, routes = comparison.quantities, [*comparison.plans]
    nothing = np.full(grid.shape, np.nan)
    lines = [comparison.unit_costs.get(route, nothing) for route in routes]
    lowest = np.nanmin(lines, axis=0) if comparison.unit_costs else nothing
    turns = np.full((2, MOST_MARKS), np.nan)
    found = np.searchsorted(grid, comparison.break_even.crossings)[:MOST_MARKS]
    turns[:, : len(found)] = grid[found], lowest[found]
    chosen = np.isin(grid, [plan.job.quantity for plan in comparison.plans.values() if plan.feasible])
    return [
        *({"y": line} for line in lines),
        {"y": _apart(lines)},
        {"x": turns[0], "y": turns[1]},
        {"x": grid[chosen][:1], "y": lowest[chosen][:1]},
    ]


def comparison_range(traces):
    """Ends of the cost axis (decades, as plotly takes them): round numbers around all lines and their names.

    Parameters: `traces` from `comparison_data`. Round ends stand still while the lines move, so that a change is seen;
    nor are the axes drawn anew.
    """
    *lines, names, _, _ = (trace["y"] for trace in traces)
    seen = np.concatenate([*lines, names])
    seen = seen[np.isfinite(seen)]
    if not seen.size:
        return [0.0, 4.0]
    first = np.searchsorted(ROUND, seen.min(), side="right") - 1
    last = np.searchsorted(ROUND, seen.max() * (seen.max() / seen.min()) ** NAME_HEIGHT)
    return np.log10(ROUND[[max(first, 0), min(last, len(ROUND) - 1)]]).tolist()


def comparison_figure(comparison):
    """Unit cost over quantity, one line a route.

    Returns: go.Figure whose traces stand in the order of `comparison_data`.
    """
    *lines, names, turns, chosen = traces = comparison_data(comparison)
    grid, routes = comparison.quantities, [*comparison.plans]
    money = next((plan.rates.currency for plan in comparison.plans.values() if plan.feasible), "money")
    title = "Unit cost falls with quantity in steps: clusters, boxes and plates are paid whole"
    figure = canvas(title, "kits wanted", f"{money} a kit", 430, log="xy")
    for route, costs in zip(routes, lines, strict=True):
        look, name = LOOKS[route], title_of(route)
        said = f"{name}<br>%{{x}} kits: %{{y:,.0f}} {money} a kit"
        line(figure, grid, costs["y"], look.colour, look.dash, hover=said, shape="hv", name=name)
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
    mark(figure, **turns, symbol="x-thin", size=13, hover="break-even from %{x} kits on", name="break-even")
    said = f"chosen: %{{x}} kits at %{{y:,.0f}} {money}"
    mark(figure, **chosen, symbol="circle-open", size=15, hover=said, name="chosen quantity")
    # Plotly's check whether tick labels overflow the picture is dear, and there is room for all of them.
    quick = {"automargin": False, "ticklabeloverflow": "allow"}
    figure.update_xaxes(tickvals=[1, 2, 5, 10, 20, 50, 100, 200, 400], **quick)
    return figure.update_yaxes(tickvals=ROUND, range=comparison_range(traces), **quick)
