"""Charts of a marked class: what failed most, which slips were typical, and how long students thought between tries."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, Chart, styled
from pourprint.ledger.errors import InputError

OUTCOMES = {"solved at once": ("#0072B2", ""), "solved later": ("#56B4E9", "/"), "not solved": ("#E69F00", "x")}
MOST_SLIPS = 12
GAPS = {"under 10 s": 1 / 6, "10 to 30 s": 0.5, "30 s to 2 min": 2, "2 to 10 min": 10, "10 min to 1 h": 60}
LATER = "over 1 h"


def failures_chart(attempts):
    """Students who solved each exercise at once, later or not at all, worst first.

    Parameters: `attempts` pandas table of a marked class. Returns: Chart. Raises: InputError without attempts.
    """
    _needed(attempts)
    last = (
        attempts.sort_values("at")
        .groupby(["exercise", "student"])
        .agg(right=("right", "any"), first=("right", "first"))
    )
    last["outcome"] = np.select([last["first"], last["right"]], ["solved at once", "solved later"], "not solved")
    table = (
        last.groupby(["exercise", "outcome"]).size().unstack(fill_value=0).reindex(columns=[*OUTCOMES], fill_value=0)
    )
    table["students"] = table.sum(axis=1)
    share = table["not solved"] / table["students"]
    table = table.assign(share=share).sort_values(["share", "solved later"]).drop(columns="share")
    figure = go.Figure([_bar(table.index, table[name], name, *look) for name, look in OUTCOMES.items()])
    worst = table.index[-1]
    left = int(table.loc[worst, "not solved"])
    headline = (
        f"“{worst}” failed most: {left} of {table.loc[worst, 'students']} students did not solve it"
        if left
        else "Every exercise that was tried was solved"
    )
    figure.update_layout(title=headline)
    figure.update_xaxes(title_text="students who tried")
    tried = f"{len(table)} exercises were tried by {attempts['student'].nunique()} students."
    return Chart(
        _tall(figure, len(table)),
        f"{headline}. {tried}",
        "One bar an exercise, the one most often left unsolved on top; each bar splits the students who tried into "
        "those who solved it at once (plain), later (strokes) and not (crosses). Numbers stand in the bars.",
        table.iloc[::-1],
    )


def slips_chart(attempts):
    """The wrong answers that came most often. Parameters, returns and raises as `failures_chart`."""
    _needed(attempts)
    wrong = attempts[~attempts["right"] & (attempts["slip"] != "predicted")]
    if wrong.empty:
        raise InputError("no attempt went wrong, so there are no slips to show.")
    counted = wrong.groupby(["exercise", "slip"]).agg(times=("student", "size"), students=("student", "nunique"))
    table = counted.sort_values(["students", "times"]).tail(MOST_SLIPS).reset_index()
    names = [f"{exercise}: {_shortened(slip)}" for exercise, slip in zip(table["exercise"], table["slip"], strict=True)]
    figure = go.Figure(_bar(names, table["students"], "", "#56B4E9", ""))
    top = table.iloc[-1]
    figure.update_layout(title=f"The most typical slip: {names[-1]}")
    figure.update_xaxes(title_text="students who made it")
    return Chart(
        _tall(figure, len(table)),
        f"{top['students']} students made the slip “{top['slip']}” in {top['exercise']}, {top['times']} times in all.",
        f"One bar a slip, the most common of {len(counted)} kinds on top; its length is the number of students.",
        table.iloc[::-1].set_index("exercise"),
    )


def gaps_chart(attempts):
    """Time between one try and the next at the same exercise. Parameters, returns and raises as `failures_chart`."""
    import pandas as pd

    _needed(attempts)
    gaps = attempts["minutes_since"].dropna()
    if gaps.empty:
        raise InputError("nobody tried an exercise twice, so there is no time between tries to show.")
    names = [*GAPS, LATER]
    place = np.searchsorted([*GAPS.values()], gaps, side="right")
    right = attempts.loc[gaps.index, "right"].to_numpy()
    counts = {
        name: np.bincount(place[mask], minlength=len(names)) for name, mask in (("right", right), ("wrong", ~right))
    }
    table = pd.DataFrame(counts, index=pd.Index(names, name="since the try before"))
    figure = go.Figure(
        [
            _bar(names, table["right"], "right", "#0072B2", "", "v"),
            _bar(names, table["wrong"], "wrong", "#E69F00", "x", "v"),
        ]
    )
    quick = place == 0
    headline = f"{quick.mean():.0%} of the further tries came within 10 s"
    figure.update_layout(title=headline)
    figure.update_xaxes(title_text="time since the try before", type="category")
    figure.update_yaxes(title_text="tries")
    return Chart(
        styled(figure, height=380),
        f"{headline}; {right[quick].mean() if quick.any() else 0:.0%} of those and {right.mean():.0%} of all further "
        "tries were right. Very short times suggest guessing; only a talk can tell.",
        f"Bars of {len(gaps)} further tries by the time since the try before; right ones plain, wrong ones crossed.",
        table,
    )


def _needed(attempts):
    if attempts.empty:
        raise InputError("no attempt was counted: look at the reports of the marked files.")


def _shortened(text, most=38):
    return text if len(text) <= most else text[:most].rsplit(" ", 1)[0] + " …"


def _bar(names, amounts, label, colour, hatch, direction="h"):
    """Bars with their name and number inside, so that no legend is needed."""
    texts = [f"{label} {int(n)}".strip() if n else "" for n in amounts]
    x, y = (amounts, names) if direction == "h" else (names, amounts)
    return go.Bar(
        x=x,
        y=y,
        orientation=direction,
        name=label,
        text=texts,
        textposition="inside",
        insidetextanchor="middle",
        textfont={"color": INK, "size": 12},
        marker={
            "color": colour,
            "opacity": 0.75,
            "pattern": {"shape": hatch, "fillmode": "overlay", "fgcolor": INK, "fgopacity": 0.35, "solidity": 0.15},
        },
        hovertemplate="%{y}: %{text}<extra></extra>" if direction == "h" else "%{x}: %{text}<extra></extra>",
    )


def _tall(figure, rows):
    """High enough for its rows, with room for their names."""
    figure = styled(figure, height=120 + 30 * rows)
    figure.update_yaxes(automargin=True)
    return figure.update_xaxes(dtick=1 if max(max(bar.x, default=1) for bar in figure.data) < 12 else None)
