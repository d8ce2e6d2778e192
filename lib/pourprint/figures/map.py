"""The decision map: which route is best where."""

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pandas as pd

from pourprint.decide.inputs import PRICE
from pourprint.decide.rivals import NOBODY
from pourprint.figures.look import FILL, LOOKS, Chart, tint, title_of
from pourprint.figures.strokes import canvas, line, mark, roomiest, write
from pourprint.ledger.entries import in_words

PLACES = 61  # along an axis, evenly, for marks and names


def _name(route):
    return route if route == NOBODY else title_of(route)


def _axis_title(chart, key):
    """Name and unit of a map's axis."""
    plan = next(iter(chart.rivals.plans.values()))
    units = {
        PRICE: f"price of a day [{plan.rates.currency}/d]",
        "quantity": f"{plan.job.kit.noun}s wanted",
        "batch_size": f"{plan.job.kit.noun}s in a batch",
        "volume_cm3": "mean volume of a piece [cm³]",
    }
    return units.get(key) or f"{in_words(key)} [{plan.rates.entries[key].unit}]"


def _spreads(values):
    """Whether an axis is laid out logarithmically: its steps grow."""
    steps = np.diff(values)
    return bool(values[0] > 0 and steps[-1] > 3 * steps[0])


def _evenly(values):
    """Places spread evenly along an axis, and the index of the value that is nearest to each: two arrays."""
    places = (np.geomspace if _spreads(values) else np.linspace)(values[0], values[-1], PLACES)
    return places, np.abs(np.asarray(values)[:, None] - places).argmin(axis=0)


def map_chart(chart):
    """The decision map: regions of the best route, their borders and names. Parameters: DecisionMap. Returns: Chart."""
    routes, best = chart.routes, chart.best
    across, up = _axis_title(chart, chart.x), _axis_title(chart, chart.y)
    log = "".join(name for name, values in (("x", chart.xs), ("y", chart.ys)) if _spreads(values))
    shares = chart.shares()
    first = next(iter(shares))
    figure = canvas(f"{_name(first)} is best on {shares[first]:.0%} of this map", across, up, 520, log=log)
    colours = [tint(LOOKS[route].colour, FILL) if route in LOOKS else "#FFFFFF" for route in routes]
    steps = np.repeat(np.linspace(0, 1, len(routes) + 1), 2)[1:-1]
    lowest = np.where(best < len(routes) - 1, chart.costs.min(axis=0), np.nan)
    money = next(iter(chart.rivals.plans.values())).rates.currency
    scale = [[float(at), colour] for at, colour in zip(steps, np.repeat(colours, 2), strict=True)]
    figure.add_heatmap(
        x=chart.xs, y=chart.ys, z=best, zmin=-0.5, zmax=len(routes) - 0.5, colorscale=scale, showscale=False,
        customdata=np.stack([np.array([_name(r) for r in routes])[best], lowest, 100 * chart.margin], axis=-1),
        name="best route", hovertemplate=f"{across}: %{{x:,.4~g}}<br>{up}: %{{y:,.4~g}}<br><b>%{{customdata[0]}}</b>: "
        f"%{{customdata[1]:,.0f}} {money} in all, %{{customdata[2]:.1f}}% below the next<extra></extra>",
    )  # fmt: skip
    for i, (x, y) in _cut_cells(chart).items():  # the points' own cells end half-way, borders where they lie
        line(figure, x, y, colours[i], width=0, fill="toself", fillcolor=colours[i])
    for pair, segments in chart.borders.items():
        x, y = (np.column_stack([segments[..., i], np.full(len(segments), np.nan)]).ravel() for i in (0, 1))
        line(figure, x, y, "#222223", width=2, name=" | ".join(map(_name, pair)))
    _add_words(figure, chart)
    for name, update, values in (("x", figure.update_xaxes, chart.xs), ("y", figure.update_yaxes, chart.ys)):
        ends = values[[0, -1]].astype(float)
        update(range=list(np.log10(ends) if name in log else ends), type="log" if name in log else "linear")
    parts = [f"{_name(route)} {share:.0%}" if share >= 0.01 else f"{_name(route)} below 1%"
             for route, share in shares.items()]  # fmt: skip
    rows = np.unique(np.linspace(0, len(chart.xs) - 1, 10).round().astype(int))
    table = pd.DataFrame([(chart.xs[i], _along(chart, i)) for i in rows], columns=[across, f"best, by {up}"])
    return Chart(
        figure,
        f"By share of the map: {', '.join(parts)}. On {np.mean(chart.margin < 0.05):.0%} of it the next is less than "
        "5% dearer: there, let something else than cost decide.",
        f"A map with {across} across and {up} upwards. Each region has its route's colour and marks and is named; dark "
        "lines are the borders, where two routes cost the same. The table reads the map upwards at some places.",
        table.set_index(across),
    )


def _cut_cells(chart):
    """The pieces of all cells that borders cut: {index of the best route: (x, y) of polygons, nan between them}."""
    found, gap = defaultdict(list), (np.nan, np.nan)
    for (row, column), crossings in chart.crossings.items():
        pairs = [pair for pair, _ in crossings]
        meeting = [point for pair, point in crossings if pairs.count(pair) != 2]  # in the middle, as borders do
        strips = defaultdict(list)
        for arc in _arcs(chart, row, column, crossings):
            places, owners = zip(*arc, strict=True)
            owner = min(set.intersection(*owners), default=len(chart.routes) - 1)
            if owners[0] == owners[-1] and pairs.count(tuple(sorted(owners[0]))) == 2:  # cut off by one border
                found[owner] += [*places, gap]
            elif meeting:
                found[owner] += [*places, np.mean(meeting, axis=0), gap]
            else:  # between two borders, with the arc on the other side
                strips[owner] += places
        for owner, places in strips.items():
            found[owner] += [*places, gap]
    return {owner: np.transpose(corners) for owner, corners in found.items()}


def _arcs(chart, row, column, crossings):
    """The rim of a cell from each crossing to the next: [(place, routes that may be best there), …], ends included."""
    x, y = chart.xs[column : column + 2].astype(float), chart.ys[row : row + 2].astype(float)
    rim = [((x[i], y[j]), {chart.best[row + j, column + i]}) for j in (0, 1) for i in (0, 1)]
    rim += [(tuple(point), {*pair}) for pair, point in crossings]
    rim.sort(key=lambda one: np.arctan2((one[0][0] - x.mean()) / np.ptp(x), (one[0][1] - y.mean()) / np.ptp(y)))
    cuts = [i for i, (_, owners) in enumerate(rim) if len(owners) > 1]
    return [(rim + rim)[i : j + 1] for i, j in pairwise([*cuts, cuts[0] + len(rim)])]


def _along(chart, column):
    """Who is best up one column of the map, as words."""
    winners = chart.best[:, column]
    turns = np.flatnonzero(np.r_[True, np.diff(winners) != 0])
    said = [f"{y:,.0f}" if y >= 1000 else f"{y:.4g}" for y in chart.ys]
    return "; ".join(f"from {said[j]}: {_name(chart.routes[winners[j]])}" for j in turns)


def _add_words(figure, chart):
    """Each route's own mark, which tells its region without colour, spread over it, and in its widest place its name,
    or beside it where it is small."""
    (xs, columns), (ys, rows) = map(_evenly, (chart.xs, chart.ys))
    best = chart.best[np.ix_(rows, columns)]
    for i in np.unique(best):
        route = chart.routes[i]
        if route in LOOKS:
            j, k = np.nonzero(best[2::4, 2::4] == i)
            thin, look = {"line": {"width": 1}}, LOOKS[route]
            mark(figure, xs[2::4][k], ys[2::4][j], look.colour, look.marker + "-open", 6, marker=thin)
        row, column, enough = roomiest(best == i)
        down = 30 + 26 * i  # another one for each route: names of two small regions do not meet
        beside = (70 if column < PLACES / 2 else -70, down if row > PLACES / 2 else -down)
        arrow = None if enough else beside
        write(figure, float(xs[column]), float(ys[row]), f"<b>{_name(route)}</b>", ground=True, arrow=arrow)
