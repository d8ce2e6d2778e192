"""One plan by itself: what each step costs, and when it happens."""

import datetime as dt

import plotly.graph_objects as go

from pourprint.figures._look import HATCH, INK, KINDS, LOOKS, Chart, styled, tint
from pourprint.plans import made, moment_of

ROW_PX = 24  # a step's bar and its name


def _by_step(figure, names):
    """Steps down the page, the first on top, all of them named."""
    figure.update_yaxes(categoryorder="array", categoryarray=names[::-1], automargin=True, ticksuffix="  ")
    styled(figure, height=ROW_PX * len(names) + 110)
    return figure.update_layout(margin={"l": 10, "r": 70})


def plan_costs(plan):
    """Cost of each step in the whole job, as bars in the order of work. Needs a plan of single numbers: Chart."""
    table = made(plan).table()
    money, names = plan.rates.currency, table["step"].tolist()
    dearest = table.loc[table["cost"].idxmax()]
    figure = go.Figure(
        go.Bar(
            x=table["cost"],
            y=names,
            orientation="h",
            marker={"color": LOOKS[plan.route].colour},
            text=[f"{cost:,.0f}" for cost in table["cost"]],
            textposition="outside",
            cliponaxis=False,
            hovertemplate="%{y}: %{x:,.0f} " + money + "<extra></extra>",
        )
    )
    figure.update_xaxes(title_text=f"cost of the job [{money}]", rangemode="tozero")
    figure.update_layout(title=f"{plan.title}: the dearest step is “{dearest['step']}”")
    columns = ["step", "labour", "machine_cost", "material", "energy", "cost"]
    return Chart(
        _by_step(figure, names),
        f"{plan.job.quantity} of the kit cost {plan.total_cost:,.0f} {money}, {plan.unit_cost:,.0f} {money} each; "
        f"“{dearest['step']}” takes {dearest['cost'] / plan.total_cost:.0%}.",
        f"{len(names)} horizontal bars, one a step from first to last, as long as the step costs.",
        table[columns].set_index("step"),
    )


def plan_timeline(plan, start):
    """When each step of the first batch happens. Needs a plan of single numbers; `start` date and time: Chart."""
    spans, begin = made(plan).spans(start), moment_of(start)
    names = list(dict.fromkeys(span.step.name for span in spans))
    colour = LOOKS[plan.route].colour
    figure = go.Figure()
    for kind, white, ends in zip(KINDS, (0.0, 0.45, 0.8), ("begin worked", "worked ran", "ran end"), strict=True):
        first, last = (f"{end}_h" for end in ends.split())
        pieces = [span for span in spans if getattr(span, last) > getattr(span, first)]
        figure.add_bar(
            name=kind,
            orientation="h",
            y=[span.step.name for span in pieces],
            base=[begin + dt.timedelta(hours=getattr(span, first)) for span in pieces],
            x=[3.6e6 * (getattr(span, last) - getattr(span, first)) for span in pieces],  # plotly counts milliseconds
            marker={
                "color": tint(colour, white),
                "pattern": {"shape": HATCH[kind], "fgcolor": INK, "size": 5, "solidity": 0.2, "fillmode": "overlay"},
            },
            hovertemplate="%{y}, " + kind + "<extra></extra>",
        )
    figure.update_xaxes(
        type="date",
        title_text="plain: hands-on, rests at night · strokes: machine alone · dots: waiting",
        title_standoff=8,
    )
    days = spans[-1].end_h / 24
    figure.update_layout(title=f"{plan.title}: {days:.1f} days for the first batch", bargap=0.25)
    figure = _by_step(figure, names).update_layout(barmode="overlay", margin={"b": 75})  # ticks of two lines
    waited = sum(span.end_h - span.ran_h for span in spans) / 24
    return Chart(
        figure,
        f"The first batch takes {days:.1f} days, {waited:.1f} of them waiting: drying, cooling or computing.",
        f"{len(names)} rows, one a step; bars from begin to end of each round, on a calendar from {begin:%d %b %Y}.",
        plan.timeline(start).set_index("step"),
    )
