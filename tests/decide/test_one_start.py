"""A job has one start, and every answer that tells days counts them from it: no source is needed, they must agree."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import pourprint as pp
from pourprint.decide.bridge import bridge
from pourprint.decide.compare import envelope
from pourprint.decide.inputs import outcomes, outcomes_of
from pourprint.ledger.entries import Kind
from scenes import PRINTED, bracket, demo_kit, demo_rates

# A Monday clear of holidays, a Friday after lunch, the last hour before the lab's Christmas, New Year's Eve (closed).
STARTS = ("2027-01-11T08:00", "2026-11-27T13:00", "2026-12-23T15:00", "2026-12-31T08:00")


@pytest.fixture(scope="module", params=STARTS)
def plans(request):
    """Routes on which nothing fails, so that runs and means say the same as plans."""
    sure = {key: 1.0 for key, entry in demo_rates().entries.items() if entry.kind is Kind.YIELD}
    job = pp.Job(demo_kit(), "AlSi7Mg", 2, 1, start=request.param)
    return pp.plan_all(job, demo_rates().replace(sure), PRINTED)


def test_every_answer_counts_days_from_the_jobs_start(plans):
    days = {route: pp.lead_time(plan, plan.job.start).days for route, plan in plans.items()}
    costs = {route: plan.total_cost for route, plan in plans.items()}
    titles = [plan.title for plan in plans.values()]
    compared, ranked = pp.comparison(plans, 100.0), pp.rank(plans, 100.0)
    said = {
        "plan": [plan.lead_time_days for plan in plans.values()],
        "first batch and days": [plan.schedule()[1] for plan in plans.values()],
        "comparison": [compared.days[route] for route in plans],
        "comparison with failures": [compared.mean_days(route) for route in plans],
        "rank": ranked.loc[titles, "days"],
        "mean": [pp.expected(plan).days for plan in plans.values()],
        "outcomes": [outcomes(plan, {"quantity": np.array([1, 2])})[1][1] for plan in plans.values()],
        "along": [outcomes_of(plans, {"quantity": np.array([2])})[1][route][0] for route in plans],
        "sensitivity": [pp.output_of(plan, "days")({"quantity": np.array([2])})[0] for plan in plans.values()],
        "runs": [run.days[0] for run in pp.simulate_all(plans, 2, inputs=None, time_spread=0.0).values()],
        "mix": [pp.mix.choices(plan.job, plan.rates).single_routes()[route][1] for route, plan in plans.items()],
    }
    for what, found in said.items():
        assert list(found) == pytest.approx([*days.values()], rel=1e-9), what
    lines = envelope({route: (costs[route], days[route]) for route in plans})
    flips = pp.flip_prices(plans)
    assert flips["from_price_of_day"].tolist() == pytest.approx([price for price, _ in lines])
    chart = pp.decision_map(plans, {"quantity": [1, 2], "price_of_day": [0.0, 100.0]})
    for route in plans:
        assert chart.costs[chart.routes.index(route), 1, 1] == pytest.approx(costs[route] + 100 * days[route])
    best = min(plans, key=lambda route: costs[route] + 100 * days[route])
    assert ranked.index[0] == plans[best].title


def test_dates_are_the_start_and_those_days(plans):
    for route, plan in plans.items():
        ready = plan.timeline()["end"].iloc[-1]
        assert abs(ready - plan.begin - pd.Timedelta(days=plan.lead_time_days)) <= pd.Timedelta(minutes=1)
        told = pp.comparison(plans).table().loc[plan.title, "ready, with failures"]
        assert pd.Timestamp(told) == pd.Timestamp(ready).normalize(), route


@pytest.mark.parametrize("route", PRINTED)
def test_the_start_matters_and_the_same_job_without_one_begins_on_some_monday(route):
    job = pp.Job(demo_kit(), "AlSi7Mg", 2)
    monday, _, christmas, new_year = (pp.plan(route, replace(job, start=start), demo_rates()) for start in STARTS)
    plan = pp.plan(route, job, demo_rates())
    assert plan.lead_time_days == pytest.approx(monday.lead_time_days)
    assert christmas.lead_time_days > plan.lead_time_days + 5  # closed from 24 December to 3 January
    assert new_year.lead_time_days > plan.lead_time_days + 2  # from Thursday to Monday
    assert plan.at(start=STARTS[2]).lead_time_days == pytest.approx(christmas.lead_time_days)
    assert monday.total_cost == christmas.total_cost  # closed hours are not paid


@pytest.mark.parametrize("date", ["2026-11-27", "2026-12-31"])
def test_a_date_alone_means_its_opening_time_to_everybody(date):
    rates, opening = demo_rates(), f"{date}T{demo_rates().hours.start_h:02.0f}:00"
    alone, timed = (
        pp.plan("printed_metal", pp.Job(bracket(), "AlSi7Mg", start=start), rates) for start in (date, opening)
    )
    assert alone.begin == timed.begin == pd.Timestamp(opening)
    asked = {"kit": bracket(), "rates": rates, "alloy": "AlSi7Mg", "quantity": 1, "routes": ("printed_metal",)}
    days = pp.expected(timed).days
    assert pp.expected(alone).days == days
    assert pp.report.memo(alone.job, rates, date, routes=asked["routes"]).failing["printed_metal"].days == days
    first, second = (pp.Setting(name, start=start, **asked) for name, start in (("date", date), ("time", opening)))
    assert [pier.days for pier in bridge(first, second)] == pytest.approx([days, days])
    assert pp.lead_time(timed, date).days == timed.lead_time_days
    assert pp.panels.compare_panel(bracket(), rates, date).controls["start"].value == timed.begin.date()


def test_a_view_with_dates_of_a_job_without_a_start_says_what_is_missing():
    plan = pp.plan("printed_metal", pp.Job(demo_kit(), "AlSi7Mg"), demo_rates())
    for view in (plan.timeline, pp.comparison({"printed_metal": plan}).table, lambda: pp.figures.plan_timeline(plan)):
        with pytest.raises(pp.InputError, match="start"):
            view()
