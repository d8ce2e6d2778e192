"""The shared workshop's orders in the calendar."""

import datetime as dt
from dataclasses import replace

from pourprint.figures.look import INK, LOOKS, Chart
from pourprint.figures.plan import QUEUE, calendar_bars, span_pieces
from pourprint.figures.strokes import plain, write

COLOURS = [look.colour for look in LOOKS.values()]  # of orders, not of routes


def workshop_chart(timeline):
    """All orders of a workshop in the calendar, one row a batch: queue, hands-on, rest, machine, waiting.

    Parameters: `timeline` Timeline. Days on which nobody comes are grey. Returns: Chart.
    """
    start, batches = timeline.start, {order.name: len(order.batches) for order in timeline.orders}
    midnight = dt.datetime.combine(start.date(), dt.time())
    midnight_h = (start - midnight) / dt.timedelta(hours=1)
    colours = {name: COLOURS[i % len(COLOURS)] for i, name in enumerate(batches)}
    drawn = []
    for slot in sorted(timeline.slots, key=lambda slot: [*batches].index(slot.order)):
        span, calendar = slot.span, timeline.workshop.calendar(slot.span.step.who, start.date())
        row = slot.order + (f", {f'batch {slot.batch}' if slot.batch else 'desk'}" if batches[slot.order] > 1 else "")
        pieces = [(QUEUE, span.begin_h - slot.queued_h, span.begin_h)] * (slot.queued_h > 1e-6)
        pieces += span_pieces(replace(span, ready_h=span.begin_h), calendar, midnight_h)
        drawn += [(row, kind, a, b, colours[slot.order], f"{plain(row)}: {span.step.name}") for kind, a, b in pieces]
    rows = dict.fromkeys(piece[0] for piece in drawn)
    summary = timeline.summary()
    worst, lost = summary["days_queued"].idxmax(), summary["days_queued"].max()
    busiest, held = next(iter(timeline.load().items()))
    queues = f"The order “{worst}” loses {lost:.1f} days in queues" if lost > 0.05 else "No order loses time in queues"
    figure = calendar_bars(queues, start, drawn, rows, timeline.workshop.hours)
    last = start + dt.timedelta(hours=float(max(piece[3] for piece in drawn)))
    for booking in timeline.workshop.booked:
        ends = [str(day) for day in (booking.first, booking.last + dt.timedelta(days=1))]
        for day in ends:
            figure.add_vline(x=day, line={"color": INK, "dash": "dot", "width": 1})
        text = f"{_named(booking.resource)} booked between the dotted lines"
        write(figure, ends[0], 1, text, anchor="left", yref="paper", yanchor="bottom")
    more = 16 * bool(timeline.workshop.booked)
    figure.update_layout(margin={"t": figure.layout.margin.t + more}, height=figure.layout.height + more)
    return Chart(
        figure,
        f"The last task ends {last:%a %d %b}. Busiest is the {_named(busiest)}, with {held:.0f} h.",
        f"Bars over dates in {len(rows)} rows, one for the desk work and each batch of {len(batches)} orders. Plain "
        "pieces are hands-on work, lines along them hours in which it rests, stripes machines, dots drying and "
        "cooling, crosses queues; grey days are closed.",
        summary,
    )


def _named(resource):
    return plain(resource.partition(".")[2])
