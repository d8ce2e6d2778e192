"""Charts of mixed routes: what a day saved costs, and which part goes which way."""

from itertools import pairwise

import numpy as np
import pandas as pd

from pourprint.figures.look import INK, LOOKS, Chart, title_of
from pourprint.figures.strokes import canvas, line, mark, plain, write
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
    price, whole = -np.diff(costs) / np.diff(days), (costs[-1] - costs[0]) / (days[0] - days[-1])
    axes = ("days to delivery, people and machines for each route [d]", f"cost of the job [{money}]")
    figure = canvas(f"A day saved by mixing routes costs {whole:,.0f} {money} on average", *axes, 460, zero="y")
    line(figure, days, costs, width=1.5)
    pure = {next(iter(mix.plans)) for mix in mixes if len(mix.plans) == 1}
    for i, mix in enumerate(mixes):
        look, single = LOOKS[next(iter(mix.plans))], len(mix.plans) == 1
        colour, symbol = (look.colour, look.marker) if single else (INK, "circle-open")
        said = f"{plain(str(mix))}<br>%{{x:.1f}} days, %{{y:,.0f}} {money}"
        mark(figure, [mix.days], [mix.cost], colour, symbol, 13, said)
        last = i == len(mixes) - 1
        if single or len(mixes) <= FEW or last or i == 0:
            side = {"anchor": "left", "dy": 24} if last else {"dy": -20}
            write(figure, mix.days, mix.cost, _name(mix), ground=True, **side)
    beside = {r: at for r, at in (singles or {}).items() if at[1] <= 1.6 * days.max() and r not in pure}
    for route, (cost, late) in beside.items():
        look = LOOKS[route]
        mark(figure, [late], [cost], look.colour, look.marker + "-open", 11)
        side = {"anchor": "left", "dx": 12} if late < days.mean() else {"anchor": "right", "dx": -12}
        write(figure, late, cost, f"all by {title_of(route).lower()}", ground=True, **side)
    for (a, b), (c, d), each in zip(pairwise(days), pairwise(costs), price, strict=True):
        if a - b > 0.1 * np.ptp(days):
            write(figure, (a + b) / 2, (c + d) / 2, f"{each:,.0f} {money} a day", dy=14, ground=True)
    shown = [*days, *(late for _, late in beside.values())]
    room = 0.12 * np.ptp(shown)
    figure.update_xaxes(range=[min(shown) - room, max(shown) + room])
    return Chart(
        figure,
        f"From {days[0]:.1f} to {days[-1]:.1f} days the first day saved costs {price[0]:,.0f} {money}, the last "
        f"{price[-1]:,.0f}.",
        f"{len(mixes)} mixes as points, days on the horizontal and cost on the vertical axis, falling from "
        f"{costs[-1]:,.0f} {money} at {days[-1]:.1f} days to {costs[0]:,.0f} at {days[0]:.1f}. Filled marks are single "
        "routes, open rings mixes; what a day saved costs stands between them.",
        pd.DataFrame({"days": days, "cost": costs, "cost_of_a_day_saved": [np.nan, *price], "mix": map(str, mixes)}),
    )


def assignment_chart(mixes):
    """Which way each part goes in each mix: one column a mix, one row a part. Returns: Chart."""
    ways, used = [mix.routes_of() for mix in mixes], dict.fromkeys(route for mix in mixes for route in mix.plans)
    parts = [*ways[0]]
    stay = [part for part in parts if len({tuple(way[part]) for way in ways}) == 1]
    same = f"The same way in every mix: {len(stay)} of {len(parts)} parts"
    key = "   ".join(
        f'<span style="color:{LOOKS[r].colour}">{SYMBOLS[LOOKS[r].marker]} {title_of(r)}</span>' for r in used
    )
    title = same if mixes[1:] else f"One mix: {_name(mixes[0])}"
    figure = canvas(title, "mix, by its days to delivery [d]", rows=parts, row_px=38, key=key, r=20)
    table = {}
    for x, (mix, way) in enumerate(zip(mixes, ways, strict=True)):
        table[f"{mix.days:.1f} d"] = {p: ", ".join(f"{n} × {title_of(r)}" for r, n in way[p].items()) for p in parts}
        for part in parts:
            for i, (route, pieces) in enumerate(way[part].items()):
                look, width = LOOKS[route], len(way[part])
                said = {"text": [str(pieces) if width > 1 else ""], "textposition": "middle right"}
                hover = f"{plain(part)}: {pieces} by {title_of(route).lower()}"
                at, size = x + 0.3 * (i - (width - 1) / 2), 16 if width == 1 else 13
                mark(figure, [at], [part], look.colour, look.marker, size, hover, mode="markers+text", **said)
    ticks = {"tickvals": list(range(len(mixes))), "ticktext": [f"{mix.days:.1f}" for mix in mixes]}
    figure.update_xaxes(range=[-0.6, len(mixes) - 0.4], **ticks)
    others = "; the others change" if len(stay) < len(parts) else ""
    shapes = ", ".join(f"{LOOKS[route].marker.replace('-', ' ')} {title_of(route).lower()}" for route in used)
    return Chart(
        figure,
        f"By the same routes in every mix: {', '.join(stay).replace('_', ' ')}{others}."
        if stay
        else "Every part changes its route in one of these mixes.",
        f"A grid of {len(parts)} parts by {len(mixes)} mixes; colour and shape tell the route: {shapes}.",
        pd.DataFrame(table).rename_axis("part"),
    )
