"""How sure cost and days are: spreads, dates, failures and design errors."""

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pourprint.figures.bars import Bar, Piece, stacked_bars
from pourprint.figures.look import INK, LOOKS, Chart, styled, tint
from pourprint.ledger.errors import InputError
from pourprint.risk.runs import percent

CURVE_POINTS = 80  # of a chance-of-delivery curve: enough for the eye, few enough to redraw quickly
MARKS = (0.05, 0.25, 0.5, 0.75, 0.95)
LOW, HIGH = MARKS[0], MARKS[-1]


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
        looks = (("#0000", "first 5 %", ""), (thin, "next 20 %", "thin"), (thick, "middle half", ""))
        pieces = (
            Piece("", length, colour, f"{name} of the runs", kind)
            for length, (colour, name, kind) in zip(ends, (*looks, looks[1]), strict=True)
        )
        rows.append(Bar(run.plan.title, tuple(pieces), middle, middle))
    unit = f"{_money(runs)} a kit, days priced; thick: half of the runs, thin: nine of ten, stroke: the middle"
    return stacked_bars("What a kit comes to", rows, unit, "{:,.0f}", "middle")


def add_spreads(figure, runs, values, row, column, unit):
    """Bars and medians of one quantity into a subplot; `values` [(n,)] one a route."""
    titles, looks = _titles(runs), [LOOKS[route] for route in runs]
    lengths, middles = spreads(values)
    for i, (length, name) in enumerate(
        zip(lengths, ("first 5 %", "next 20 %", "middle half", "next 20 %"), strict=True)
    ):
        middle = i == 2
        figure.add_bar(
            x=length,
            y=titles,
            orientation="h",
            width=0.5 if middle else 0.2,
            opacity=0 if i == 0 else 1,
            marker={
                "color": [tint(look.colour, 0.35 if middle else 0.6) for look in looks],
                "line": {"color": INK, "width": 0.5},
            },
            name=f"{name} of the runs, {unit}",
            hoverinfo="skip" if i == 0 else "name",
            row=row,
            col=column,
        )
    figure.add_scatter(
        x=middles,
        y=titles,
        mode="markers",
        marker={"symbol": [look.marker for look in looks], "size": 12, "color": INK},
        name=f"middle, {unit}",
        hovertemplate=f"%{{y}}: half of the runs stay below %{{x:,.0f}} {unit}<extra></extra>",
        row=row,
        col=column,
    )
    figure.update_xaxes(title_text=unit, rangemode="tozero", row=row, col=column)


def spread_chart(runs):
    """Cost of a kit and days of each route as drawn, beside the plan without failures. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job, as from `simulate_all`.
    """
    import pandas as pd

    money, count = _money(runs), next(iter(runs.values())).n
    figure = make_subplots(rows=1, cols=2, shared_yaxes=True, horizontal_spacing=0.06)
    add_spreads(figure, runs, _unit_costs(runs), 1, 1, f"{money} a kit")
    add_spreads(figure, runs, [run.days for run in runs.values()], 1, 2, "days to delivery")
    plans = [run.plan for run in runs.values()]
    free = ([plan.unit_cost for plan in plans], [_days_of(run) for run in runs.values()])
    for column, values in enumerate(free, start=1):
        figure.add_scatter(
            x=values,
            y=_titles(runs),
            mode="markers",
            marker={"symbol": "line-ns", "size": 26, "line": {"width": 2.5, "color": INK}},
            name="the plan without failures",
            hovertemplate="%{y}: the plan without failures, %{x:,.0f}<extra></extra>",
            row=1,
            col=column,
        )
    figure.update_yaxes(autorange="reversed")
    table = pd.DataFrame(
        [
            (*np.quantile(run.cost / run.plan.job.quantity, MARKS), *np.quantile(run.days, MARKS))
            for run in runs.values()
        ],
        index=_titles(runs),
        columns=[f"{what} {share:.0%}" for what in ("cost", "days") for share in MARKS],
    )
    slower = {run.plan.title: run.days.mean() / days for run, days in zip(runs.values(), free[1], strict=True)}
    dearer = {run.plan.title: run.cost.mean() / run.plan.total_cost for run in runs.values()}
    worst = max(slower, key=slower.get)
    return Chart(
        _titled(
            styled(figure, 120 + 75 * len(runs)),
            f"{worst}: {slower[worst]:.1f} times the days of its plan, {dearer[worst]:.1f} times the cost",
        ),
        f"{worst} suffers most: on average it takes {slower[worst]:.1f} times the days of its plan without failures.",
        f"For each route two bars on one line: thin from 5 to 95 %, thick from 25 to 75 % of {count} runs; a mark at "
        "the middle, a bold stroke where the plan without failures stands; left cost of a kit, right days.",
        table,
    )


def _days_of(run):
    """Days of the plan without failures from the same start [d]."""
    from pourprint.plans.plan import lead_time

    return run.plan.lead_time_days if run.start is None else float(lead_time(run.plan, run.start).days)


def _money(runs):
    return next(iter(runs.values())).plan.rates.currency


def chance_data(runs, deadline_days=None):
    """Traces of the chance of delivery over time.

    Parameters: `runs` {route: Runs}; `deadline_days` [d] or None. Returns: list of dicts: a curve for each route (x
    days or dates, y chance [-]), the places of their names, the upright line of the deadline.
    """
    shares = np.linspace(0, 0.995, CURVE_POINTS)  # the last runs would stretch the axis
    days = [np.quantile(run.days, shares) for run in runs.values()]
    curves = [{"x": _place(run, own), "y": shares} for run, own in zip(runs.values(), days, strict=True)]
    spots = _clear_spots(shares, days, deadline_days)
    names = {
        "x": [_place(run, place) for run, (place, _, _) in zip(runs.values(), spots, strict=True)],
        "y": np.array([height for _, height, _ in spots]),
        "textposition": [f"middle {side}" for *_, side in spots],
    }
    any_run = next(iter(runs.values()))
    line = {"x": [], "y": np.array([])}
    if deadline_days is not None:
        line = {"x": [_place(any_run, deadline_days)] * 2, "y": np.array([0.0, 1.04])}
    return [*curves, names, line]


NAME_WIDTH, NAME_HEIGHT = 0.14, 0.09  # a route's name, as a share of the chart's width and height


def _clear_spots(shares, days, deadline_days=None):
    """Where each route's name stands: beside its curve, at the height and on the side where least is in its way.

    Parameters: `shares` (P,) and `days` [(P,)] of the curves; `deadline_days` of the upright line, or None.
    Returns: [(days, height, "left" or "right")].
    """
    heights, half = np.linspace(0.12, 0.88, 20), NAME_HEIGHT / 2
    first, last = min(own[0] for own in days), max([deadline_days or 0.0, *(own[-1] for own in days)])
    width = NAME_WIDTH * (last - first)
    # At each height, the span of days that a curve, the deadline or a name already placed takes.
    taken = [tuple(np.interp(heights + d, shares, own) for d in (-half, half)) for own in days]
    taken += [] if deadline_days is None else [(np.full(heights.size, deadline_days),) * 2]
    found = []
    for k in range(len(days)):
        start, end = taken[k]
        begins = np.array([end, start - width])  # to the right of the curve, to the left of it
        covered = np.maximum(first - begins, 0)
        for low, high in [*taken[:k], *taken[k + 1 :]]:
            met = (low < begins + width) & (begins < high)
            # A line is thin, and yet in the way.
            covered += met * np.maximum(np.minimum(begins + width, high) - np.maximum(begins, low), 0.02 * width)
        # With the least in its way; then close to its curve, and at half its height.
        cost = covered / width + 0.2 * (end - start) / width + 0.01 * np.abs(heights - 0.5)
        side, at = np.unravel_index(np.argmin(cost), cost.shape)
        near, begin = np.abs(heights - heights[at]) < NAME_HEIGHT, begins[side, at]
        taken.append((np.where(near, begin, np.inf), np.where(near, begin + width, -np.inf)))
        found.append((float((end, start)[side][at]), float(heights[at]), ("right", "left")[side]))
    return found


def _when(run, days):
    """Days from the start as they are, or as moments where the start is a date."""
    if run.start is None:
        return np.asarray(days, dtype=float)
    return np.datetime64(run.start, "s") + 60 * np.round(np.asarray(days) * 1440).astype("timedelta64[s]")


def _place(run, days):
    """As `_when`, but moments as plain text: a live figure cannot send arrays of moments or text."""
    when = _when(run, days)
    return np.datetime_as_string(when, unit="m").tolist() if when.dtype.kind == "M" else when.tolist()


def add_chances(figure, runs, traces, **place):
    """Curves, names and deadline of `chance_data` into a figure, or a subplot of it (`row`, `col`)."""
    *curves, names, line = traces
    for (route, run), curve in zip(runs.items(), curves, strict=True):
        look = LOOKS[route]
        figure.add_scatter(
            **curve,
            mode="lines",
            line={"color": look.colour, "dash": look.dash, "width": 2.5},
            name=run.plan.title,
            hovertemplate=f"{run.plan.title}: %{{y:.0%}} by %{{x}}<extra></extra>",
            **place,
        )
    figure.add_scatter(
        **names,
        mode="text",
        text=[f"\u00a0{title}\u00a0" for title in _titles(runs)],
        textfont={"color": [LOOKS[route].colour for route in runs]},
        hoverinfo="skip",
        cliponaxis=False,
        name="names of the routes",
        **place,
    )
    figure.add_scatter(
        **line, mode="lines", line={"color": INK, "width": 1.5}, name="deadline", hoverinfo="name", **place
    )
    dated = next(iter(runs.values())).start is not None
    figure.update_xaxes(title_text="date of delivery" if dated else "days from the start", **place)
    figure.update_yaxes(title_text="chance of delivery", tickformat=".0%", dtick=0.25, range=[0, 1.04], **place)


def chance_chart(runs, deadline=None):
    """Chance that each route has delivered, over time; a line at the deadline, if one is given. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job and start; `deadline` as of `Runs.chance`.
    """
    import pandas as pd

    figure = go.Figure()
    days = None if deadline is None else next(iter(runs.values())).days_until(deadline)
    add_chances(figure, runs, chance_data(runs, days))
    if deadline is None:
        latest = {run.plan.title: np.quantile(run.days, 0.9) for run in runs.values()}
        surest = min(latest, key=latest.get)
        takeaway = (
            f"{surest} is the safest for an early date: nine runs of ten deliver within {latest[surest]:.0f} days."
        )
        title = f"{surest}: nine runs of ten deliver within {latest[surest]:.0f} days"
    else:
        takeaway = " ".join(run.answer(deadline) for run in runs.values())
        title = "Chance of the deadline: " + ", ".join(
            f"{run.plan.title.lower()} {percent(run.chance(deadline))}" for run in runs.values()
        )
    share = (0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    table = pd.DataFrame(
        [_when(run, np.quantile(run.days, share)) for run in runs.values()],
        index=_titles(runs),
        columns=[f"{s:.0%} by" for s in share],
    )
    return Chart(
        _titled(styled(figure, 400), title),
        takeaway,
        "Chance of delivery from none to all against time, one rising curve a route, each with its dash and name"
        + ("; an upright line marks the deadline." if deadline is not None else "."),
        table,
    )


def _titled(figure, title):
    figure.update_layout(title={"text": title, "x": 0, "xref": "paper", "font": {"size": 16}}, margin={"t": 70})
    return figure


# Failures and design errors -----------------------------------------------------------------------------------


def failures_chart(plan, found):
    """What the failures of each step cost in the whole job, everything that they send back included. Returns: Chart.

    Parameters: `plan` a Plan; `found` its `rework`.
    """
    import pandas as pd

    costs = dict(sorted(found.rework_cost.items(), key=lambda item: item[1]))
    if not costs:
        raise InputError(f"{plan.title} has no step that fails: set a yield below 1 to see what failures cost.")
    yields = {step.name: step.first_pass_yield for step in plan.steps}
    figure = go.Figure(
        go.Bar(
            x=list(costs.values()),
            y=list(costs),
            orientation="h",
            marker={"color": tint(LOOKS[plan.route].colour, 0.3), "line": {"color": INK, "width": 0.5}},
            text=[f"{cost:,.0f}" for cost in costs.values()],
            textposition="outside",
            cliponaxis=False,
            hovertemplate="%{y}: %{x:,.0f}<extra></extra>",
        )
    )
    money, worst = plan.rates.currency, list(costs)[-1]
    figure.update_xaxes(title_text=f"expected cost of its failures [{money}]")
    figure.update_yaxes(automargin=True)
    extra = found.cost - found.failure_free_cost
    figure = _titled(styled(figure, 130 + 32 * len(costs)), f"{plan.title}: failures at “{worst}” cost most")
    figure.update_layout(margin={"r": 70})
    rows = [(name, yields.get(name, float("nan")), cost) for name, cost in reversed(costs.items())]
    return Chart(
        figure,
        f"Failures add {extra:,.0f} {money} ({extra / found.failure_free_cost:.0%}) to the job; the largest share, "
        f"{costs[worst] / sum(costs.values()):.0%}, comes from “{worst}”.",
        "One bar a step that can fail, the dearest on top; its length is what its failures are expected to cost.",
        pd.DataFrame(rows, columns=["step", "first_pass_yield", f"cost_{money}"]).set_index("step"),
    )


def design_error_chart(errors, plans):
    """What one fault of the design, found at the first assembly, costs on each route in money and days. Returns: Chart.

    Parameters: `errors` {route: DesignError}; `plans` {route: Plan}.
    """
    import pandas as pd

    money, titles = plans[next(iter(errors))].rates.currency, [plans[route].title for route in errors]
    cost_runs, day_runs = ([getattr(error, name) for error in errors.values()] for name in ("cost", "days"))
    costs, days = ([float(run.mean()) for run in runs] for runs in (cost_runs, day_runs))
    figure = make_subplots(rows=1, cols=2, shared_yaxes=True, horizontal_spacing=0.12)
    shown = ((costs, cost_runs, f"{money} more"), (days, day_runs, "days more"))
    for column, (values, sampled, unit) in enumerate(shown, start=1):
        low, high = np.quantile(sampled, (LOW, HIGH), axis=1)
        figure.add_bar(
            x=values,
            y=titles,
            orientation="h",
            marker={
                "color": [tint(LOOKS[route].colour, 0.3) for route in errors],
                "line": {"color": INK, "width": 0.5},
            },
            text=[f"{value:,.0f}" for value in values],
            textposition="inside",
            insidetextanchor="start",
            textfont={"color": INK},
            error_x={
                "array": high - values,
                "arrayminus": values - low,
                "symmetric": False,
                "color": INK,
                "thickness": 1.2,
            },
            hovertemplate=f"%{{y}}: %{{x:,.0f}} {unit}<extra></extra>",
            row=1,
            col=column,
        )
        figure.update_xaxes(title_text=unit, row=1, col=column)
    figure.update_yaxes(autorange="reversed")
    cheap, quick = titles[int(np.argmin(costs))], titles[int(np.argmin(days))]
    both = f"{cheap} forgives a design error most cheaply"
    both += " and most quickly" if cheap == quick else f", {quick.lower()} most quickly"
    figure = _titled(styled(figure, 130 + 45 * len(errors)), both)
    figure.update_layout(margin={"r": 60, "l": 120})
    table = pd.DataFrame(
        {f"cost [{money}]": costs, "days": days, "error of the mean cost": [_error(run) for run in cost_runs],
         "error of the mean days": [_error(run) for run in day_runs]}
        | {f"{what} {share:.0%}": [np.quantile(run, share) for run in runs]
           for what, runs in (("cost", cost_runs), ("days", day_runs)) for share in (LOW, HIGH)},
        index=titles,
    )  # fmt: skip
    return Chart(
        figure,
        f"{both}: at least {min(costs):,.0f} {money} and {min(days):.0f} days, on average.",
        "One bar a route: on the left the money, on the right the days that one design error costs on average; a thin "
        "line holds nine runs of ten.",
        table,
    )


def _error(values):
    """Standard error of a mean."""
    return float(np.std(values) / np.sqrt(values.size))
