"""Make or buy over a year: from how many hours on a machine of one's own pays."""

import numpy as np
import pandas as pd

from pourprint.figures.look import INK, SERIES, Chart
from pourprint.figures.strokes import canvas, line, mark, plain, write


def own_or_buy_chart(found):
    """Cost of a year with a machine of one's own and of buying, over the hours that the work would take on it.

    Parameters: `found` OwnOrBuy; shown are twice the hours at which it pays, or a year's opening hours. Returns: Chart.
    """
    hours = found.made.rates.hours
    open_h = 52 * len(hours.days) * hours.day_h
    pays = found.pays_from_h
    most_h = 2 * pays if np.isfinite(pays) else open_h
    at = np.linspace(0, most_h, 41)
    money, machine = found.made.rates.currency, plain(found.machine)
    title = f"A {machine} of one's own pays from {pays:,.0f} hours a year on" if np.isfinite(pays) else str(found)
    figure = canvas(title, f"hours a year that the work takes on a {machine}", f"{money} a year", zero="xy")
    names = ("machine of one's own", "bought")
    own, bought = found.costs(at)
    for name, cost, look in zip(names, (own, bought), SERIES, strict=False):
        line(figure, at, cost, *look, hover=name + f", %{{x:,.0f}} h: %{{y:,.0f}} {money}")
        upper = cost[-1] == max(own[-1], bought[-1])  # a name clear of a rising line: left above it, or right below
        x, y, side = (at[-1], cost[-1], "right") if upper else (at[26], cost[26], "left")
        write(figure, x, y, name, look[0], side, dy=14 if upper else -14)
    if 0 < pays <= most_h:
        cost = float(found.costs(pays)[0])
        mark(figure, [pays], [cost], INK, hover=f"{pays:,.0f} h a year: {cost:,.0f} {money} both ways")
    table = pd.DataFrame(dict(zip(names, (own, bought), strict=True)), index=pd.Index(at, name="hours a year"))
    return Chart(
        figure,
        f"{found} With one shift the lab is open {open_h:,.0f} hours a year.",
        f"Two rising lines over 0 to {most_h:,.0f} hours a year: the machine of one's own begins at {found.fixed:,.0f} "
        f"{money} and rises less than buying, which begins at nothing.",
        table.iloc[::10].round(0),
    )
