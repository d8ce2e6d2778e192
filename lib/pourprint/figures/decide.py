"""Charts of the decision: the map of the best route, and how sure the choice is."""

import numpy as np
import plotly.graph_objects as go

from pourprint.decide.information import expected_regret, probability_best
from pourprint.decide.inputs import in_words
from pourprint.decide.map import NOBODY, PRICE
from pourprint.figures.look import INK, LOOKS, Chart, styled, tint, title_of
from pourprint.routes import ROUTES

ROUTE_HATCH = dict(zip(ROUTES, ("", "/", ".", "x"), strict=True))
FILL = 0.6  # share of white in a route's colour where text stands on it
DOTS = 14  # marks across a map: they tell regions apart without colour
SMALLEST = 3  # cells from a region's middle to its border: a smaller region is named beside it


def _name(route):
    return route if route == NOBODY else title_of(route)


def _axis_title(chart, key):
    """Name and unit of a map's axis."""
    plan = next(iter(chart.plans.values()))
    units = {
        PRICE: f"price of a day [{plan.rates.currency}/d]",
        "quantity": "kits wanted",
        "batch_size": "kits in a batch",
        "volume_cm3": "mean volume of a piece [cm³]",
    }
    return units.get(key) or f"{in_words(key)} [{plan.rates.entries[key].unit}]"


def _spreads(values):
    """Whether an axis is laid out logarithmically: its steps grow."""
    steps = np.diff(values)
    return bool(values[0] > 0 and steps[-1] > 3 * steps[0])


def round_numbers():
    """0.0001, 0.0002, 0.0005, … 5 million: ticks of a logarithmic axis."""
    return [digit * 10.0**power for power in range(-4, 7) for digit in (1, 2, 5)]


def map_chart(chart):
    """The decision map: regions of the best route, their borders and names. Parameters: DecisionMap. Returns: Chart."""
    import pandas as pd

    routes, best = chart.routes, chart.best
    colours = [tint(LOOKS[route].colour, FILL) if route in LOOKS else "#FFFFFF" for route in routes]
    steps = np.repeat(np.linspace(0, 1, len(routes) + 1), 2)[1:-1]
    costs = np.stack([*chart.costs.values(), np.full(best.shape, np.nan)])
    lowest = np.take_along_axis(costs, best[None], axis=0)[0]
    across, up = _axis_title(chart, chart.x), _axis_title(chart, chart.y)
    money = next(iter(chart.plans.values())).rates.currency
    figure = go.Figure(
        go.Heatmap(
            x=chart.xs,
            y=chart.ys,
            z=best,
            zmin=-0.5,
            zmax=len(routes) - 0.5,
            colorscale=[[float(at), colour] for at, colour in zip(steps, np.repeat(colours, 2), strict=True)],
            showscale=False,
            customdata=np.stack([np.array([_name(r) for r in routes])[best], lowest, 100 * chart.margin], axis=-1),
            hovertemplate=f"{across}: %{{x:,.4~g}}<br>{up}: %{{y:,.4~g}}<br><b>%{{customdata[0]}}</b>: "
            f"%{{customdata[1]:,.0f}} {money} in all, %{{customdata[2]:.1f}} % below the next<extra></extra>",
            name="best route",
        )
    )
    styled(figure, height=520)  # before the names are added, which it would move
    _add_marks(figure, chart)
    for pair, segments in chart.borders.items():
        x, y = (np.column_stack([segments[..., i], np.full(len(segments), np.nan)]).ravel() for i in (0, 1))
        name = " | ".join(map(_name, pair))
        figure.add_scatter(x=x, y=y, mode="lines", line={"color": INK, "width": 2}, name=name, hoverinfo="skip")
    scales = [_spreads(chart.xs), _spreads(chart.ys)]
    for i in np.unique(best):
        _add_name(figure, chart, i, scales)
    for update, name, values, log in (
        (figure.update_xaxes, across, chart.xs, scales[0]),
        (figure.update_yaxes, up, chart.ys, scales[1]),
    ):
        ends = values[[0, -1]].astype(float)
        update(title_text=name, type="log" if log else "linear", range=list(np.log10(ends) if log else ends))
        if log:
            update(tickvals=round_numbers())
    shares = chart.shares()
    first = next(iter(shares))
    figure.update_layout(title=f"{_name(first)} is best on {shares[first]:.0%} of this map")
    parts = [
        f"{_name(route)} {share:.0%}" if share >= 0.01 else f"{_name(route)} below 1 %"
        for route, share in shares.items()
    ]
    rows = np.unique(np.linspace(0, len(chart.xs) - 1, 10).round().astype(int))
    table = pd.DataFrame([(chart.xs[i], _along(chart, i)) for i in rows], columns=[across, f"best, by {up}"])
    near = np.mean(chart.margin < 0.05)
    return Chart(
        figure,
        f"Best route, by share of the map: {', '.join(parts)}. On {near:.0%} of it the next is less than 5 % dearer: "
        "there, let something else than cost decide.",
        f"A map with {across} across and {up} upwards. Each region has its route's colour and marks and is named; dark "
        "lines are the borders, where two routes cost the same. The table reads the map upwards at some places.",
        table.set_index(across),
    )


def _along(chart, column):
    """Who is best up one column of the map, as words."""
    winners = chart.best[:, column]
    turns = np.flatnonzero(np.r_[True, np.diff(winners) != 0])
    return "; ".join(f"from {chart.ys[j]:,.4g}: {_name(chart.routes[winners[j]])}" for j in turns)


def _add_marks(figure, chart):
    """Each route's own mark, spread over its region."""
    rows, columns = (np.arange(n // DOTS // 2, n, max(1, n // DOTS)) for n in chart.best.shape)
    j, i = (grid.ravel() for grid in np.meshgrid(rows, columns, indexing="ij"))
    for k, route in enumerate(chart.routes[:-1]):
        here = chart.best[j, i] == k
        figure.add_scatter(
            x=chart.xs[i[here]],
            y=chart.ys[j[here]],
            mode="markers",
            marker={"symbol": LOOKS[route].marker + "-open", "size": 6, "color": LOOKS[route].colour},
            hoverinfo="skip",
            name=f"marks of {title_of(route)}",
        )


def _add_name(figure, chart, i, scales):
    """A region's name: in its widest place, or beside it when it is small."""
    from scipy.ndimage import distance_transform_cdt

    depth = distance_transform_cdt(np.pad(chart.best == i, 1))[1:-1, 1:-1]
    widest = np.argwhere(depth == depth.max())
    row, column = widest[len(widest) // 2]
    place = [
        float(np.log10(v)) if log else float(v)
        for v, log in zip((chart.xs[column], chart.ys[row]), scales, strict=True)
    ]
    beside = {"ax": 60 if column < len(chart.xs) / 2 else -60, "ay": 45 if row > len(chart.ys) / 2 else -45}
    small = depth.max() <= SMALLEST
    figure.add_annotation(
        x=place[0],
        y=place[1],
        text=f"<b>{_name(chart.routes[i])}</b>",
        showarrow=bool(small),
        arrowcolor=INK,
        bgcolor="rgba(255,255,255,0.75)",
        **(beside if small else {}),
    )


def sureness_chart(samples, prices, currency="EUR"):
    """How often each route is best among the draws, over the price of a day.

    Parameters: Samples; `prices` (k,) [currency/d], rising; `currency`. Returns: Chart.
    """
    import pandas as pd

    prices = np.asarray(prices, dtype=float)
    shares = {route: np.asarray(share) for route, share in probability_best(samples, prices).items()}
    shown = {route: share for route, share in shares.items() if share.max() > 0}
    figure, below = styled(go.Figure(), height=420), np.zeros(prices.shape)
    for route, share in shown.items():
        look = LOOKS[route]
        figure.add_scatter(
            x=prices,
            y=100 * share,
            stackgroup="draws",
            mode="lines",
            line={"color": look.colour, "width": 2},
            fillcolor=tint(look.colour, FILL),
            fillpattern={
                "shape": ROUTE_HATCH[route],
                "fgcolor": look.colour,
                "bgcolor": tint(look.colour, FILL),
                "size": 9,
                "solidity": 0.1,
            },
            name=title_of(route),
            hovertemplate=title_of(route) + ": best in %{y:.0f} % of the draws at %{x:,.0f} a day<extra></extra>",
        )
        widest = int(np.argmax(share * (1 - np.abs(np.linspace(-0.9, 0.9, prices.size)) ** 4)))
        if share[widest] > 0.05:
            figure.add_annotation(
                x=prices[widest],
                y=100 * (below[widest] + share[widest] / 2),
                text=f"<b>{title_of(route)}</b>",
                showarrow=False,
                bgcolor="rgba(255,255,255,0.75)",
                xanchor="left" if widest < prices.size / 4 else "right" if widest > prices.size * 3 / 4 else "center",
            )
        below = below + share
    figure.update_xaxes(title_text=f"price of a day [{currency}/d]", range=[prices[0], prices[-1]])
    figure.update_yaxes(title_text="best in so many of 100 draws", range=[0, 100])
    least = int(np.argmin(np.max([*shown.values()], axis=0)))
    leader = max(shown, key=lambda route: shown[route][least])
    figure.update_layout(
        title=f"Least sure at {prices[least]:,.0f} {currency} a day: {title_of(leader)} in {shown[leader][least]:.0%}"
    )
    table = pd.DataFrame({title_of(route): 100 * share for route, share in shares.items()}, index=prices)
    table.index.name = f"{currency} a day"
    regret = expected_regret(samples, float(prices[least]))
    choice = min(regret, key=regret.get)
    return Chart(
        figure,
        f"At {prices[least]:,.0f} {currency} a day the choice is least sure: {title_of(leader).lower()} is best in "
        f"{shown[leader][least]:.0%} of {samples.n} draws. Taking the lowest mean there "
        f"({title_of(choice).lower()}) costs on average {regret[choice]:,.0f} {currency} a job more than hindsight.",
        "Shares of the draws in which each route is cheapest, stacked from 0 to 100, against the price of a day; each "
        "route has its colour and pattern and is named in its area.",
        table.iloc[:: max(1, len(table) // 10)],
    )
