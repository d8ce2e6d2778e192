"""One plan by itself: what each step costs, and when it happens."""

import datetime as dt

import plotly.graph_objects as go

from pourprint.figures.look import CLOSED, HATCH, INK, LOOKS, SHADE, Chart, counted, styled, tint
from pourprint.ledger.workdays import moment_of, start_of
from pourprint.plans.plan import made

ROW_PX = 24  # a step's bar and its name


def _by_step(figure, names):
    """Steps down the page, the first on top, all of them named."""
    figure.update_yaxes(categoryorder="array", categoryarray=names[::-1], automargin=True, ticksuffix="  ")
    styled(figure, height=ROW_PX * len(names) + 125)
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
        f"{counted(plan.job.quantity, 'kit')} for {plan.total_cost:,.0f} {money}, {plan.unit_cost:,.0f} {money} each; "
        f"“{dearest['step']}” takes {dearest['cost'] / plan.total_cost:.0%}.",
        f"{len(names)} horizontal bars, one a step from first to last, as long as the step costs.",
        table[columns].set_index("step"),
    )


def plan_timeline(plan, start):
    """When each step of the first batch happens. Needs a plan of single numbers; `start` date and time: Chart."""
    spans, begin = made(plan).spans(start), moment_of(start)
    calendar, begin_h = start_of(start, plan.rates.hours)
    pieces = [(span.step.name, *piece) for span in spans for piece in span_pieces(span, calendar, begin_h)]
    names = list(dict.fromkeys(span.step.name for span in spans))
    colour = LOOKS[plan.route].colour
    figure = go.Figure()
    for kind in HATCH:
        mine = [(name, from_h, to_h) for name, what, from_h, to_h in pieces if what == kind]
        figure.add_bar(
            name=kind,
            orientation="h",
            y=[name for name, _, _ in mine],
            base=[begin + dt.timedelta(hours=from_h) for _, from_h, _ in mine],
            x=[3.6e6 * (to_h - from_h) for _, from_h, to_h in mine],  # plotly counts milliseconds
            marker={
                "color": tint(colour, SHADE[kind]),
                "pattern": {"shape": HATCH[kind], "fgcolor": INK, "size": 5, "solidity": 0.2, "fillmode": "overlay"},
            },
            hovertemplate="%{y}, " + kind + "<extra></extra>",
        )
    figure.update_xaxes(type="date", title_text="date")
    days = spans[-1].end_h / 24
    worked, rested, ran, waited = (
        sum(to_h - from_h for _, what, from_h, to_h in pieces if what == kind) / 24 for kind in HATCH
    )
    key = "plain: hands-on · lines: closed · strokes: machine alone · dots: waiting"
    most, what = max((worked, "hands-on"), (rested, CLOSED), (ran, "machine alone"), (waited, "waiting"))
    title = f"{plan.title}: {days:.1f} days for the first batch, {most:.1f} of them {what}<br><sup>{key}</sup>"
    figure.update_layout(title=title, bargap=0.25)
    figure = _by_step(figure, names).update_layout(barmode="overlay", margin={"b": 75, "t": 70})  # ticks of two lines
    return Chart(
        figure,
        f"The first batch takes {days:.1f} days: {waited:.1f} of waiting (drying, cooling or computing), {ran:.1f} of "
        f"machines alone, {worked:.1f} of hands, and {rested:.1f} in which work rests since nobody is there.",
        f"{len(names)} rows, one a step; bars from begin to end of each round, on a calendar from {begin:%d %b %Y}. "
        "Where work rests, the bar is light with lines along it.",
        plan.timeline(start).set_index("step"),
    )


def span_pieces(span, calendar, begin_h=0.0):
    """What happens in a span: [(kind, from, to)] in order, closed hours before and within hands-on work told apart.

    Parameters: `span` Span; `calendar` Calendar of who works; `begin_h` where the span's hours begin [h since the
    calendar's first midnight]. Returns: times as the span counts them [h].
    """
    pieces, at_h = [], span.ready_h
    for opens_h, closes_h in calendar.open_spans(begin_h + span.begin_h, begin_h + span.worked_h):
        pieces += [(CLOSED, at_h, opens_h - begin_h), ("hands-on", opens_h - begin_h, closes_h - begin_h)]
        at_h = closes_h - begin_h
    pieces += [("machine", span.worked_h, span.ran_h), ("waiting", span.ran_h, span.end_h)]
    return [(kind, from_h, to_h) for kind, from_h, to_h in pieces if to_h - from_h > 1e-6]
