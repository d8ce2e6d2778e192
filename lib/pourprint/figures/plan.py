"""One plan by itself: what each step costs, and when it happens; and the calendar that draws it and a workshop's."""

import datetime as dt

import pandas as pd

from pourprint.figures.look import HATCH, INK, LOOKS, RESTS, SHADE, Chart, counted, sheer
from pourprint.figures.strokes import band, bars, canvas
from pourprint.plans.days import calendar_of
from pourprint.plans.plan import made

QUEUE = "in a queue"
MARKS = {"hands-on": "plain: hands-on", RESTS: "lines: at rest", "machine": "stripes: in a machine"} | {
    "waiting": "dots: waiting", QUEUE: "crosses: in a queue"
}  # fmt: skip


def plan_costs(plan):
    """Cost of each step in the whole job, as bars in the order of work. Needs a plan of single numbers: Chart."""
    table = made(plan).table()
    money, names, costs = plan.rates.currency, table["step"].tolist(), table["cost"]
    dearest = table.loc[costs.idxmax()]
    title = f"{plan.title}: “{dearest['step']}” takes {dearest['cost']:,.0f} of {plan.total_cost:,.0f} {money}"
    figure = canvas(title, f"cost of the job [{money}]", rows=names)
    said, hover = [f"{cost:,.0f}" for cost in costs], f"%{{y}}: %{{x:,.0f}} {money}"
    bars(figure, costs, names, LOOKS[plan.route].colour, said=said, hover=hover)
    columns = ["step", "labour", "machine_cost", "material", "energy", "cost"]
    return Chart(
        figure,
        f"{counted(plan.job.quantity, plan.job.kit.noun)} for {plan.total_cost:,.0f} {money}, {plan.unit_cost:,.0f} "
        f"{money} each; “{dearest['step']}” takes {dearest['cost'] / plan.total_cost:.0%}.",
        f"{len(names)} horizontal bars, one a step from first to last, as long as the step costs.",
        table[columns].set_index("step"),
    )


# Dates below each other: the day is said once, below the hours or the day's number.
MOST_TICKS, A_WEEK = 4, 7  # [-], [d]
TICKS = [
    {"dtickrange": [None, 86_399_999], "value": "%H:%M\n%a %d %b"},
    {"dtickrange": [86_400_000, None], "value": "%a %d\n%b %Y"},
]


def plan_timeline(plan):
    """When each step of the first batch happens. Needs a plan of single numbers, of a job with a start: Chart."""
    begin, spans = made(plan).begin, plan.spans()
    calendar, begin_h = calendar_of(plan)
    names, colour = dict.fromkeys(span.step.name for span in spans), LOOKS[plan.route].colour
    told = [(span.step.name, piece) for span in spans for piece in span_pieces(span, calendar, begin_h)]
    pieces = [(name, *piece, colour, name) for name, piece in told]
    kinds = {kind: sum(to_h - from_h for _, what, from_h, to_h, *_ in pieces if what == kind) / 24 for kind in HATCH}
    worked, rested, ran, waited = kinds.values()
    most = max(kinds, key=kinds.get)
    days, what = spans[-1].end_h / 24, "in a machine" if most == "machine" else most
    title = f"{plan.title}: {days:.1f} days for the first batch, {kinds[most]:.1f} of them {what}"
    figure = calendar_bars(title, begin, pieces, names, plan.rates.hours)
    return Chart(
        figure,
        f"Of the days, {waited:.1f} are waiting (drying, cooling or computing), {ran:.1f} in machines, {worked:.1f} "
        f"hands, and in {rested:.1f} work rests: closed hours, laid down, or a machine that its clock starts later.",
        f"{len(names)} rows, one a step; bars from begin to end of each round, on a "
        f"calendar from {begin:%d %b %Y}. Where work rests, the bar has lines along it; grey days are closed.",
        plan.timeline().set_index("step"),
    )


def calendar_bars(title, start, pieces, rows, hours):
    """Rows of bars in the calendar, told apart by what happens; days on which nobody comes are grey.

    Parameters: `start` a datetime; `pieces` [(row, kind, from, to [h since start], colour, what is said)], kinds as in
    MARKS; `rows` names, first on top; `hours` WorkingHours. Returns: go.Figure with one trace a kind and colour: plotly
    finds the hatch's own colour for one, not for a list.
    """
    kinds = [kind for kind in MARKS if any(piece[1] == kind for piece in pieces)]
    key = " · ".join(MARKS[kind] for kind in kinds)
    figure = canvas(title, "date; grey days are closed", rows=rows, key=key, r=25, b=70)
    shade, hatch = SHADE | {QUEUE: 1.0}, HATCH | {QUEUE: "x"}
    table = pd.DataFrame(pieces, columns=["row", "kind", "from_h", "to_h", "colour", "said"])
    for (kind, colour), mine in table.groupby(["kind", "colour"], sort=False):
        took, base = mine["to_h"] - mine["from_h"], [start + dt.timedelta(hours=from_h) for from_h in mine["from_h"]]
        said = [f"{what}, {kind}: {took_h:.1f} h" for what, took_h in zip(mine["said"], took, strict=True)]
        look = {"ink": INK, "rim_px": 1, "name": kind, "base": base, "customdata": said, "hover": "%{customdata}"}
        # Plotly counts milliseconds.
        bars(figure, 3.6e6 * took, mine["row"], sheer(colour, shade[kind]), hatch[kind], **look)
    first, days = dt.datetime.combine(start.date(), dt.time()), 1 + int(table["to_h"].max() / 24)
    for day in (first + dt.timedelta(days=i) for i in range(days + 1)):
        if not hours.works(day.date()):
            band(figure, day, day + dt.timedelta(days=1))
    monday = first - dt.timedelta(days=first.weekday())
    weeks = -(-days // (A_WEEK * MOST_TICKS))  # between two ticks; where one week holds all, plotly's own
    ticks = {"tick0": monday, "dtick": weeks * A_WEEK * 86_400_000} if days > 2 * A_WEEK else {"nticks": MOST_TICKS + 1}
    figure.update_xaxes(type="date", tickangle=0, tickformatstops=TICKS, **ticks)
    return figure.update_layout(barmode="overlay", bargap=0.25)


def span_pieces(span, calendar, begin_h=0.0):
    """What happens in a span: [(kind, from, to)] in order, what rests before and within hands-on work told apart.

    Parameters: `span` Span; `calendar` Calendar of who works; `begin_h` where the span's hours begin [h since the
    calendar's first midnight]. Returns: times as the span counts them [h].
    """
    pieces, at_h = [(RESTS, span.worked_h, span.starts_h), ("machine", span.starts_h, span.ran_h)], span.ready_h
    pieces.append(("waiting", span.unloaded_h, span.end_h))
    for from_h, to_h in span.hands:
        if from_h >= span.ran_h - 1e-9 > span.worked_h - 1e-9:
            at_h = max(at_h, span.ran_h)  # unloading
        for opens_h, closes_h in calendar.open_spans(begin_h + from_h, begin_h + to_h):
            pieces += [(RESTS, at_h, opens_h - begin_h), ("hands-on", opens_h - begin_h, closes_h - begin_h)]
            at_h = closes_h - begin_h
    return sorted((piece for piece in pieces if piece[2] - piece[1] > 1e-6), key=lambda piece: piece[1])
