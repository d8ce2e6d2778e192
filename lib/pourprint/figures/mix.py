"""Charts of mixed routes: what a day saved costs, and which part goes which way."""

from itertools import pairwise

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, LOOKS, Chart, styled, title_of
from pourprint.ledger.errors import InputError

SYMBOLS = {"circle": "●", "square": "■", "diamond": "◆", "triangle-up": "▲"}
FEW = 4  # mixes that are all named


def _name(mix):
    """A mix by its routes, short: "pattern + metal", "tooled pattern + mould"; a single route by its title."""
    titles = [title_of(route) for route in mix.plans]
    return " + ".join(title.removeprefix("Printed ").lower() for title in titles) if len(titles) > 1 else titles[0]


def frontier_chart(mixes, singles=None):
    """Cost against days of the mixes of a frontier, and what each day saved costs. Needs two mixes or more.

    Parameters: `mixes` as from `Choices.frontier`; `singles` {route: (cost, days)} to draw beside them.
    Returns: Chart. Raises: InputError.
    """
    if len(mixes) < 2:
        raise InputError("a frontier needs two mixes or more: here the cheapest is the fastest, or none is possible.")
    days, costs = (np.array([getattr(mix, name) for mix in mixes]) for name in ("days", "cost"))
    money = next(iter(mixes[0].plans.values())).rates.currency
    price = -np.diff(costs) / np.diff(days)
    figure = styled(go.Figure(), height=460)
    figure.add_scatter(x=days, y=costs, mode="lines", line={"color": INK, "width": 1.5}, hoverinfo="skip")
    for mix in mixes:
        pure = LOOKS[next(iter(mix.plans))] if len(mix.plans) == 1 else None
        figure.add_scatter(
            x=[mix.days],
            y=[mix.cost],
            mode="markers",
            marker={"size": 13, "color": pure.colour if pure else "white", "symbol": pure.marker if pure else "circle"}
            | {"line": {"color": pure.colour if pure else INK, "width": 2}},
            hovertemplate=f"{mix}<br>%{{x:.1f}} days, %{{y:,.0f}} {money}<extra></extra>",
        )
    label = {"showarrow": False, "bgcolor": "rgba(255,255,255,0.8)", "borderpad": 1}
    for i, mix in enumerate(mixes):
        if len(mix.plans) == 1 or len(mixes) <= FEW or i in (0, len(mixes) - 1):
            last = i == len(mixes) - 1
            side = {"xanchor": "left", "yshift": 24} if last else {"yshift": -20}
            figure.add_annotation(x=mix.days, y=mix.cost, text=_name(mix), **side, **label)
    for route, (cost, late) in (singles or {}).items():
        if late <= 1.6 * days.max() and not any(route in mix.plans and len(mix.plans) == 1 for mix in mixes):
            look = LOOKS[route]
            marker = {"size": 11, "color": look.colour, "symbol": look.marker + "-open", "line": {"width": 2}}
            figure.add_scatter(x=[late], y=[cost], mode="markers", marker=marker, hoverinfo="skip")
            figure.add_annotation(x=late, y=cost, text=f"all by {title_of(route).lower()}", yshift=16, **label)
    span = days.max() - days.min()
    for (a, b), (c, d), each in zip(pairwise(days), pairwise(costs), price, strict=True):
        if a - b > 0.1 * span:
            text = f"{each:,.0f} {money} a day"
            figure.add_annotation(x=(a + b) / 2, y=(c + d) / 2, text=text, yshift=18, xanchor="left", **label)
    figure.update_xaxes(title_text="days to delivery, people and machines for each route", range=_padded(days, singles))
    figure.update_yaxes(title_text=f"cost of the job [{money}]", rangemode="tozero")
    whole = (costs[-1] - costs[0]) / (days[0] - days[-1])
    takeaway = (
        f"From {days[0]:.1f} to {days[-1]:.1f} days, a day saved costs {whole:,.0f} {money} on average: at first "
        f"{price[0]:,.0f}, at last {price[-1]:,.0f}."
    )
    figure.update_layout(title=f"A day saved by mixing routes costs {whole:,.0f} {money} on average")
    table = frontier_table(mixes)
    alt = (
        f"{len(mixes)} mixes as points, days on the horizontal and cost on the vertical axis, falling from "
        f"{costs[-1]:,.0f} {money} at {days[-1]:.1f} days to {costs[0]:,.0f} at {days[0]:.1f}. Filled marks are single "
        "routes, open rings mixes; what a day saved costs stands between them."
    )
    return Chart(figure, takeaway, alt, table)


def _padded(days, singles):
    shown = [late for _, late in (singles or {}).values() if late <= 1.6 * days.max()]
    low, high = min([days.min(), *shown]), max([days.max(), *shown])
    return [low - 0.12 * (high - low), high + 0.12 * (high - low)]


def frontier_table(mixes):
    """The mixes of a frontier as a pandas table: days, cost, what each day saved costs, and which part goes where."""
    import pandas as pd

    rows = []
    for before, mix in zip((None, *mixes), mixes, strict=False):
        a_day = np.nan if before is None else (mix.cost - before.cost) / (before.days - mix.days)
        rows.append({"days": mix.days, "cost": mix.cost, "cost_of_a_day_saved": a_day, "mix": str(mix)})
    return pd.DataFrame(rows)


def assignment_chart(mixes):
    """Which way each part goes in each mix: one column a mix, one row a part. Returns: Chart."""
    import pandas as pd

    parts = list(mixes[0].routes_of())
    figure, table = styled(go.Figure(), height=150 + 38 * len(parts)), {}
    for x, mix in enumerate(mixes):
        ways = mix.routes_of()
        table[f"{mix.days:.1f} d"] = {p: ", ".join(f"{n} × {title_of(r)}" for r, n in ways[p].items()) for p in parts}
        for part in parts:
            for i, (route, pieces) in enumerate(ways[part].items()):
                look, width = LOOKS[route], len(ways[part])
                figure.add_scatter(
                    x=[x + 0.28 * (i - (width - 1) / 2)],
                    y=[part],
                    mode="markers+text",
                    marker={"symbol": look.marker, "color": look.colour, "size": 19 if width == 1 else 15},
                    text=[str(pieces) if width > 1 else ""],
                    textposition="bottom center",
                    hovertemplate=f"{part}: {pieces} by {title_of(route).lower()}<extra></extra>",
                )
    used = dict.fromkeys(route for mix in mixes for route in mix.plans)
    key = "   ".join(
        f'<span style="color:{LOOKS[r].colour}">{SYMBOLS[LOOKS[r].marker]} {title_of(r)}</span>' for r in used
    )
    figure.update_xaxes(
        title_text="mix, by its days to delivery",
        tickvals=list(range(len(mixes))),
        ticktext=[f"{mix.days:.1f}" for mix in mixes],
        range=[-0.6, len(mixes) - 0.4],
    )
    figure.update_yaxes(autorange="reversed", showgrid=True)
    stay = [p for p in parts if len({tuple(mix.routes_of()[p]) for mix in mixes}) == 1]
    said = (
        f"The same way in every mix: {len(stay)} of {len(parts)} parts" if mixes[1:] else f"One mix: {_name(mixes[0])}"
    )
    title = {"text": f"{said}<br><sup>{key}</sup>"}
    figure.update_layout(title=title, margin={"l": 120, "t": 75})
    takeaway = (
        f"By the same routes in every mix: {', '.join(stay)}{'; the others change' if len(stay) < len(parts) else ''}."
        if stay
        else "Every part changes its route in one of these mixes."
    )
    alt = f"A grid of {len(parts)} parts by {len(mixes)} mixes; colour and shape tell the route: {_ways(used)}."
    return Chart(figure, takeaway, alt, pd.DataFrame(table).rename_axis("part"))


def _ways(routes):
    return ", ".join(f"{LOOKS[route].marker.replace('-', ' ')} {title_of(route).lower()}" for route in routes)
