"""Charts of a lab's own affairs: the shared workshop, its log, its repeats and its dies."""

import datetime as dt
from dataclasses import replace

import numpy as np
import plotly.graph_objects as go

from pourprint.decide.learning import SHARES, Curve
from pourprint.figures.decide import round_numbers
from pourprint.figures.look import HATCH, INK, LOOKS, SHADE, Chart, counted, styled, tint, title_of
from pourprint.figures.plan import span_pieces
from pourprint.ledger.entries import Kind
from pourprint.ledger.lab_log import update_table
from pourprint.ledger.workdays import DAYS

QUEUE = "in a queue"
ORDER_COLOURS = [look.colour for look in LOOKS.values()]

# The workshop ---------------------------------------------------------------------------------------------


def workshop_chart(timeline):
    """All orders of a workshop in the calendar, one row a batch: queue, hands-on, closed hours, machine, waiting.

    Parameters: `timeline` Timeline. Days on which nobody comes are grey. Returns: Chart.
    """
    bars, names = [], [order.name for order in timeline.orders]
    midnight_h = (timeline.start - dt.datetime.combine(timeline.start.date(), dt.time())) / dt.timedelta(hours=1)
    for slot in timeline.slots:
        span, row = slot.span, _row(timeline, slot)
        calendar = timeline.workshop.calendar(span.step.who, timeline.start.date())
        queued = [(QUEUE, span.begin_h - slot.queued_h, span.begin_h)] * (slot.queued_h > 1e-6)
        pieces = queued + span_pieces(replace(span, ready_h=span.begin_h), calendar, midnight_h)
        bars += [(row, slot.order, kind, a, b, span.step.name) for kind, a, b in pieces]
    shade, hatch = {**SHADE, QUEUE: 1.0}, {**HATCH, QUEUE: "x"}
    bars.sort(key=lambda bar: names.index(bar[1]))
    rows = len({bar[0] for bar in bars})
    figure = styled(go.Figure(), height=180 + 34 * rows)
    figure.add_trace(
        go.Bar(
            y=[bar[0] for bar in bars],
            base=[timeline.start + dt.timedelta(hours=bar[3]) for bar in bars],
            x=[3_600_000 * (bar[4] - bar[3]) for bar in bars],
            orientation="h",
            customdata=[f"{bar[5]}, {bar[2]}: {bar[4] - bar[3]:.1f} h" for bar in bars],
            hovertemplate="%{y}<br>%{customdata}<extra></extra>",
            marker={
                "color": [tint(ORDER_COLOURS[names.index(bar[1]) % len(ORDER_COLOURS)], shade[bar[2]]) for bar in bars],
                "pattern": {"shape": [hatch[bar[2]] for bar in bars], "fillmode": "overlay", "fgcolor": INK}
                | {"solidity": 0.2, "size": 6},
                "line": {"width": 0},
            },
        )
    )
    last = timeline.start + dt.timedelta(hours=float(max(bar[4] for bar in bars)))
    for day in _closed_days(timeline, last):
        figure.add_vrect(x0=day, x1=day + dt.timedelta(days=1), fillcolor="#DDDDDD", line_width=0, layer="below")
    for booking in timeline.workshop.booked:
        after = booking.last + dt.timedelta(days=1)
        figure.add_vline(x=str(booking.first), line={"color": INK, "dash": "dot", "width": 1})
        figure.add_vline(x=str(after), line={"color": INK, "dash": "dot", "width": 1})
        text = f"{booking.resource.partition('.')[2].replace('_', ' ')} booked"
        figure.add_annotation(x=str(booking.first), y=1, yref="paper", text=text, showarrow=False, yanchor="bottom")
    figure.update_xaxes(title_text="date", type="date")
    figure.update_yaxes(autorange="reversed", automargin=True)
    summary = timeline.summary()
    worst = summary["days_queued"].idxmax()
    busiest, held = next(iter(timeline.load().items()))
    lost = summary["days_queued"].max()
    queues = f"the order “{worst}” loses {lost:.1f} days in queues" if lost > 0.05 else "no order loses time in queues"
    key = "plain: hands-on   − closed   ⁄ machine   · waiting   × in a queue"
    figure.update_layout(title=f"{queues[0].upper()}{queues[1:]}<br><sup>{key}</sup>", margin={"t": 85})
    takeaway = (
        f"The last task ends {last:%a %d %b}; {queues}. Busiest is the "
        f"{busiest.partition('.')[2].replace('_', ' ')}, with {held:.0f} h."
    )
    alt = (
        f"Bars over dates in {rows} rows, one for the desk work and each batch of {len(names)} orders. Plain pieces "
        "are hands-on work, lines along them hours in which it rests, strokes machines, dots drying and cooling, "
        "crosses queues; grey days are closed."
    )
    return Chart(figure, takeaway, alt, summary)


def _row(timeline, slot):
    batches = next(len(order.batches) for order in timeline.orders if order.name == slot.order)
    if batches == 1:
        return slot.order
    return f"{slot.order}, {f'batch {slot.batch}' if slot.batch else 'desk'}"


def _closed_days(timeline, last):
    hours, first = timeline.workshop.hours, timeline.start.date()
    days = [first + dt.timedelta(days=i) for i in range((last.date() - first).days + 1)]
    return [
        dt.datetime.combine(d, dt.time()) for d in days if DAYS[d.weekday()] not in hours.days or d in hours.holidays
    ]


# The log --------------------------------------------------------------------------------------------------


def belief_chart(update):
    """Prior, data and posterior of one number of the card. Parameters: `update` an Update of `lab_log.updates`."""
    prior, posterior = update.prior.distribution(), update.posterior.distribution()
    low = min(prior.ppf(0.002), posterior.ppf(0.001), update.seen)
    high = max(prior.ppf(0.998), posterior.ppf(0.999), update.seen)
    if update.entry.kind is Kind.YIELD:
        high = min(high, 1.0)
    x = np.linspace(low, high, 301)
    unit = "" if update.entry.unit == "-" else f" {update.entry.unit}"
    pieces, amount = update.data
    figure = styled(go.Figure(), height=380)
    lines = (
        ("the table's range", prior, "#0072B2", "dash"),
        ("after the log", posterior, "#D55E00", "solid"),
    )
    top, left = 0.0, min(prior, posterior, key=lambda belief: belief.mean())
    for name, belief, colour, dash in lines:
        y = belief.pdf(x)
        y = np.where(np.isfinite(y), y, np.nan)
        top = max(top, float(np.nanmax(y)))
        figure.add_scatter(x=x, y=y, mode="lines", line={"color": colour, "dash": dash, "width": 2.5}, hoverinfo="skip")
        # Named on its outer flank, two thirds up, where no other line runs.
        high_up = np.flatnonzero(y > 0.67 * np.nanmax(y))
        at, side = (high_up[0], "right") if belief is left else (high_up[-1], "left")
        shift = -8 if side == "right" else 8
        label = {"text": name, "font": {"color": colour}, "xanchor": side, "xshift": shift, "showarrow": False}
        figure.add_annotation(x=x[at], y=y[at], **label)
    timed = f"{counted(pieces, 'piece')} took {amount:.2f}{unit}"
    said = f"{amount:g} of {pieces} failed" if update.entry.kind is Kind.YIELD else timed
    figure.add_vline(x=update.seen, line={"color": INK, "dash": "dot", "width": 2})
    label = f"the log alone: {said}"
    figure.add_annotation(x=update.seen, y=1, yref="paper", yanchor="bottom", text=label, showarrow=False)
    room = 0.2 * (high - low)  # for the names on the outer flanks
    figure.update_xaxes(title_text=f"{update.key} [{update.entry.unit}]", range=[low - room, high + room])
    figure.update_yaxes(title_text="density of belief", rangemode="tozero", range=[0, 1.1 * top])
    name = "yield" if update.entry.kind is Kind.YIELD else "time"
    old, new = update.entry, update.updated
    title = f"The log moves this {name} from {old.value:.3g} to {new.value:.3g}{unit}"
    figure.update_layout(margin={"t": 70}, title=title)
    worth = "about one piece" if update.prior.worth < 1.5 else counted(round(update.prior.worth), "piece")
    takeaway = (
        f"The table's range is worth {worth}, the log {pieces}: {old.value:.3g} becomes {new.value:.3g}{unit}, and the "
        f"range {old.low:.3g} to {old.high:.3g} becomes {new.low:.3g} to {new.high:.3g}."
    )
    alt = (
        f"Two curves over the {name}: dashed, what the table's range says, with its mean at {old.value:.3g}; solid and "
        f"narrower, what it says together with the log, mean {new.value:.3g}. A dotted line marks the log alone, "
        f"{update.seen:.3g}."
    )
    return Chart(figure, takeaway, alt, update_table({update.key: update}).T)


# Repeats --------------------------------------------------------------------------------------------------


def learning_chart(rate, pieces=32):
    """Both forms of the learning curve of one rate: mean time of the first n pieces. Returns: Chart."""
    import pandas as pd

    n = np.arange(1, pieces + 1)
    forms = {
        "average": ("average form (Wright)", "#0072B2", "solid"),
        "unit": ("unit form (Crawford)", "#D55E00", "dash"),
    }
    figure, table = styled(go.Figure(), height=360), {"pieces": n}
    for form, (name, colour, dash) in forms.items():
        table[name] = 100 * Curve(rate, form).mean(n)
        line = {"color": colour, "dash": dash, "width": 2.5}
        figure.add_scatter(x=n, y=table[name], mode="lines", line=line, hovertemplate="%{x} pieces: %{y:.1f} %")
        figure.add_annotation(
            x=n[-1], y=table[name][-1], text=name, showarrow=False, xanchor="right", yshift=-14, font={"color": colour}
        )
    figure.update_xaxes(title_text="pieces made", rangemode="tozero")
    figure.update_yaxes(title_text="mean time a piece [% of the first]", range=[0, 105])
    totals = {form: 100 * float(Curve(rate, form).total(pieces)) for form in forms}
    first, second = (total / 100 for total in totals.values())
    total = f"{counted(pieces, 'piece')} in {first:.1f}"
    figure.update_layout(title=f"“{rate:.0%} curve”: {total} or {second:.1f} times the time of the first")
    takeaway = (
        f"{total} times the time of the first in the average form, {second:.1f} times in the unit form: "
        "ask which form a rate belongs to."
    )
    alt = f"Two falling lines over 1 to {pieces} pieces, both from 100 %: the average form falls faster."
    shown = pd.DataFrame(table).set_index("pieces")
    return Chart(figure, takeaway, alt, shown.loc[[i for i in shown.index if i & (i - 1) == 0]])


def repeats_chart(table, currency):
    """Cost of a kit over repeat orders, by how often work falls due. Parameters: `table` of `learning.repeats`."""
    figure = styled(go.Figure(), height=380)
    hatches = ("", ".", "/", "x")
    below, lowest = np.zeros(len(table)), 0.0
    for i, share in enumerate(reversed(SHARES)):
        y = table[share].to_numpy()
        marker = {
            "color": tint("#0072B2", 0.2 + 0.2 * i),
            "pattern": {"shape": hatches[::-1][i], "fillmode": "overlay"},
        }
        marker["pattern"] |= {"fgcolor": INK, "solidity": 0.2}
        figure.add_bar(x=table.index, y=y, marker=marker, hovertemplate=share + ": %{y:,.0f}<extra></extra>")
        if y[0] > 0:  # thin pieces lie close together, and their names must not
            at = max(below[-1] + y[-1] / 2, lowest)
            figure.add_annotation(x=len(table) + 0.5, y=at, text=share, showarrow=False, xanchor="left")
            lowest = at + 0.07 * table["unit_cost"].iloc[0]
        below = below + y
    figure.update_xaxes(title_text="orders so far", tickvals=list(table.index), range=[0.4, 1.35 * len(table) + 1])
    figure.update_yaxes(title_text=f"{currency} a kit")
    first, last = table["unit_cost"].iloc[[0, -1]]
    orders = counted(len(table), "order")
    figure.update_layout(title=f"After {orders} a kit has cost {last / first:.0%} of the first order's")
    takeaway = (
        f"After {orders} a kit has cost {last:,.0f} {currency} instead of {first:,.0f}: what is done once is "
        "shared out, the rest falls due again with every order."
    )
    alt = f"Stacked bars of the cost of a kit after 1 to {len(table)} orders; the part done once a job shrinks."
    return Chart(figure, takeaway, alt, table)


def die_chart(plain, learned=None, routes=("printed_pattern", "tooled_pattern"), currency=""):
    """Unit cost over quantity without and with a die, and where the die pays.

    Parameters: `plain` DiePays; `learned` DiePays with a learning curve, drawn thin. Returns: Chart.
    """
    import pandas as pd

    figure, table = styled(go.Figure(), height=420), {"kits": plain.quantities}
    for found, width, more in ((plain, 2.5, ""), (learned, 1.2, ", learning")):
        if found is None:
            continue
        for route, cost in zip(routes, (found.without, found.with_die), strict=True):
            look = LOOKS[route]
            line = {"color": look.colour, "dash": look.dash, "width": width, "shape": "hv"}
            figure.add_scatter(x=found.quantities, y=cost, mode="lines", line=line, hoverinfo="skip")
            table[title_of(route) + more] = cost
            if not more:
                at = {"x": np.log10(found.quantities[0]), "y": np.log10(cost[0]), "xanchor": "left", "yshift": 12}
                figure.add_annotation(**at, text=title_of(route), showarrow=False, font={"color": look.colour})
        if found.pays_from:
            at = int(np.searchsorted(found.quantities, found.pays_from))
            figure.add_scatter(
                x=[found.pays_from],
                y=[found.with_die[at]],
                mode="markers+text",
                marker={"symbol": "x-thin", "size": 13, "line": {"width": 2.5, "color": INK}},
                text=[f"from {found.pays_from}{more}"],
                textposition="bottom left" if more else "top right",
                hoverinfo="skip",
            )
    figure.update_xaxes(title_text="kits wanted", type="log", tickvals=round_numbers())
    figure.update_yaxes(title_text=f"{currency} a kit".strip(), type="log", tickvals=round_numbers())
    pays = "from the first kit on" if plain.pays_from == 1 else f"from {plain.pays_from} kits on"
    pays = pays if plain.pays_from else f"nowhere up to {counted(plain.quantities[-1], 'kit')}"
    later = ""
    if learned is not None:
        where = f"from {learned.pays_from}" if learned.pays_from else f"nowhere up to {plain.quantities[-1]}"
        later = f" With learning: {where}."
    figure.update_layout(title=f"The die pays {pays}")
    alt = (
        "Two falling lines over quantity, both axes logarithmic: with a die the cost of a kit begins high and falls "
        f"below the other {pays}; thin lines include learning." if learned is not None else
        f"Two falling lines over quantity, both axes logarithmic; the one with a die falls below the other {pays}."
    )  # fmt: skip
    shown = pd.DataFrame(table).set_index("kits")
    picked = [int(n) for n in round_numbers() if n in shown.index]
    return Chart(figure, f"The die pays {pays}.{later}", alt, shown.loc[picked])
