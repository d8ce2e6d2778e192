"""How sure a choice is, and what is worth measuring before it."""

import numpy as np
import pandas as pd

from pourprint.decide.information import expected_regret, probability_best
from pourprint.figures.look import FILL, INK, LOOKS, Chart, sampled, tint, title_of
from pourprint.figures.strokes import bars, canvas, line, roomiest, write
from pourprint.ledger.entries import in_words

MOST_BARS = 10


def sureness_chart(samples, prices, currency, account="without failures"):
    """How often each route is best among the draws, over the price of a day.

    Parameters: Samples; `prices` (k,) [currency/d], rising; `currency`; `account` whether the draws hold
    failures, as words. Returns: Chart.
    """
    prices = np.asarray(prices, dtype=float)
    shares = {route: np.asarray(share) for route, share in probability_best(samples, prices).items()}
    shown = {route: share for route, share in shares.items() if share.max() > 0}
    least = int(np.argmin(np.max([*shown.values()], axis=0)))
    leader = max(shown, key=lambda route: shown[route][least])
    surest = f"{title_of(leader).lower()} is best in {shown[leader][least]:.0%}"
    title = f"{account.capitalize()} the choice is least sure at {prices[least]:,.0f} {currency} a day: {surest}"
    figure = canvas(title, f"price of a day [{currency}/d]", "best in so many of 100 draws", 420)
    below = np.zeros(prices.shape)
    for route, share in shown.items():
        name, look, fill = title_of(route), LOOKS[route], tint(LOOKS[route].colour, FILL)
        pattern = {"shape": look.hatch, "fgcolor": look.colour, "bgcolor": fill, "size": 9, "solidity": 0.1}
        area = {"stackgroup": "draws", "fillcolor": fill, "fillpattern": pattern, "name": name}
        said = name + ": best in %{y:.0f}% of the draws at %{x:,.0f} a day"
        line(figure, prices, 100 * share, look.colour, width=2, hover=said, **area)
        heights, below = np.linspace(0, 1, 101)[:, None], below + share
        row, column, enough = roomiest((below - share < heights) & (heights < below))
        if share.max() > 0.01:
            arrow = None if enough else (-60, 40 if row > 50 else -40)
            write(figure, prices[column], row, f"<b>{name}</b>", ground=True, arrow=arrow)
    figure.update_xaxes(range=[prices[0], prices[-1]]).update_yaxes(range=[0, 100])
    index = pd.Index(prices, name=f"{currency} a day")
    table = pd.DataFrame({title_of(route): 100 * share for route, share in shares.items()}, index=index)
    regret = expected_regret(samples, float(prices[least]))
    choice = min(regret, key=regret.get)
    return Chart(
        figure,
        f"In {samples.n:,} draws {account}, taking the lowest mean where the choice is least sure "
        f"({title_of(choice).lower()}) costs on average {regret[choice]:,.0f} {currency} a job more than hindsight.",
        "Shares of the draws in which each route is cheapest, stacked from 0 to 100, against the price of a day; each "
        "route has its colour and pattern and is named in its area.",
        sampled(table),
    )


def information_chart(information):
    """What it is worth to know, before choosing. Parameters: Information. Returns: Chart."""
    table = information.table()
    table = table[(table["worth"] > 0) | (table.index == "everything")]
    table = table.sort_values("worth", ascending=False, kind="stable")
    shown, money = table.head(MOST_BARS), information.currency
    told = (shown["worth"] > 2 * shown["standard_error"]).to_numpy()
    alone = shown.index.isin([in_words(key) for key in information.inputs])
    colours = np.where(told, np.where(alone, "#0072B2", "#56B4E9"), "#9A9A9A").tolist()
    best = next((key for key, worth in information.inputs.items() if worth.told), None)
    title = f"Measure first: {in_words(best)}" if best else "No single input is worth measuring first"
    key = "dark: one input · pale: several together · thin line: two standard errors · stripes: not told from nothing"
    across = f"worth of knowing it before choosing [{money} for this job]"
    figure = canvas(title, across, rows=shown.index, r=20, key=key)
    error = {"array": 2 * shown["standard_error"], "color": INK, "width": 4}
    hatches, said = np.where(told, "", "/").tolist(), f"%{{y}}: %{{x:,.0f}} {money}"
    bars(figure, shown["worth"], shown.index, colours, hatches, hover=said, error_x=error, name="worth of knowing")
    return Chart(
        figure,
        information.measure_first(),
        "Pale bars for knowing everything and for all numbers of a section of the ledger together, dark ones for each "
        "input alone, as far as they are worth anything; lines are two standard errors, and striped grey bars are not "
        "told apart from nothing.",
        table,
    )
