"""Charts of mixes, the workshop, the log, repeats and dies: they draw what the models say, and say it in words."""

import datetime as dt

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.learning import Curve, repeats, when_a_die_pays
from pourprint.decide.mix import choices
from pourprint.figures import lab_log, learning, price
from pourprint.figures import mix as mix_charts
from pourprint.ledger.errors import InputError
from pourprint.ledger.lab_log import LabLog, updates
from pourprint.plans.orders import Booked, Order, Workshop
from scenes import DEMO, PRINTED, demo_rates, small_job


@pytest.fixture(scope="module")
def mixes():
    return choices(small_job(3), pp.RateCard.default(), PRINTED).frontier(least_gain_days=0.05)


def complete(chart):
    """Whether a chart has a title, titled axes, words and a table."""
    layout = chart.figure.layout
    titled = layout.title.text and layout.xaxis.title.text
    return bool(titled and chart.takeaway and chart.alt and len(chart.table))


def test_the_frontier_draws_every_mix_and_its_table_prices_each_day_saved(mixes):
    chart = mix_charts.frontier_chart(mixes)
    line = chart.figure.data[0]
    assert list(line.x) == [mix.days for mix in mixes] and list(line.y) == [mix.cost for mix in mixes]
    table = chart.table
    saved, extra = -np.diff(table["days"]), np.diff(table["cost"])
    assert table["cost_of_a_day_saved"].to_numpy()[1:] == pytest.approx(extra / saved)
    assert complete(chart)


def test_a_frontier_of_one_mix_is_refused(mixes):
    with pytest.raises(InputError, match="two mixes or more"):
        mix_charts.frontier_chart(mixes[:1])


def test_the_assignment_marks_every_part_of_every_mix(mixes):
    chart = mix_charts.assignment_chart(mixes)
    marks = {(round(trace.x[0]), trace.y[0]) for trace in chart.figure.data}
    parts = list(mixes[0].routes_of())
    assert marks == {(x, part) for x in range(len(mixes)) for part in parts}
    assert complete(chart)


def test_what_a_name_holds_is_text_in_rows_and_in_what_is_said_at_a_mark():
    """Plotly reads <b> and <a href> in hover texts and in names of rows as markup."""
    part = pp.Part.from_numbers("<b>my_part", 50, 100, (50, 40, 30))
    best = choices(pp.Job(part, "AlSi7Mg", 2), pp.RateCard.default(), PRINTED).best()
    for mark in mix_charts.assignment_chart([best]).figure.data:
        assert mark.y == ("&lt;b&gt;my part",) and mark.hovertemplate.startswith("&lt;b&gt;my part: 1 by")
    order = Order.of(pp.plan("printed_metal", pp.Job(part, "AlSi7Mg")), "2026-11-25T08:00", "<b>one")
    for bars in pp.figures.workshop_chart(Workshop().schedule([order])).figure.data:
        assert "<" not in "".join([*bars.y, *bars.customdata])


def test_the_workshop_chart_loses_no_hour():
    plan = pp.plan("printed_metal", small_job(2))
    away = Booked("machine.metal_printer", dt.date(2026, 11, 30), dt.date(2026, 12, 1))
    orders = [Order.of(plan, "2026-11-25T08:00", name) for name in ("one", "two")]
    timeline = Workshop(booked=(away,)).schedule(orders)
    chart = pp.figures.workshop_chart(timeline)
    drawn = sum(sum(trace.x) for trace in chart.figure.data) / 3_600_000
    spans = sum(slot.span.end_h - slot.span.begin_h + slot.queued_h for slot in timeline.slots)
    assert drawn == pytest.approx(spans)
    by_hand = sum(sum(trace.x) for trace in chart.figure.data if trace.marker.pattern.shape == "") / 3_600_000
    assert by_hand == pytest.approx(sum(slot.hands_on_h for slot in timeline.slots)), "nights are not drawn as work"
    assert complete(chart)


@pytest.mark.parametrize("key", ["shell.dip_time", "printed_metal.yield_print"])
def test_the_belief_chart_draws_densities_of_area_one(key):
    found = updates(LabLog.load(DEMO / "lab_log.csv", demo_rates()), demo_rates())
    chart = lab_log.belief_chart(found[key])
    for trace in chart.figure.data:
        y = np.nan_to_num(np.array(trace.y, dtype=float))
        assert np.trapezoid(y, trace.x) == pytest.approx(1, abs=0.02)  # the tails beyond the picture are left out
    assert complete(chart)


def test_the_learning_chart_draws_both_forms():
    chart = learning.learning_chart(0.8, pieces=16)
    ends = [trace.y[-1] for trace in chart.figure.data]
    assert ends == pytest.approx([40.96, 892 / 16], abs=0.05)  # published; 892 is rounded
    assert complete(chart)


def test_the_repeats_chart_stacks_to_the_unit_cost():
    plan = pp.plan("printed_pattern", small_job(4))
    table = repeats(plan, 4)
    chart = learning.repeats_chart(plan, 4)
    assert sum(np.array(bar.y) for bar in chart.figure.data) == pytest.approx(table["unit_cost"].to_numpy())
    assert complete(chart)


def test_the_die_chart_marks_where_the_die_pays():
    pair = [pp.plan(route, small_job(1)) for route in ("printed_pattern", "tooled_pattern")]
    plain, learned = (when_a_die_pays(*pair, np.arange(1, 1501), curve) for curve in (None, Curve(0.9)))
    chart = learning.die_chart(plain, learned, "EUR", "kit")
    marks = [trace.x[0] for trace in chart.figure.data if trace.mode == "markers+text"]
    assert marks == [found.pays_from for found in (plain, learned) if found.pays_from]
    assert marks and complete(chart)


def test_the_chart_of_owning_and_buying_crosses_where_owning_pays():
    rates, job = pp.RateCard.load(DEMO / "rates_buying.toml"), small_job(4)
    made, bought = (pp.plan("printed_mould", job, card) for card in (rates.making("printed_mould"), rates))
    found = pp.own_or_buy(made, bought, "sand_printer", 100_000, years=8, interest=0.06)
    chart = price.own_or_buy_chart(found)
    own, buy, crossing = chart.figure.data
    assert crossing.x[0] == pytest.approx(found.pays_from_h) and own.y[0] == pytest.approx(found.fixed)
    assert np.interp(crossing.x[0], own.x, own.y) == pytest.approx(np.interp(crossing.x[0], buy.x, buy.y))
    assert f"{found.pays_from_h:,.0f} hours a year" in chart.figure.layout.title.text and complete(chart)
    dear = pp.own_or_buy(made, bought.at(rates=rates.replace({
        f"buy.printed_mould.{key}": 0.0 for key in ("per_order", "per_part", "per_litre", "least_order")
    })), "sand_printer", 1e6, years=8, interest=0.06)  # fmt: skip
    assert "does not pay" in price.own_or_buy_chart(dear).figure.layout.title.text
