"""Charts of what moves an answer, and of what to measure first."""

import numpy as np
import plotly.graph_objects as go

from pourprint.decide.inputs import in_words
from pourprint.figures.look import INK, Chart, styled
from pourprint.ledger.errors import InputError

GREY = "#8C8C8C"


def tornado_chart(bars):
    """What moves an answer, one input at a time. Parameters: Bars of `tornado`. Returns: Chart."""
    if not bars.entries:
        raise InputError("no input moves this answer: there are no bars to draw.")
    names, entries = [in_words(key) for key in bars.entries], [*bars.entries.values()]
    unit, figure = bars.output.unit, go.Figure()
    for side, answers, shape in (("low", bars.at_low, "/"), ("high", bars.at_high, "")):
        ends = [f"{getattr(entry, side):,.4g}" for entry in entries]
        figure.add_bar(
            y=names,
            x=answers - bars.base,
            base=bars.base,
            orientation="h",
            name=f"input at its {side}",
            marker={
                "color": "#56B4E9" if side == "low" else "#E69F00",
                "pattern": {"shape": shape, "fillmode": "overlay", "fgcolor": INK, "solidity": 0.2},
            },
            text=[end if answer != bars.base else "" for end, answer in zip(ends, answers, strict=True)],
            textposition="outside",
            cliponaxis=False,
            customdata=[f"{end} {entry.unit}" for end, entry in zip(ends, entries, strict=True)],
            hovertemplate=f"%{{y}} at %{{customdata}}: {bars.output.name} %{{x:,.4~g}} {unit}<extra></extra>",
        )
    figure.add_vline(x=bars.base, line={"color": INK, "width": 1.5})
    reach = np.ptp([*bars.at_low, *bars.at_high, bars.base])
    figure.update_xaxes(title_text=f"{bars.output.name} [{unit}]", range=_wider(bars, reach))
    figure.update_yaxes(autorange="reversed", automargin=True)
    figure.update_layout(title=f"{names[0].capitalize()} moves it most (striped: input at its low, plain: at its high)")
    none = (
        f" An end of the range makes a route infeasible: {', '.join(map(in_words, bars.refused))}."
        if bars.refused
        else ""
    )
    figure = styled(figure, height=110 + 30 * len(names))
    figure.update_layout(barmode="overlay", margin={"l": 230})
    return Chart(
        figure,
        f"From its low to its high, {names[0]} alone moves {bars.output.name} by {bars.swing[0]:,.4g} {unit}, from "
        f"{bars.at_low[0]:,.4g} to {bars.at_high[0]:,.4g}; at all values it is {bars.base:,.4g}.{none}",
        "One bar an input, longest first, about the line of all values: striped to the answer at the input's low, "
        "plain to that at its high; the input's own low and high stand at the ends.",
        bars.table(),
    )


def _wider(bars, reach):
    ends = [*bars.at_low, *bars.at_high, bars.base]
    return [min(ends) - 0.12 * reach, max(ends) + 0.12 * reach]


def sobol_chart(indices):
    """Sobol indices with their intervals. Parameters: Indices of `sobol`. Returns: Chart."""
    names = [in_words(key) for key in indices.entries]
    rows, figure = np.arange(len(names)), styled(go.Figure(), height=130 + 42 * len(names))
    kinds = (
        ("alone (first order)", indices.first, indices.first_range, -0.14, "circle", "#0072B2"),
        ("with others (total)", indices.total, indices.total_range, 0.14, "diamond-open", "#D55E00"),
    )
    for name, values, ranges, shift, symbol, colour in kinds:
        figure.add_scatter(
            x=values,
            y=rows + shift,
            mode="markers",
            name=name,
            marker={"symbol": symbol, "size": 10, "color": colour, "line": {"width": 2, "color": colour}},
            error_x={"array": ranges[:, 1] - values, "arrayminus": values - ranges[:, 0], "color": colour, "width": 4},
            customdata=[[n, *r] for n, r in zip(names, ranges, strict=True)],
            hovertemplate="%{customdata[0]}, "
            + name
            + ": %{x:.3f} (%{customdata[1]:.3f} to %{customdata[2]:.3f})<extra></extra>",
        )
        figure.add_annotation(
            x=max(indices.first_range[0, 1], indices.total_range[0, 1]),
            y=shift * 1.3,
            text=name,
            showarrow=False,
            xanchor="left",
            xshift=8,
            font={"color": colour},
        )
    figure.update_xaxes(
        title_text="share of the variance [-]",
        range=[min(-0.02, indices.first_range.min()), 1.35 * indices.total_range.max()],
    )
    figure.update_yaxes(tickvals=rows, ticktext=names, range=[len(names) - 0.5, -0.6], automargin=True)
    figure.update_layout(title=f"{names[0].capitalize()} carries the largest share of the doubt")
    figure.update_layout(margin={"l": 230})
    return Chart(
        figure,
        indices.words(),
        f"For each input two marks with intervals of {indices.confidence:.0%}: the share of the variance that goes "
        "away once it alone is known (filled circle), and the share that it takes part in (open diamond).",
        indices.table(),
    )


def information_chart(information, most=10):
    """What it is worth to know, before choosing. Parameters: Information; `most` bars [-]. Returns: Chart."""
    table = information.table()
    table = table[(table["worth"] > 0) | (table.index == "everything")].sort_values(
        "worth", ascending=False, kind="stable"
    )
    shown = table.head(most)
    told = (shown["worth"] > 2 * shown["standard_error"]).to_numpy()
    alone = shown.index.isin([in_words(key) for key in information.inputs])
    colours = np.where(told, np.where(alone, "#0072B2", "#A6CBE3"), "#D9D9D9")
    figure = go.Figure(
        go.Bar(
            y=shown.index,
            x=shown["worth"],
            orientation="h",
            marker={
                "color": colours.tolist(),
                "pattern": {"shape": np.where(told, "", "/").tolist(), "fillmode": "overlay", "fgcolor": GREY},
            },
            error_x={"array": 2 * shown["standard_error"], "color": INK, "width": 4},
            hovertemplate="%{y}: %{x:,.0f} " + information.currency + "<extra></extra>",
            name="worth of knowing",
        )
    )
    figure.update_xaxes(
        title_text=f"worth of knowing it before choosing [{information.currency} for this job]", rangemode="tozero"
    )
    figure.update_yaxes(autorange="reversed", automargin=True)
    best = next((key for key, worth in information.inputs.items() if worth.told), None)
    figure.update_layout(
        title=f"Measure first: {in_words(best)}" if best else "No single input is worth measuring first"
    )
    figure = styled(figure, height=130 + 32 * len(shown))
    figure.update_layout(margin={"l": 240})
    return Chart(
        figure,
        information.measure_first(),
        "Pale bars for knowing everything and for all numbers of a section of the ledger together, dark ones for each "
        "input alone, as far as they are worth anything; lines are two standard errors, and striped grey bars are not "
        "told apart from nothing.",
        table,
    )
