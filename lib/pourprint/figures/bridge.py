"""From one answer to another: what each change is worth."""

from itertools import pairwise

from pourprint.decide.bridge import bridge_table
from pourprint.figures.look import METAL, Chart, tint
from pourprint.figures.strokes import bars, canvas, plain
from pourprint.ledger.errors import InputError


def bridge_chart(piers, currency, noun):
    """A bridge as bars: the first answer, each change from where the one before it ends, the second answer: Chart.

    Parameters: `piers` as from `bridge`; `currency` of their costs; `noun` "kit" or "piece".
    Raises: InputError where nothing changed.
    """
    if len(piers) < 2:
        raise InputError("nothing changed between the two: there is no bridge to draw.")
    money, first, last = f"{currency} a {noun}", piers[0].cost, piers[-1].cost
    moves = [(f"{i}. {now.what}", before.cost, now.cost) for i, (before, now) in enumerate(pairwise(piers), start=1)]
    most, start, end = max(moves, key=lambda move: abs(move[2] - move[1]))
    said = f"“{most.partition(' ')[2]}” moves a {noun} by {end - start:+,.2f} {currency}"
    ends = ["first", "second"]
    title = f"From {first:,.0f} to {last:,.0f} {money}: “{most.partition(' ')[2]}” moves most"
    figure = canvas(
        title, f"cost with failures and days [{money}]", rows=[ends[0], *(name for name, *_ in moves), ends[1]]
    )
    bars(figure, [first, last], ends, tint(METAL, 0.2), said=[f"{first:,.0f}", f"{last:,.0f}"], hover="%{y}: %{x:,.2f}")
    for name, start, end in moves:
        colour, hatch = ("#E69F00", "/") if end > start else ("#56B4E9", "")
        hover = f"{plain(name)}: {end - start:+,.2f} {money}"
        bars(figure, [end - start], [name], colour, hatch, [f"{end - start:+,.0f}"], hover, rim_px=2, base=[start])
    return Chart(
        figure.update_layout(barmode="overlay"),
        f"{said}; all changes together by {last - first:+,.2f}.",
        f"Two grey bars, the answers, and between them one bar for each of {len(moves)} changes, from where the one "
        f"before it ends: striped where a {noun} gets dearer, plain where it gets cheaper.",
        bridge_table(piers, currency, noun),
    )
