"""How sure cost and days are: spreads, chances of a date, and what failures and a design error cost."""

import numpy as np
import pandas as pd

from pourprint.figures.bars import Bar, Piece, stacked_bars
from pourprint.figures.look import INK, LOOKS, Chart, tint
from pourprint.figures.strokes import TALL, bars, box, canvas, line, mark, names, write
from pourprint.ledger.errors import InputError
from pourprint.risk.simulation import of_runs

LETTER = 0.017  # of a route's name, as a share of the width of the panel's narrow chart
CURVE_POINTS = 80  # of a chance-of-delivery curve: enough for the eye, few enough to redraw quickly
MARKS = (0.05, 0.25, 0.5, 0.75, 0.95)


def _titles(runs):
    return [run.plan.title for run in runs.values()]


def _unit_costs(runs, price_of_day=0.0):
    """Cost of a kit with its share of the days of each route [(n,)] [currency]."""
    return [run.with_delay(price_of_day) / run.plan.job.quantity for run in runs.values()]


def spread_bars(runs, price_of_day):
    """What a kit costs with its share of the days, as HTML bars of each route's runs; the page needs `bars.STYLE`.

    Parameters: `runs` {route: Runs}; `price_of_day` [currency/d].
    """
    rows = []
    for (route, run), costs in zip(runs.items(), _unit_costs(runs, price_of_day), strict=True):
        thin, thick = (tint(LOOKS[route].colour, white) for white in (0.6, 0.35))
        (low, quarter, _, three, high), mean = np.quantile(costs, MARKS).tolist(), float(costs.mean())
        pieces = (
            Piece("", low, "#0000", "first 5% of the runs"),
            Piece("", quarter - low, thin, "next 20% of the runs", "thin"),
            Piece("", three - quarter, thick, "middle half of the runs"),
            Piece("", high - three, thin, "next 20% of the runs", "thin"),
        )
        rows.append(Bar(run.plan.title, pieces, mean, mean))
    unit = f"{money_of_one(runs)}, days priced; thick: half of the runs, thin: nine of ten, stroke and number: mean"
    return stacked_bars("What one comes to", rows, unit, "{:,.0f}", "mean")


def spread_chart(runs):
    """Cost of a kit and days of each route as drawn, beside the plan without failures. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job, as from `simulate_all`.
    """
    titles = _titles(runs)
    planned = np.transpose([(run.plan.unit_cost, run.plan.lead_time_days) for run in runs.values()])
    drawn = np.array([_unit_costs(runs), [run.days for run in runs.values()]])  # (cost and days, routes, n)
    dearer, slower = drawn.mean(axis=2) / planned
    k = int(np.argmax(slower))
    title = f"{titles[k]}: on average {slower[k]:.1f} times its plan's days, {dearer[k]:.1f} times its cost"
    units = (money_of_one(runs), "days to delivery [d]")
    key = "box: half of the runs, parted at the middle · whiskers: nine of ten · stroke: the plan without failures"
    figure = canvas(title, units, rows=titles, row_px=62, key=key, zero="x", r=20)
    ends = np.quantile(drawn, MARKS, axis=2)
    for panel, (plan, found) in enumerate(zip(planned, np.moveaxis(ends, 1, 0), strict=True), start=1):
        for route, title, marks in zip(runs, titles, found.T, strict=True):
            box(figure, marks, title, LOOKS[route].colour, panel)
        said = "%{y}: the plan without failures, %{x:,.0f}"
        mark(figure, plan, titles, INK, "line-ns", 26, said, panel, name="the plan without failures")
    columns = [f"{what} {share:.0%}" for what in ("cost", "days") for share in MARKS]
    return Chart(
        figure,
        f"{titles[k]} suffers most, on average, from what fails and from what is not known.",
        f"For each route a box from 25 to 75% of {drawn.shape[2]} runs, parted at the middle, with "
        "whiskers from 5 to 95%, and a bold stroke where the plan without failures stands; left what one costs, right "
        "days.",
        pd.DataFrame(np.concatenate([*np.moveaxis(ends, 1, 0)]).T, index=titles, columns=columns),
    )


def money_of_one(runs):
    """The unit of what one kit, or one piece of a lone part, costs: "EUR a kit"."""
    plan = next(iter(runs.values())).plan
    return f"{plan.rates.currency} a {plan.job.kit.noun}"


def chance_data(runs, deadline_days):
    """Traces of the chance of delivery over time.

    Parameters: `runs` {route: Runs}; `deadline_days` [d]. Returns: list of dicts: a curve for each route (x
    days or dates, y chance [-]), the upright line of the deadline, the places of the curves' names.
    """
    shares = np.concatenate([[0.0], np.linspace(0, 0.995, CURVE_POINTS)])  # the last runs would stretch the axis
    first = next(iter(runs.values()))  # all start alike
    # From the start on, where nothing has come, there is room for a name to the left of the first curve.
    days = [np.concatenate([[0.0], np.quantile(run.days, shares[1:])]) for run in runs.values()]
    curves = [{"x": _place(first, own), "y": shares} for own in days]
    at, heights, sides = zip(*_clear_spots(_titles(runs), shares, days, deadline_days), strict=True)
    named = {"x": _place(first, at), "y": np.array(heights), "textposition": [f"middle {side}" for side in sides]}
    upright = {"x": _place(first, [deadline_days] * 2), "y": np.array([0.0, 1.04])}
    return [*curves, upright, named]


def _clear_spots(titles, shares, days, deadline_days):
    """Where each route's name stands: beside its curve, at the height and on the side where least is in its way.

    Parameters: `titles` of the routes; `shares` (P,) and `days` [(P,)] of the curves; `deadline_days` of the upright
    line. Returns: [(days, height, "left" or "right")].
    """
    heights, last = np.linspace(0.12, 0.88, 20), max([deadline_days, *(own[-1] for own in days)])
    # What lies at each height of a name, from its foot to its head: [(from (20,), to (20,))].
    taken = [[np.interp(heights + at, shares, own) for at in (-TALL / 2, TALL / 2)] for own in days]
    taken += [np.full((2, heights.size), deadline_days)] * 2  # no name should cross the date
    found = []
    for title, own in zip(titles, taken[: len(titles)], strict=True):
        (begin, end), wide, cost = own, last * LETTER * (len(title) + 2), []
        for left in (end, begin - wide):  # to the right of it, to the left of it
            others = [band for band in taken if band is not own]
            crossed = sum(((since < left + wide) & (left < to)).astype(int) for since, to in others)
            beyond = (np.maximum(-left, 0) + np.maximum(left + wide - last, 0)) / last
            # With the least in its way; then close to its curve, and at half its height.
            cost.append(crossed + 4 * beyond + 0.2 * (end - begin) / last + 0.01 * np.abs(heights - 0.5))
        side, k = np.unravel_index(np.argmin(cost), (2, heights.size))
        at = (end, begin)[side][k]
        left, near = at - wide * side, np.abs(heights - heights[k]) < TALL
        taken.append(np.where(near, [[left], [left + wide]], np.nan))
        found.append((float(at), float(heights[k]), ("right", "left")[side]))
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


def chance_figure(runs, deadline_days, title="", height=400):
    """Curves, deadline and names: go.Figure in the order of `chance_data`."""
    *curves, upright, named = chance_data(runs, deadline_days)
    dated = next(iter(runs.values())).plan.job.start is not None
    figure = canvas(title, "date of delivery" if dated else "days from the start [d]", "chance of delivery", height)
    for (route, run), curve in zip(runs.items(), curves, strict=True):
        look, said = LOOKS[route], f"{run.plan.title}: %{{y:.0%}} by %{{x}}"
        line(figure, **curve, colour=look.colour, dash=look.dash, name=run.plan.title, hover=said)
    words = {"mode": "lines+text", "text": ["", "deadline"], "textposition": "top center", "cliponaxis": False}
    line(figure, **upright, width=1.5, name="deadline", **words)
    text, colours = [f"\u00a0{title}\u00a0" for title in _titles(runs)], [LOOKS[route].colour for route in runs]
    names(figure, **named, text=text, colours=colours, name="names of the routes")
    return figure.update_yaxes(tickformat=".0%", dtick=0.25, range=[0, 1.04])


def chance_chart(runs, deadline):
    """Chance that each route has delivered, over time, and a line at the deadline. Returns: Chart.

    Parameters: `runs` {route: Runs} of one job and start; `deadline` as of `Runs.chance`.
    """
    days = next(iter(runs.values())).days_until(deadline)
    chances = [f"{run.plan.title.lower()} {of_runs(run.chance(deadline))}" for run in runs.values()]
    share = (0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    moments = {run.plan.title: _when(run, np.quantile(run.days, share)) for run in runs.values()}
    table = pd.DataFrame.from_dict(moments, "index", columns=[f"{s:.0%} by" for s in share])
    return Chart(
        chance_figure(runs, days, f"Chance of meeting the deadline: {', '.join(chances)}"),
        " ".join(run.answer(deadline) for run in runs.values()),
        "Chance of delivery from none to all against time, one rising curve a route, each with its dash and name; an "
        "upright line marks the deadline.",
        table,
    )


def design_error_chart(errors, plans):
    """What one fault of the design, found at the first assembly, costs on each route in money and days. Returns: Chart.

    Parameters: `errors` {route: DesignError}; `plans` {route: Plan}.
    """
    money, titles = plans[next(iter(errors))].rates.currency, [plans[route].title for route in errors]
    drawn = np.array([[getattr(error, what) for error in errors.values()] for what in ("cost", "days")])
    mean, (low, high) = drawn.mean(axis=2), np.quantile(drawn, (MARKS[0], MARKS[-1]), axis=2)
    cheap, quick = (titles[k] for k in np.argmin(mean, axis=1))
    both = f"{cheap} forgives a design error most cheaply"
    both += " and most quickly" if cheap == quick else f", {quick.lower()} most quickly"
    across, key = (f"{money} more", "days more"), "bar and number: mean, whole job · thin line: nine runs of ten"
    figure = canvas(both, across, rows=titles, row_px=46, r=20, key=key)
    table = pd.DataFrame({f"cost [{money}]": mean[0], "days": mean[1]}, index=titles)
    colours, error = [tint(LOOKS[route].colour, 0.3) for route in errors], drawn.std(axis=2) / np.sqrt(drawn.shape[2])
    for k, what in enumerate(("cost", "days")):
        ends = {"array": high[k] - mean[k], "arrayminus": mean[k] - low[k], "symmetric": False}
        reach = ends | {"color": INK, "thickness": 1.2}
        bars(figure, mean[k], titles, colours, error_x=reach, panel=k + 1, hover="%{y}: %{x:,.0f}")
        for title, number, end in zip(titles, mean[k], high[k], strict=True):
            write(figure, end, title, f"{number:,.0f}", anchor="left", dx=4, panel=k + 1)
        figure.update_xaxes(range=[0, 1.4 * high[k].max()], row=1, col=k + 1)
        table[f"error of the mean {what}"], table[f"{what} 5%"], table[f"{what} 95%"] = error[k], low[k], high[k]
    return Chart(
        figure,
        f"At least {mean[0].min():,.0f} {money} and {mean[1].min():.0f} days, on average.",
        "One bar a route: on the left the money, on the right the days that one design error costs on average; a thin "
        "line holds nine runs of ten.",
        table,
    )


def failures_chart(plan, found):
    """What the failures of each step cost in the whole job, everything that they send back included. Returns: Chart.

    Parameters: `plan` a Plan; `found` its `rework`.
    """
    costs = dict(sorted(found.rework_cost.items(), key=lambda item: -item[1]))
    if not costs:
        raise InputError(f"{plan.title} has no step that fails: set a yield below 1 to see what failures cost.")
    money, worst = plan.rates.currency, next(iter(costs))
    title = f"{plan.title}: failures at “{worst}” cost most"
    figure = canvas(title, f"expected cost of its failures, whole job [{money}]", rows=costs)
    said = [f"{cost:,.0f}" for cost in costs.values()]
    bars(figure, [*costs.values()], [*costs], tint(LOOKS[plan.route].colour, 0.3), said=said, hover="%{y}: %{x:,.0f}")
    extra, yields = found.cost - found.failure_free_cost, {step.name: step.first_pass_yield for step in plan.steps}
    rows = [(name, yields.get(name, float("nan")), cost) for name, cost in costs.items()]
    return Chart(
        figure,
        f"Failures add {extra:,.0f} {money} ({extra / found.failure_free_cost:.0%}) to the job; the largest share, "
        f"{costs[worst] / sum(costs.values()):.0%}, comes from “{worst}”.",
        "One bar a step that can fail, the dearest on top; its length is what its failures are expected to cost.",
        pd.DataFrame(rows, columns=["step", "first_pass_yield", f"cost_{money}"]).set_index("step"),
    )
