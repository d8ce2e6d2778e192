"""How sure cost and days are: spreads, chances of a date, and what a design error costs."""

import numpy as np
import pandas as pd

from pourprint.figures.bars import Bar, Piece, stacked_bars
from pourprint.figures.look import INK, LOOKS, ON_FILL, Chart, tint
from pourprint.figures.strokes import TALL, bars, canvas, line, mark, write
from pourprint.risk.simulation import of_runs

LETTER = 0.017  # of a route's name, as a share of the width of the panel's narrow chart
CURVE_POINTS = 80  # of a chance-of-delivery curve: enough for the eye, few enough to redraw quickly
MARKS = (0.05, 0.25, 0.5, 0.75, 0.95)
PARTS = ("first 5 %", "next 20 %", "middle half", "next 20 %")


def _titles(runs):
    return [run.plan.title for run in runs.values()]


def spreads(values):
    """How some samples spread: bars end to end, and their middles.

    Parameters: `values` [(n,)]. Returns: (lengths (4, K) of the bars to 5, 25, 75 and 95 % of the samples, of which the
    first is not drawn; medians (K,)), as lists.
    """
    low, quarter, middle, three, high = np.quantile(values, MARKS, axis=1)
    return np.diff([low, quarter, three, high], axis=0, prepend=0).tolist(), middle.tolist()


def _unit_costs(runs, price_of_day=0.0):
    """Cost of a kit with its share of the days of each route [(n,)] [currency]."""
    return [run.with_delay(price_of_day) / run.plan.job.quantity for run in runs.values()]


def spread_bars(runs, price_of_day=0.0):
    """What a kit costs with its share of the days, as HTML bars of each route's runs; the page needs `bars.STYLE`.

    Parameters: `runs` {route: Runs}; `price_of_day` [currency/d].
    """
    lengths, middles = spreads(_unit_costs(runs, price_of_day))
    rows = []
    for route, run, middle, *ends in zip(runs, runs.values(), middles, *lengths, strict=True):
        thin, thick = (tint(LOOKS[route].colour, white) for white in (0.6, 0.35))
        looks = zip(PARTS, ("#0000", thin, thick, thin), ("", "thin", "", "thin"), ends, strict=True)
        pieces = (Piece("", length, colour, f"{name} of the runs", kind) for name, colour, kind, length in looks)
        rows.append(Bar(run.plan.title, tuple(pieces), middle, middle))
    unit = f"{money_of_one(runs)}, days priced; thick: half of the runs, thin: nine of ten, stroke: the middle"
    return stacked_bars("What one comes to", rows, unit, "{:,.0f}", "middle")


def spread_chart(runs):
    """Cost of a kit and days of each route as drawn, beside the plan without failures. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job, as from `simulate_all`.
    """
    titles, looks, plans = _titles(runs), [LOOKS[route] for route in runs], [run.plan for run in runs.values()]
    planned = ([plan.unit_cost for plan in plans], [plan.lead_time_days for plan in plans])
    slower = {run.plan.title: run.days.mean() / days for run, days in zip(runs.values(), planned[1], strict=True)}
    dearer = {run.plan.title: run.cost.mean() / run.plan.total_cost for run in runs.values()}
    worst = max(slower, key=slower.get)
    title = f"{worst}: {slower[worst]:.1f} times the days of its plan, {dearer[worst]:.1f} times the cost"
    units = (money_of_one(runs), "days to delivery [d]")
    key = "thick: half of the runs · thin: nine of ten · mark: the middle · stroke: the plan without failures"
    figure = canvas(title, units, rows=titles, key=key, r=20)
    drawn = (_unit_costs(runs), [run.days for run in runs.values()])
    for panel, (values, plan, unit) in enumerate(zip(drawn, planned, units, strict=True), start=1):
        lengths, middles = spreads(values)
        for i, (length, name) in enumerate(zip(lengths, PARTS, strict=True)):
            colours = [tint(look.colour, 0.35 if i == 2 else 0.6) for look in looks]
            place = {"width": 0.5 if i == 2 else 0.2, "opacity": 0 if i == 0 else 1, "panel": panel}
            bars(figure, length, titles, colours, name=f"{name} of the runs, {unit}", **place)
        said, symbols = f"%{{y}}: half of the runs stay below %{{x:,.0f}} {unit}", [look.marker for look in looks]
        mark(figure, middles, titles, ON_FILL, symbols, 11, said, panel, marker={"line": {"width": 0}})
        said = "%{y}: the plan without failures, %{x:,.0f}"
        mark(figure, plan, titles, INK, "line-ns", 26, said, panel, name="the plan without failures")
    figure.update_layout(height=figure.layout.height + 36 * len(runs)).update_xaxes(rangemode="tozero")
    rows = [[np.quantile(values[i], MARKS) for values in drawn] for i in range(len(runs))]
    columns = [f"{what} {share:.0%}" for what in ("cost", "days") for share in MARKS]
    return Chart(
        figure,
        f"{worst} suffers most, on average, from what fails and from what is not known.",
        f"For each route two bars on one line: thin from 5 to 95 %, thick from 25 to 75 % of "
        f"{next(iter(runs.values())).n} runs; a mark at the middle, a bold stroke where the plan without failures "
        "stands; left what one costs, right days.",
        pd.DataFrame(np.reshape(rows, (len(runs), -1)), index=titles, columns=columns),
    )


def money_of_one(runs):
    """The unit of what one kit, or one piece of a lone part, costs: "EUR a kit"."""
    plan = next(iter(runs.values())).plan
    return f"{plan.rates.currency} a {plan.job.kit.noun}"


def chance_data(runs, deadline_days=None):
    """Traces of the chance of delivery over time.

    Parameters: `runs` {route: Runs}; `deadline_days` [d] or None. Returns: list of dicts: a curve for each route (x
    days or dates, y chance [-]), the places of their names, the upright line of the deadline.
    """
    shares = np.concatenate([[0.0], np.linspace(0, 0.995, CURVE_POINTS)])  # the last runs would stretch the axis
    # From the start on, where nothing has come, there is room for a name to the left of the first curve.
    days = [np.concatenate([[0.0], np.quantile(run.days, shares[1:])]) for run in runs.values()]
    curves = [{"x": _place(run, own), "y": shares} for run, own in zip(runs.values(), days, strict=True)]
    spots = _clear_spots(_titles(runs), shares, days, deadline_days)
    names = {
        "x": [_place(run, place) for run, (place, _, _) in zip(runs.values(), spots, strict=True)],
        "y": np.array([height for _, height, _ in spots]),
        "textposition": [f"middle {side}" for *_, side in spots],
    }
    any_run = next(iter(runs.values()))
    upright = {"x": [], "y": np.array([])}
    if deadline_days is not None:
        upright = {"x": [_place(any_run, deadline_days)] * 2, "y": np.array([0.0, 1.04])}
    return [*curves, names, upright]


def _clear_spots(titles, shares, days, deadline_days=None):
    """Where each route's name stands: beside its curve, at the height and on the side where least is in its way.

    Parameters: `titles` of the routes; `shares` (P,) and `days` [(P,)] of the curves; `deadline_days` of the upright
    line, or None. Returns: [(days, height, "left" or "right")].
    """
    heights, last = np.linspace(0.12, 0.88, 20), max([deadline_days or 0.0, *(own[-1] for own in days)])
    lines = [(own / last, shares) for own in days]
    if deadline_days is not None:
        lines.append(([deadline_days / last] * 2, [0.0, 1.0]))
    low, high, found = heights - TALL / 2, heights + TALL / 2, []
    for title, own in zip(titles, days, strict=True):
        wide, (begin, end) = LETTER * (len(title) + 2), (np.interp(at, shares, own) / last for at in (low, high))
        left, foot, right, head = places = np.array(  # to the right of it, to the left of it
            [[end, begin - wide], [low, low], [end + wide, begin], [high, high]]
        )
        cost = np.maximum(-left, 0) + np.maximum(right - 1, 0)
        for x, y in lines:
            along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
            x, y = (np.interp(np.linspace(0, along[-1], 400), along, ends) for ends in (x, y))
            under = (left[..., None] < x) & (x < right[..., None]) & (foot[..., None] < y) & (y < head[..., None])
            cost += along[-1] * under.mean(axis=-1)
        # With the least in its way; then close to its curve, and at half its height.
        cost += 0.2 * (end - begin) + 0.01 * np.abs(heights - 0.5)
        side, k = np.unravel_index(np.argmin(cost), cost.shape)
        left, foot, right, head = places[:, side, k]
        lines += [([left, right], [y, y]) for y in (foot, heights[k], head)]
        found.append((float(last * (end, begin)[side][k]), float(heights[k]), ("right", "left")[side]))
    return found


def _when(run, days):
    """Days from the start as they are, or as moments where the start is a date."""
    if run.plan.job.start is None:
        return np.asarray(days, dtype=float)
    return np.datetime64(run.plan.begin, "s") + 60 * np.round(np.asarray(days) * 1440).astype("timedelta64[s]")


def _place(run, days):
    """As `_when`, but moments as plain text: a live figure cannot send arrays of moments or text."""
    when = _when(run, days)
    return np.datetime_as_string(when, unit="m").tolist() if when.dtype.kind == "M" else when.tolist()


def chance_figure(runs, deadline_days=None, title="", height=400):
    """Curves, names and deadline: go.Figure in the order of `chance_data`."""
    *curves, names, upright = chance_data(runs, deadline_days)
    dated = next(iter(runs.values())).plan.job.start is not None
    figure = canvas(title, "date of delivery" if dated else "days from the start [d]", "chance of delivery", height)
    for (route, run), curve in zip(runs.items(), curves, strict=True):
        look, said = LOOKS[route], f"{run.plan.title}: %{{y:.0%}} by %{{x}}"
        line(figure, **curve, colour=look.colour, dash=look.dash, name=run.plan.title, hover=said)
    figure.add_scatter(
        **names,
        mode="text",
        text=[f"\u00a0{title}\u00a0" for title in _titles(runs)],
        textfont={"color": [LOOKS[route].colour for route in runs]},
        hoverinfo="skip",
        cliponaxis=False,
        name="names of the routes",
    )
    named = {"mode": "lines+text", "text": ["", "deadline"], "textposition": "top center", "cliponaxis": False}
    line(figure, **upright, width=1.5, name="deadline", **named)
    return figure.update_yaxes(tickformat=".0%", dtick=0.25, range=[0, 1.04])


def chance_chart(runs, deadline=None):
    """Chance that each route has delivered, over time; a line at the deadline, if one is given. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job and start; `deadline` as of `Runs.chance`.
    """
    if deadline is None:
        days, latest = None, {run.plan.title: np.quantile(run.days, 0.9) for run in runs.values()}
        surest = min(latest, key=latest.get)
        takeaway = f"{surest} is the safest for an early date."
        title = f"{surest}: nine runs of ten deliver within {latest[surest]:.0f} days"
    else:
        days = next(iter(runs.values())).days_until(deadline)
        takeaway = " ".join(run.answer(deadline) for run in runs.values())
        chances = [f"{run.plan.title.lower()} {of_runs(run.chance(deadline))}" for run in runs.values()]
        title = "Chance of the deadline: " + ", ".join(chances)
    share = (0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    table = pd.DataFrame(
        [_when(run, np.quantile(run.days, share)) for run in runs.values()],
        index=_titles(runs),
        columns=[f"{s:.0%} by" for s in share],
    )
    return Chart(
        chance_figure(runs, days, title),
        takeaway,
        "Chance of delivery from none to all against time, one rising curve a route, each with its dash and name"
        + ("; an upright line marks the deadline." if deadline is not None else "."),
        table,
    )


def design_error_chart(errors, plans):
    """What one fault of the design, found at the first assembly, costs on each route in money and days. Returns: Chart.

    Parameters: `errors` {route: DesignError}; `plans` {route: Plan}.
    """
    money, titles = plans[next(iter(errors))].rates.currency, [plans[route].title for route in errors]
    sampled = {f"cost [{money}]": [e.cost for e in errors.values()], "days": [e.days for e in errors.values()]}
    means = {what: [float(run.mean()) for run in runs] for what, runs in sampled.items()}
    cheap, quick = (titles[int(np.argmin(mean))] for mean in means.values())
    both = f"{cheap} forgives a design error most cheaply"
    both += " and most quickly" if cheap == quick else f", {quick.lower()} most quickly"
    figure = canvas(both, (f"{money} more", "days more [d]"), rows=titles, r=20)
    table = pd.DataFrame(means, index=titles)
    for panel, (what, runs) in enumerate(sampled.items(), start=1):
        low, high = np.quantile(runs, (MARKS[0], MARKS[-1]), axis=1)
        mean, colours = np.array(means[what]), [tint(LOOKS[route].colour, 0.3) for route in errors]
        reach = {"array": high - mean, "arrayminus": mean - low, "symmetric": False, "color": INK, "thickness": 1.2}
        bars(figure, mean, titles, colours, error_x=reach, panel=panel, hover="%{y}: %{x:,.0f}")
        for title, number, end in zip(titles, mean, high, strict=True):
            write(figure, end, title, f"{number:,.0f}", anchor="left", dx=8, panel=panel)
        figure.update_xaxes(range=[0, 1.25 * high.max()], row=1, col=panel)
        table[f"error of the mean {what.split()[0]}"] = [float(np.std(run) / np.sqrt(run.size)) for run in runs]
        table[f"{what.split()[0]} 5%"], table[f"{what.split()[0]} 95%"] = low, high
    return Chart(
        figure.update_layout(height=figure.layout.height + 20 * len(errors)),
        f"At least {min(means[f'cost [{money}]']):,.0f} {money} and {min(means['days']):.0f} days, on average.",
        "One bar a route: on the left the money, on the right the days that one design error costs on average; a thin "
        "line holds nine runs of ten.",
        table,
    )
