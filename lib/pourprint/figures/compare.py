"""Unit cost of the routes along one input: one figure that is updated in place.

It is built from, and later fed with, the same arrays.
"""

import numpy as np

from pourprint.figures.look import INK, LOOKS, ROUND, title_of
from pourprint.figures.strokes import TALL, canvas, line, mark, names

MOST_NAMED = 6  # break-evens that are named in the chart; the table below it names all
NAMES_PX = 96  # right of the chart, for the names
LETTER = 0.023  # of the words below the lines, as a share of what the panel's narrow chart leaves beside the names
COMPARISON_IN_WORDS = (
    "The chart draws the cost of one, with the price of the days, along one input of your choice, one line a "
    "route; a cross marks each place from which another route is cheapest and names it, a ring the present value."
)


def _apart(lines, step):
    """Heights of the lines' names: as near to each line's end as lets all of them be read.

    Parameters: `lines` of (n,) costs on a logarithmic axis; `step` how many times as dear the head of a line of words
    stands as its foot. Returns: (len(lines),), nan for absent lines.
    """
    ends = np.array([line[-1] for line in lines])
    order = np.argsort(ends)[: np.isfinite(ends).sum()]  # nan comes last and stays
    n, steps = order.size, np.log(step) * np.arange(order.size)
    wanted = np.log(ends[order]) - steps  # the nearest that nowhere falls: isotonic regression, by its min-max formula
    means = [[wanted[j : max(j, k) + 1].mean() for k in range(n)] for j in range(n)]
    ends[order] = np.exp([max(min(means[j][i:]) for j in range(i + 1)) for i in range(n)] + steps)
    return ends


def _below(along, named, step):
    """Where the names of crossings hang: below all lines, on the side where that is the higher, and below each other.

    Parameters: `along` Along; `named` {crossing's value: its name}; `step` as in `_apart`.
    Returns: (heights of the words' heads [currency], sides as plotly names them), one a crossing.
    """
    at, tops, sides, taken = np.log10(along.grid) if along.log else along.grid, [], [], []
    for value, name in named.items():
        place, wide = np.interp(value, along.grid, at), LETTER * len(name) * np.ptp(at)
        found = []
        for side, left in (("bottom left", place - wide), ("bottom right", place)):
            under = (left <= at) & (at <= left + wide)
            top = min(along.lowest[under].min(initial=np.inf), np.interp(value, along.grid, along.lowest)) / step**0.3
            for start, end, other in taken:
                if start < left + wide and left < end and other / step < top < other * step:
                    top = other / step
            inside = at[0] <= left and left + wide <= at[-1]
            found.append((inside, top, side, left))
        _, top, side, left = max(found)
        taken.append((left, left + wide, top))
        tops.append(top)
        sides.append(side)
    return tops, sides


def comparison_data(along, routes):
    """What each trace of the comparison figure shows, in the order of its traces, as far as it ever changes.

    Parameters: `along` Along; `routes` in the order of their lines. Returns: list of dicts: a line for each route,
    names of lines and crossings, crossings, the present value. Traces keep their places as long as routes and grid are
    the same; a route that cannot is nan.
    """
    nothing = np.full(along.grid.shape, np.nan)
    lines = [along.unit_costs.get(route, nothing) for route in routes]
    turns = np.array([turn.at for turn in along.crossings])
    named = {turn.at: f"{turn.at:,.3g}: {title_of(turn.to).lower()}" for turn in along.crossings[:MOST_NAMED]}
    low, high = _round_ends(np.concatenate(lines))
    step = 10 ** (TALL * (high - low))
    tops, sides = _below(along, named, step)
    crossed = np.interp(turns, along.grid, along.lowest)
    # A thin line leads from a cross down to its name.
    down = {"type": "data", "symmetric": False, "array": [0.0] * turns.size, "width": 0, "thickness": 1, "color": INK}
    down["arrayminus"] = np.nan_to_num(np.append(crossed[: len(tops)] - tops, np.zeros(turns.size - len(tops))))
    at_ends = {
        "x": [along.grid[-1]] * len(routes) + [*named],
        "y": np.concatenate([_apart(lines, step), tops]),
        "text": [*map(title_of, routes), *named.values()],
        "textposition": ["middle right"] * len(routes) + sides,
    }
    return [
        *({"y": line} for line in lines),
        at_ends,
        {"x": turns, "y": crossed, "error_y": down},
        {"x": [along.now], "y": [np.interp(along.now, along.grid, along.lowest)]},
    ]


def comparison_range(traces):
    """Ends of the cost axis (decades, as plotly takes them): round numbers around all lines and their names.

    Parameters: `traces` from `comparison_data`. Round ends stand still while the lines move, so that a change is seen;
    nor are the axes drawn anew.
    """
    return _round_ends(np.concatenate([trace["y"] for trace in traces[:-2]]))


def _round_ends(costs):
    seen = costs[np.isfinite(costs)]
    if not seen.size:
        return [0.0, 4.0]
    room = (seen.max() / seen.min()) ** TALL
    first = np.searchsorted(ROUND, seen.min() / room, side="right") - 1
    last = np.searchsorted(ROUND, seen.max() * room)
    return np.log10(ROUND[[max(first, 0), min(last, len(ROUND) - 1)]]).tolist()


def comparison_figure(along, routes, title=""):
    """Unit cost along one input, one line a route.

    Parameters: as of `comparison_data`; `title` the message, where nothing beside the chart says it. Returns: go.Figure
    whose traces stand in the order of those data.
    """
    *lines, named, turns, chosen = traces = comparison_data(along, routes)
    shape = "hv" if along.counted else "linear"
    # Alone, or beside a panel's words.
    alone = {"key": "crosses: another route wins · " * bool(along.crossings) + "ring: now"} if title else {"t": 20}
    figure = canvas(title, along.title, along.unit, 380, log="xy" if along.log else "y", r=NAMES_PX, **alone)
    for route, costs in zip(routes, lines, strict=True):
        look, name = LOOKS[route], title_of(route)
        said = f"{name}<br>{along.title} %{{x:,.4~g}}: %{{y:,.0f}} {along.unit}"
        line(figure, along.grid, costs["y"], look.colour, look.dash, hover=said, shape=shape, name=name)
    # Names and marks are traces of a few points: text or markers at every point of a line redraw slowly.
    colours = [*(LOOKS[route].colour for route in routes), *[INK] * MOST_NAMED]
    names(figure, **named, colours=colours, textfont_size=12, name="names of routes and break-evens")
    said = "from %{x:,.4~g} on another route is cheapest"
    mark(figure, **turns, symbol="x-thin", size=13, hover=said, name="break-even")
    said = f"now: %{{x:,.4~g}} at %{{y:,.0f}} {along.unit}"
    mark(figure, **chosen, symbol="circle-open", size=15, hover=said, name="present value")
    # Costs as 5k and 100k, clear of the axis's name and of the corner below.
    # Plotly's check whether tick labels overflow the picture is dear, and there is room for all of them.
    quick = {"automargin": False, "ticklabeloverflow": "allow"}
    figure.update_xaxes(tickangle=0, **quick)
    return figure.update_yaxes(range=comparison_range(traces), tickformat="~s", ticksuffix="\u00a0\u00a0", **quick)
