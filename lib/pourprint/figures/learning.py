"""Repeat orders: learning curves, what falls due again, and from where a die pays."""

import numpy as np
import pandas as pd

from pourprint.decide.learning import SHARES, Curve, repeats
from pourprint.figures.look import INK, LOOKS, ROUND, SERIES, Chart, counted, tint, title_of
from pourprint.figures.strokes import bars, canvas, line, mark, write

DIE = ("printed_pattern", "tooled_pattern")  # the routes without and with one


def learning_chart(rate, pieces=32):
    """Both forms of the learning curve of one rate: mean time of the first n pieces. Returns: Chart."""
    n, table = np.arange(1, pieces + 1), {}
    first, second = (float(Curve(rate, form).total(pieces)) for form in ("average", "unit"))
    total = f"{counted(pieces, 'piece')} in {first:.1f}"
    title = f"“{rate:.0%} curve”: {total} or {second:.1f} times the time of the first"
    figure = canvas(title, "pieces made", "mean time a piece [% of the first]", 360, zero="x")
    names = {"average": "average form (Wright)", "unit": "unit form (Crawford)"}
    for (form, name), look in zip(names.items(), SERIES, strict=False):
        table[name] = 100 * Curve(rate, form).mean(n)
        line(figure, n, table[name], *look, hover=name + ", %{x} pieces: %{y:.1f}%")
        write(figure, n[-1], table[name][-1], name, look[0], "right", dy=-14)
    figure.update_yaxes(range=[0, 105])
    shown = pd.DataFrame(table, index=pd.Index(n, name="pieces"))
    return Chart(
        figure,
        "The first number is the average form's, the second the unit form's: ask which form a rate belongs to.",
        f"Two falling lines over 1 to {pieces} pieces, both from 100%: the average form falls faster.",
        shown.loc[[i for i in shown.index if i & (i - 1) == 0]],
    )


def repeats_chart(plan, orders):
    """Cost of a kit over so many repeat orders of a Plan, by how often work falls due. Returns: Chart."""
    table, noun, currency = repeats(plan, orders), plan.job.kit.noun, plan.rates.currency
    (first, last), many = table["unit_cost"].iloc[[0, -1]], counted(orders, "order")
    title = f"After {many} a {noun} has cost {last / first:.0%} of the first order's"
    figure = canvas(title, "orders so far", f"{currency} a {noun}")
    below, lowest = np.zeros(orders), 0.0
    for i, (share, hatch) in enumerate(zip(reversed(SHARES), ("x", "/", ".", ""), strict=True)):
        y, colour = table[share].to_numpy(), tint("#0072B2", 0.2 + 0.2 * i)
        bars(figure, y, table.index, colour, hatch, hover=share + ": %{y:,.0f}", upright=True)
        if y[0] > 0:  # thin pieces lie close together, and their names must not
            at = max(below[-1] + y[-1] / 2, lowest)
            write(figure, orders + 0.5, at, share.replace(", ", ",<br>"), anchor="left", align="left")
            lowest = at + (0.14 if ", " in share else 0.07) * first
        below = below + y
    figure.update_xaxes(tickvals=list(table.index), range=[0.4, 1.35 * orders + 1])
    return Chart(
        figure,
        f"After {many} a {noun} has cost {last:,.0f} {currency} instead of {first:,.0f}: what is done once is "
        "shared out, the rest falls due again with every order.",
        f"Stacked bars of the cost of a {noun} after 1 to {orders} orders; the part done once a job shrinks.",
        table,
    )


def die_chart(plain, learned, currency, noun):
    """Unit cost over quantity without and with a die, and where the die pays.

    Parameters: `plain` DiePays; `learned` DiePays with a learning curve, drawn thin; `currency` of
    their costs; `noun` "kit" or "piece". Returns: Chart.
    """
    pays = _pays(plain, noun)
    axes, key = (f"{noun}s wanted", f"{currency} a {noun}"), "thin lines: with learning"
    title = f"The die of the tooled pattern pays {pays}, with learning {_pays(learned, noun)}"
    figure = canvas(title, *axes, 420, log="xy", key=key, r=35)
    table = {}
    for found, width, more in ((plain, 2.5, ""), (learned, 1.2, ", learning")):
        for route, cost in zip(DIE, (found.without, found.with_die), strict=True):
            look = LOOKS[route]
            line(figure, found.quantities, cost, look.colour, look.dash, width, shape="hv")
            table[title_of(route) + more] = cost
            if not more:
                write(figure, found.quantities[0], cost[0], title_of(route), look.colour, "left", dy=12)
        if found.pays_from:
            cost = found.with_die[np.searchsorted(found.quantities, found.pays_from)]
            side = "bottom left" if more else "top right"
            text = {"text": [f"from {found.pays_from}{more}"], "textposition": side, "mode": "markers+text"}
            mark(figure, [found.pays_from], [cost], INK, "x-thin", 13, **text)
    shown = pd.DataFrame(table, index=pd.Index(plain.quantities, name=f"{noun}s"))
    return Chart(
        figure,
        "Learning moves where it pays, since hands learn on both sides. Failures are left out.",
        "Falling lines over quantity, both axes logarithmic: with a die the cost begins high and falls below the other "
        f"{pays}; thin lines include learning.",
        shown.loc[[int(n) for n in ROUND if n in shown.index]],
    )


def _pays(found, noun):
    """From where a die pays, in words."""
    some = f"the first {noun}" if found.pays_from == 1 else f"{found.pays_from} {noun}s"
    return f"from {some} on" if found.pays_from else f"nowhere up to {counted(found.quantities[-1], noun)}"
