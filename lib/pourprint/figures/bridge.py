"""From one answer to another: what each change is worth."""

from itertools import pairwise

from pourprint.decide.bridge import bridge_table
from pourprint.figures.look import INK, Chart
from pourprint.figures.strokes import bars, canvas, mark, plain
from pourprint.ledger.errors import InputError


def bridge_chart(piers, currency, noun):
    """A bridge: the first answer as a stroke, a bar for each change from where the one before it ends, the second
    answer: Chart.

    Parameters: `piers` as from `bridge`; `currency` of their costs; `noun` "kit" or "piece".
    Raises: InputError where nothing changed.
    """
    if len(piers) < 2:
        raise InputError("nothing changed between the two: there is no bridge to draw.")
    money, first, last = f"{currency} a {noun}", piers[0].cost, piers[-1].cost
    moves = [(f"{i}. {now.what}", before.cost, now.cost) for i, (before, now) in enumerate(pairwise(piers), start=1)]
    most, start, end = max(moves, key=lambda move: abs(move[2] - move[1]))
    told = f"“{most.partition(' ')[2]}” moves a {noun} by {end - start:+,.2f} {currency}"
    ends = ["first", "second"]
    title = f"From {first:,.0f} to {last:,.0f} {money}: “{most.partition(' ')[2]}” moves most"
    rows, costs = [ends[0], *(name for name, *_ in moves), ends[1]], [pier.cost for pier in piers]
    figure = canvas(title, f"cost with failures and days [{money}], not from zero", rows=rows)
    said = {"mode": "markers+text", "text": [f"\u00a0\u00a0{cost:,.0f}" for cost in (first, last)]}
    look = {"textposition": "middle right", "cliponaxis": False, "hover": "%{y}: %{x:,.2f}"}
    mark(figure, [first, last], ends, INK, "line-ns", 20, **said, **look)
    for name, start, end in moves:
        colour, hatch = ("#E69F00", "/") if end > start else ("#56B4E9", "")
        hover = f"{plain(name)}: {end - start:+,.2f} {money}"
        bars(figure, [end - start], [name], colour, hatch, [f"{end - start:+,.0f}"], hover, rim_px=2, base=[start])
    room = 0.25 * (max(costs) - min(costs))  # for the numbers at the bars
    figure.update_xaxes(range=[min(costs) - room, max(costs) + room], nticks=4)
    return Chart(
        figure.update_layout(barmode="overlay"),
        f"{told}; all changes together by {last - first:+,.2f}.",
        f"Two strokes, the answers, and between them one bar for each of {len(moves)} changes, from where the one "
        f"before it ends: striped where a {noun} gets dearer, plain where it gets cheaper.",
        bridge_table(piers, currency, noun),
    )
