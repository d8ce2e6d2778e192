"""What a lab's log says of one number of its card."""

import numpy as np

from pourprint.figures.look import INK, SERIES, Chart, counted
from pourprint.figures.strokes import canvas, line, write
from pourprint.ledger.entries import Kind, in_words
from pourprint.ledger.lab_log import update_table


def belief_chart(update):
    """Prior, data and posterior of one number of the card. Parameters: `update` an Update of `lab_log.updates`."""
    prior, posterior = update.prior.distribution(), update.posterior.distribution()
    low = min(prior.ppf(0.002), posterior.ppf(0.001), update.seen)
    high = max(prior.ppf(0.998), posterior.ppf(0.999), update.seen)
    is_yield = update.entry.kind is Kind.YIELD
    high = min(high, 1.0) if is_yield else high
    x, (old, new) = np.linspace(low, high, 301), (update.entry, update.updated)
    unit, name = "" if old.unit == "-" else f" {old.unit}", "yield" if is_yield else "time"
    moves = f"the log moves the mean from {old.value:.3g} to {new.value:.3g}{unit}"
    title = f"{in_words(update.key).capitalize()}: {moves}"
    figure = canvas(title, f"{in_words(update.key)} [{old.unit}]", "density of belief")
    top, first = 0.0, min(prior, posterior, key=lambda belief: belief.mean())
    for text, belief, (colour, dash) in (
        ("the table's<br>range", prior, (SERIES[0][0], "dash")),
        ("after<br>the log", posterior, (SERIES[1][0], "solid")),
    ):
        y = belief.pdf(x)
        y = np.where(np.isfinite(y), y, np.nan)
        top = max(top, float(np.nanmax(y)))
        line(figure, x, y, colour, dash)
        # Named on its outer flank, two thirds up, where no other line runs.
        tall = np.flatnonzero(y > 0.67 * np.nanmax(y))
        at, side, off = (tall[0], "right", -8) if belief is first else (tall[-1], "left", 8)
        write(figure, x[at], y[at], text, colour, side, dx=off)
    pieces, amount = update.data
    timed = f"{counted(pieces, 'piece')} took {amount:.2f}{unit}"
    said = f"{amount:g} of {pieces} failed" if is_yield else timed
    figure.add_vline(x=update.seen, line={"color": INK, "dash": "dot", "width": 2})
    write(figure, update.seen, 1, f"the log alone: {said}", yref="paper", yanchor="bottom")
    room = 0.25 * (high - low)  # for the names on the outer flanks
    figure.update_xaxes(range=[low - room, high + room])
    figure.update_yaxes(range=[0, 1.1 * top]).update_layout(margin={"t": figure.layout.margin.t + 16})
    worth = "about one piece" if update.prior.worth < 1.5 else counted(round(update.prior.worth), "piece")
    return Chart(
        figure,
        f"The table's range is worth {worth}, the log {pieces}: the range {old.low:.3g} to {old.high:.3g} becomes "
        f"{new.low:.3g} to {new.high:.3g}{unit}.",
        f"Two curves over the {name}: dashed, what the table's range says, with its mean at {old.value:.3g}; solid and "
        f"narrower, what it says together with the log, mean {new.value:.3g}. A dotted line marks the log alone, "
        f"{update.seen:.3g}.",
        update_table({update.key: update}).T,
    )
