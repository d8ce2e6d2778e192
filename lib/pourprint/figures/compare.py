"""Unit cost of the routes along one input: one figure that is updated in place.

It is built from, and later fed with, the same arrays.
"""

from itertools import pairwise

import numpy as np

from pourprint.figures.look import LOOKS, title_of
from pourprint.figures.strokes import canvas, line, mark

MOST_MARKS = 24  # break-even marks that the chart can hold; the sentence counts them all
MOST_NAMED = 6  # of them; the table below the chart names all
NAMES_PX = 96  # right of the chart, for the names
NAME_HEIGHT = 0.07  # of the cost axis: what the name of a line takes
ROUND = np.array([digit * 10**power for power in range(9) for digit in (1, 2, 5)])  # ticks of the axis of money
COMPARISON_IN_WORDS = (
    "The chart draws the cost of one kit, with the price of the days, along one input of your choice, one line a "
    "route; a cross marks each place from which another route is cheapest and names it, a ring the present value."
)


def _apart(lines):
    """Heights of the lines' names: at each line's end, or as far above the next lower name as both need to be read.

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


def comparison_data(along, routes):
    """What each trace of the comparison figure shows, in the order of its traces, as far as it ever changes.

    Parameters: `along` Along; `routes` in the order of their lines. Returns: list of dicts: a line for each route,
    their names, crossings, the present value. Traces keep their places as long as routes and grid are the same; an
    absent point is nan.
    """
    nothing = np.full(along.grid.shape, np.nan)
    lines = [along.unit_costs.get(route, nothing) for route in routes]
    turns, named, sides = np.full((2, MOST_MARKS), np.nan), [""] * MOST_MARKS, ["bottom left"] * MOST_MARKS
    middle = np.median(along.grid) if not along.log else np.sqrt(along.grid[0] * along.grid[-1])
    for i, turn in enumerate(along.crossings[:MOST_MARKS]):
        turns[:, i] = turn.at, np.interp(turn.at, along.grid, along.lowest)
        if i < MOST_NAMED:
            named[i] = f"{turn.at:,.3g}: {title_of(turn.to).lower()}"
            sides[i] = "bottom right" if turn.at < middle else "bottom left"
    return [
        *({"y": line} for line in lines),
        {"y": _apart(lines)},
        {"x": turns[0], "y": turns[1], "text": named, "textposition": sides},
        {"x": [along.now], "y": [np.interp(along.now, along.grid, along.lowest)]},
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


def comparison_figure(along, routes):
    """Unit cost along one input, one line a route.

    Returns: go.Figure whose traces stand in the order of `comparison_data`; parameters as there.
    """
    *lines, names, turns, chosen = traces = comparison_data(along, routes)
    money, shape = along.currency, "linear" if np.any(along.grid % 1) else "hv"
    figure = canvas("", along.title, f"{money} a kit", 380, log="xy" if along.log else "y", t=20, r=NAMES_PX)
    for route, costs in zip(routes, lines, strict=True):
        look, name = LOOKS[route], title_of(route)
        said = f"{name}<br>{along.title} %{{x:,.4~g}}: %{{y:,.0f}} {money} a kit"
        line(figure, along.grid, costs["y"], look.colour, look.dash, hover=said, shape=shape, name=name)
    # Names and marks are traces of a few points: text or markers at every point of a line redraw slowly.
    figure.add_scatter(
        **names,
        x=[along.grid[-1]] * len(routes),
        name="names of the routes",
        mode="text",
        text=[title_of(route) for route in routes],
        textposition="middle right",
        cliponaxis=False,
        textfont={"size": 12, "color": [LOOKS[route].colour for route in routes]},
        hoverinfo="skip",
    )
    said = "from %{x:,.4~g} on another route is cheapest"
    more = {"mode": "markers+text", "textfont": {"size": 12}}
    mark(figure, **turns, symbol="x-thin", size=13, hover=said, name="break-even", **more)
    said = f"now: %{{x:,.4~g}} at %{{y:,.0f}} {money}"
    mark(figure, **chosen, symbol="circle-open", size=15, hover=said, name="present value")
    # Plotly's check whether tick labels overflow the picture is dear, and there is room for all of them.
    quick = {"automargin": False, "ticklabeloverflow": "allow"}
    figure.update_xaxes(**quick)
    return figure.update_yaxes(tickvals=ROUND, range=comparison_range(traces), **quick)
