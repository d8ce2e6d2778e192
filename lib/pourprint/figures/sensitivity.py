"""Charts of what moves an answer."""

import numpy as np

from pourprint.decide.sensitivity import CONFIDENCE
from pourprint.figures.look import INK, Chart
from pourprint.figures.strokes import bars, canvas, plain
from pourprint.ledger.entries import in_words
from pourprint.ledger.errors import InputError


def tornado_chart(found):
    """What moves an answer, one input at a time. Parameters: Bars of `tornado`. Returns: Chart."""
    if not found.entries:
        raise InputError("no input moves this answer: there are no bars to draw.")
    words, entries = [in_words(key) for key in found.entries], [*found.entries.values()]
    names = [word + f" [{one.unit}]" * (one.unit != "-") for word, one in zip(words, entries, strict=True)]
    unit, key = found.output.unit, "stripes: input at its low · plain: at its high · numbers: its low, its high"
    axis = f"{found.output.name} [{unit}]"
    figure = canvas(f"{words[0].capitalize()} moves it most", axis, rows=names, row_px=38, key=key)
    figure.update_yaxes(tickvals=[*map(plain, names)], ticktext=[plain(name).replace(" (", "<br>(") for name in names])
    for side, answers, colour, hatch in (
        ("low", found.at_low, "#56B4E9", "/"),
        ("high", found.at_high, "#E69F00", ""),
    ):
        ends = [f"{getattr(entry, side):,.4g}" for entry in entries]
        said = [end if answer != found.base else "" for end, answer in zip(ends, answers, strict=True)]
        data = [f"{end} {entry.unit}" for end, entry in zip(ends, entries, strict=True)]
        hover = f"%{{y}} at %{{customdata}}: {found.output.name} %{{x:,.4~g}} {unit}"
        more = {"base": found.base, "name": f"input at its {side}", "customdata": data}
        bars(figure, answers - found.base, names, colour, hatch, said, hover, **more)
    figure.add_vline(x=found.base, line={"color": INK, "width": 1.5})
    ends = [*found.at_low, *found.at_high, found.base]
    room = 0.12 * np.ptp(ends)  # for the numbers at the ends
    figure.update_xaxes(range=[min(ends) - room, max(ends) + room]).update_layout(barmode="overlay")
    refused = ", ".join(map(in_words, found.refused))
    none = f" An end of the range makes a route infeasible: {refused}." if refused else ""
    return Chart(
        figure,
        f"From its low to its high, {words[0]} alone moves {found.output.name} by {found.swing[0]:,.4g} {unit}, from "
        f"{found.at_low[0]:,.4g} to {found.at_high[0]:,.4g}; at all values it is {found.base:,.4g}.{none}",
        "One bar an input, longest first, about the line of all values: striped to the answer at the input's low, "
        "plain to that at its high; the input's own low and high stand at the ends.",
        found.table(),
    )


def sobol_chart(indices):
    """Sobol indices with their intervals. Parameters: Indices of `sobol`. Returns: Chart."""
    names = [in_words(key) for key in indices.entries]
    key = f"plain: alone · stripes: with others · thin line: interval of {CONFIDENCE:.0%}, also below 0"
    title = f"{names[0].capitalize()} carries the largest share of the doubt"
    figure = canvas(title, "share of the variance [-]", rows=names, row_px=42, key=key, r=20)
    for kind, values, ranges, colour, hatch in (
        ("with others (total)", indices.total, indices.total_range, "#E69F00", "/"),
        ("alone (first order)", indices.first, indices.first_range, "#56B4E9", ""),
    ):
        reach = {"array": ranges[:, 1] - values, "arrayminus": values - ranges[:, 0], "color": INK, "width": 4}
        said = f"%{{y}}, {kind}: %{{x:.3f}} (%{{customdata[0]:.3f}} to %{{customdata[1]:.3f}})"
        bars(figure, values, names, colour, hatch, hover=said, error_x=reach, customdata=ranges)
    return Chart(
        figure.update_layout(barmode="group"),
        indices.words(),
        f"For each input two bars with intervals of {CONFIDENCE:.0%}: the share of the variance that goes "
        "away once it alone is known (plain), and the share that it takes part in (stripes).",
        indices.table(),
    )
