"""Charts of a marked class: what failed most, which slips were typical, and how long students thought between tries."""

import numpy as np
import pandas as pd

from pourprint.figures.look import Chart
from pourprint.figures.strokes import bars, canvas
from pourprint.ledger.errors import InputError

OUTCOMES = {"solved at once": ("#5B9BD5", ""), "solved later": ("#A6D5F2", "/"), "not solved": ("#F0B94D", "x")}
MOST_SLIPS, MOST_EXERCISES = 12, 25  # of a chart; a page holds no more
GAPS = {"under 10 s": 1 / 6, "10 to 30 s": 0.5, "30 s to 2 min": 2, "2 to 10 min": 10, "10 min to 1 h": 60}
LATER = "over 1 h"


def unsolved_chart(attempts):
    """Students who solved each exercise at once, later or not at all, worst first.

    Parameters: `attempts` pandas table of a marked class. Returns: Chart. Raises: InputError without attempts.
    """
    attempts = _tries(attempts)
    last = attempts.sort_values("at").groupby(["exercise", "student"])["right"].agg(["any", "first"])
    last["outcome"] = np.select([last["first"], last["any"]], ["solved at once", "solved later"], "not solved")
    table = pd.crosstab(last.index.get_level_values("exercise"), last["outcome"], rownames=["exercise"])
    table = table.reindex(columns=[*OUTCOMES], fill_value=0).assign(students=lambda table: table.sum(axis=1))
    # By number before share: an exercise that one student tried, in vain, shall not lead.
    table = table.assign(share=table["not solved"] / table["students"])
    table = table.sort_values(["not solved", "share", "solved later"])[::-1].drop(columns="share")
    worst, (left, who) = table.index[0], table.iloc[0][["not solved", "students"]]
    title = f"“{worst}” is solved least: {left} of {who} students did not" if left else "All that was tried is solved"
    shown, key = table.head(MOST_EXERCISES), "plain: solved at once · stripes: later · crosses: not solved"
    figure = canvas(title, "students who tried", rows=shown.index, key=key, r=20)
    for name, (colour, hatch) in OUTCOMES.items():
        _counted(figure, shown[name], shown.index, colour, hatch, name)
    return Chart(
        figure,
        f"Of {len(table)} exercises of {attempts['student'].nunique()} students the {len(shown)} that fewest solved.",
        "One bar an exercise, the one most often left unsolved on top; each bar splits the students who tried into "
        "those who solved it at once (plain), later (stripes) and not (crosses). Numbers stand in the bars.",
        table,
    )


def slips_chart(attempts):
    """The wrong answers that came most often. Parameters, returns and raises as `unsolved_chart`."""
    attempts = _tries(attempts)
    wrong = attempts[~attempts["right"]]
    if wrong.empty:
        raise InputError("no attempt went wrong, so there are no slips to show.")
    kinds = wrong.groupby(["exercise", "slip"]).agg(times=("student", "size"), students=("student", "nunique"))
    table = kinds.sort_values(["students", "times"])[::-1].head(MOST_SLIPS).reset_index()
    names = [f"{exercise}: {_shortened(slip)}" for exercise, slip in zip(table["exercise"], table["slip"], strict=True)]
    top, figure = table.iloc[0], canvas(f"The most typical slip: {names[0]}", "students who made it", rows=names, r=20)
    _counted(figure, table["students"], names, "#A6D5F2")
    return Chart(
        figure,
        f"{top['students']} students made the slip “{top['slip']}” in {top['exercise']}, {top['times']} times in all.",
        f"One bar a slip, of {len(kinds)} kinds the {len(table)} most common; its length is the number of students.",
        table.set_index("exercise"),
    )


def gaps_chart(attempts):
    """Time between one try and the next at the same exercise. Parameters, returns and raises as `unsolved_chart`."""
    attempts = _tries(attempts)
    gaps = attempts["minutes_since"].dropna()
    if gaps.empty:
        raise InputError("nobody tried an exercise twice, so there is no time between tries to show.")
    names, place = [*GAPS, LATER], np.searchsorted([*GAPS.values()], gaps, side="right")
    right, quick = attempts.loc[gaps.index, "right"].to_numpy(), place == 0
    told = {"right": (right, "#5B9BD5", ""), "wrong": (~right, "#F0B94D", "x")}
    counts = {name: np.bincount(place[mask], minlength=len(names)) for name, (mask, _, _) in told.items()}
    table = pd.DataFrame(counts, index=pd.Index(names, name="since the try before"))
    figure = canvas(f"{quick.mean():.0%} of the further tries came within 10 s", "time since the try before", "tries")
    broken = {"tickangle": 0, "tickvals": names, "ticktext": [name.replace(" to ", "<br>to ") for name in names]}
    for name, (_, colour, hatch) in told.items():
        _counted(figure, table[name], names, colour, hatch, name, upright=True)
    return Chart(
        figure.update_xaxes(type="category", title_standoff=16, **broken).update_layout(margin_b=84),
        f"{right[quick].mean() if quick.any() else 0:.0%} of those and {right.mean():.0%} of all further "
        "tries were right. Very short times suggest guessing; only a talk can tell.",
        f"Bars of {len(gaps)} further tries by the time since the try before; right ones plain, wrong ones crossed.",
        table,
    )


def _tries(attempts):
    """The attempts but for predictions that were noted, each exercise's first without a time since the one before."""
    tries = attempts[attempts["slip"] != "predicted"]
    if tries.empty:
        raise InputError("no attempt was counted: look at the reports of the marked files.")
    return tries.assign(minutes_since=tries["minutes_since"].where(tries.duplicated(["student", "exercise"])))


def _shortened(text):
    return text if len(text) <= 38 else text[:38].rsplit(" ", 1)[0] + " …"


def _counted(figure, amounts, names, colour, hatch="", label="", upright=False):
    """Bars with their number inside, behind their name where they stand upright; counts are whole."""
    said = [f"{label if upright else ''} {int(n)}".strip() if n else "" for n in amounts]
    inside = {"textposition": "inside", "insidetextanchor": "middle", "name": label}
    hover = "%{x}: %{text}" if upright else "%{y}: %{text}"
    bars(figure, amounts, names, colour, hatch, said, hover, upright=upright, **inside)
    figure.update_layout(uniformtext={"minsize": 10, "mode": "hide"})
    if not upright and max(sum(bar.x) for bar in figure.data) < 12:
        figure.update_xaxes(dtick=1)
