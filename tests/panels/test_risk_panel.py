"""The panel that counts days and failures, driven from Python; its figures; both against the model itself."""

import asyncio
import re

import numpy as np
import pytest

import pourprint as pp
from pourprint.figures.simulation import (
    LETTER,
    _clear_spots,
    chance_chart,
    chance_data,
    design_error_chart,
    failures_chart,
    spread_chart,
)
from pourprint.figures.strokes import TALL
from pourprint.panels import risk_panel
from pourprint.panels.risk import FULL
from pourprint.risk.rework import rework
from pourprint.risk.simulation import design_error, simulate_all
from scenes import PRINTED, bracket, demo_rates, small_job

START = "2026-11-25T08:00"


@pytest.fixture(scope="module")
def plans():
    return pp.plan_all(small_job(2).with_(start=START), demo_rates(), PRINTED)


@pytest.fixture(scope="module")
def runs(plans):
    return simulate_all(plans, 300)


@pytest.fixture
def panel(monkeypatch):
    def no_loop():
        raise RuntimeError("no notebook around")

    # Browser tests of the same run leave an event loop behind, in which the full run would wait for a rest.
    monkeypatch.setattr(asyncio, "get_running_loop", no_loop)
    return risk_panel(bracket(), demo_rates(), start=START)


def set_to(panel, **values):
    for name, value in values.items():
        panel.controls[name].source.value = value


def test_the_panel_opens_with_the_answer_of_the_model(panel):
    plans = pp.plan_all(pp.Job(bracket(), "AlSi7Mg", 4, 4, start=START), demo_rates(), PRINTED)
    runs = simulate_all(plans, FULL[0])
    best = min(runs.values(), key=lambda run: run.cost.mean())
    assert f"{best.plan.title}, {best.cost.mean() / 4:,.0f} EUR a {best.plan.job.kit.noun}" in panel.answer.value
    assert f"{runs['printed_metal'].chance(60):.0%}" in panel.answer.value


def test_the_figure_shows_what_the_model_says_after_a_change(panel):
    set_to(panel, quantity=3, day=100, deadline=30, spares=2, yields=0.5, design=20)
    # No event loop here: the last change has run in full.
    card = demo_rates()
    yields = {k: e.value + 0.5 * (e.high - e.value) for k, e in card.entries.items() if ".yield_" in k}
    plans = pp.plan_all(pp.Job(bracket(), "AlSi7Mg", 3, 4, start=START), card.replace(yields), PRINTED)
    runs = simulate_all(plans, FULL[0], spares=2, design_again=0.2)
    for trace, data in zip(panel.chart.figure.data, chance_data(runs, 30), strict=True):
        assert [str(x) for x in trace.x] == [str(x) for x in data["x"]]
        if "y" in data:
            assert np.allclose(np.asarray(trace.y, float), data["y"])
    means = {run.plan.title: f"{np.mean(run.cost + 100 * run.days) / 3:,.0f}" for run in runs.values()}
    shown = dict(re.findall(r"<div><span>([^<]+)</span>.*?<b>([^<]+)</b></div>", panel.bars.value))
    assert shown == means


def test_a_price_or_deadline_keeps_the_runs(panel):
    before = panel.chart.figure.data[0].x
    set_to(panel, deadline=20)
    assert panel.chart.figure.data[0].x == before and "Tue 15 Dec 2026" in panel.answer.value


def test_a_date_that_nobody_makes_is_said(panel):
    set_to(panel, deadline=5, quantity=20)
    assert "its quickest run takes" in panel.answer.value and panel.status.value.count("></div>") == 1


def test_an_alloy_is_shown_with_the_routes_that_can_make_it():
    allowing = demo_rates().replace({"handling.magnesium": 1.0})
    panel = risk_panel(bracket(), allowing, alloy="AZ91D", start=START)
    plans = pp.plan_all(pp.Job(bracket(), "AZ91D"), allowing, PRINTED)
    able = [plan.title for plan in plans.values() if plan.feasible]
    assert [trace.name for trace in panel.chart.figure.data[:-2]] == able and "Printed metal" not in able
    assert all(f"<span>{title}</span>" in panel.bars.value for title in able)


@pytest.mark.parametrize("make", ["spread", "chance", "failures", "design"])
def test_a_chart_says_its_message_in_words_and_numbers(make, plans, runs):
    pattern = plans["printed_pattern"]
    chart = {
        "spread": lambda: spread_chart(runs),
        "chance": lambda: chance_chart(runs, "2026-12-18"),
        "failures": lambda: failures_chart(pattern, rework(pattern)),
        "design": lambda: design_error_chart({r: design_error(p, 50) for r, p in plans.items()}, plans),
    }[make]()
    assert len(chart.takeaway.split()) > 6 and len(chart.alt.split()) > 15 and len(chart.table)
    assert chart.figure.layout.title.text and not chart.figure.layout.showlegend


def test_the_spread_ends_where_the_runs_do(runs):
    boxes = [trace for trace in spread_chart(runs).figure.data if trace.type == "box" and trace.xaxis == "x2"]
    for box, run in zip(boxes, runs.values(), strict=True):
        drawn = [box[end][0] for end in ("lowerfence", "q1", "median", "q3", "upperfence")]
        assert drawn == pytest.approx(np.quantile(run.days, (0.05, 0.25, 0.5, 0.75, 0.95)))


def test_names_of_curves_stand_clear_of_other_curves_and_of_the_deadline():
    shares = np.concatenate([[0.0], np.linspace(0, 0.995, 120)])
    # Two curves close to each other: the name of the first has room only before it, from the start of the job on.
    days = [np.concatenate([[0.0], own]) for own in (40 + 3 * shares[1:], 44 + 10 * shares[1:], 88 + 57 * shares[1:])]
    titles = ["Printed metal", "Printed mould", "Printed pattern"]
    spots = _clear_spots(titles, shares, days, deadline_days=84.0)
    for k, (title, (begin, height, side)) in enumerate(zip(titles, spots, strict=True)):
        width = LETTER * len(title) * days[2][-1]
        span = (begin, begin + width) if side == "right" else (begin - width, begin)
        assert span[0] >= 0
        for j, own in enumerate(days):
            low, high = np.interp([height - TALL / 2, height + TALL / 2], shares, own)
            assert j == k or high <= span[0] or low >= span[1]
        assert not span[0] < 84 < span[1]
    assert spots[0][2] == "left"


def test_bad_questions_to_the_panel_are_refused():
    for question in (lambda: risk_panel(3, demo_rates()), lambda: risk_panel(bracket(), None)):
        with pytest.raises(pp.InputError):
            question()
    with pytest.raises(pp.InputError, match="no step that fails"):
        plan = pp.plan("printed_metal", small_job(), demo_rates())
        sure = plan.at(rates=plan.rates.replace({key: 1.0 for key in plan.rates.entries if ".yield_" in key}))
        failures_chart(sure, rework(sure))
