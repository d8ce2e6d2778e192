"""Charts of the decision: what is drawn is what the model says, told apart without colour, and told in words."""

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.carbon import footprint
from pourprint.decide.information import probability_best, sample_plans, value_of_information
from pourprint.decide.map import decision_map
from pourprint.decide.sensitivity import output_of, sobol, tornado
from pourprint.figures import LOOKS
from pourprint.figures.carbon import footprint_chart
from pourprint.figures.information import information_chart, sureness_chart
from pourprint.figures.map import map_chart
from pourprint.figures.sensitivity import sobol_chart, tornado_chart
from pourprint.plans.steps import JOB, Work
from scenes import demo_kit, demo_rates, step, toy_plan


@pytest.fixture(scope="module")
def plans():
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 1), demo_rates())


@pytest.fixture(scope="module")
def samples(plans):
    return sample_plans(plans, n=4000)


@pytest.fixture(scope="module")
def charts(plans, samples):
    chart = decision_map(plans, {"quantity": np.arange(1, 101), "price_of_day": np.linspace(0, 1000, 51)})
    output = output_of(plans["printed_pattern"], against=plans["printed_metal"])
    return {
        "map": map_chart(chart),
        "sureness": sureness_chart(samples, np.linspace(0, 1000, 21), "CHF"),
        "tornado": tornado_chart(tornado(output)),
        "sobol": sobol_chart(sobol(output, n=128)),
        "information": information_chart(value_of_information(samples, 225)),
        "footprint": footprint_chart({route: footprint(plan) for route, plan in plans.items()}),
    }


def test_every_chart_is_said_in_words_and_numbers(charts):
    for name, chart in charts.items():
        assert chart.takeaway.endswith(".") and len(chart.alt) > 80 and len(chart.table), name
        assert chart.figure.layout.title.text and not chart.figure.layout.showlegend, name
        axes = [chart.figure.layout.xaxis, chart.figure.layout.yaxis]
        assert any(axis.title.text and "[" in axis.title.text for axis in axes) or name == "map", name
        assert "<details>" in chart.words()


def test_regions_of_a_map_are_filled_up_to_their_borders():
    """1000 + 20 d, 2200 + 12 d and 4000 + 8 d meet at d = 150 and 450 (by hand): of prices up to 1000 over one step of
    kits the three regions are 150, 300 and 550 wide, though the map is asked at both ends alone."""
    plans = {}
    for route, cost, days in (("printed_pattern", 1000, 20), ("printed_mould", 2200, 12), ("printed_metal", 4000, 8)):
        bought = step("buy", Work(JOB, wait_h=24.0 * days, materials={"purchase.die_base": cost}))
        plans[route] = toy_plan(bought, purchase__die_base=1.0)
    figure = map_chart(decision_map(plans, {"quantity": [1, 2], "price_of_day": [0.0, 1000.0]})).figure
    areas = []
    for trace in figure.select_traces({"fill": "toself"}):
        corners = np.stack([trace.x, trace.y], axis=1)
        pieces = [piece[:-1] for piece in np.split(corners, np.flatnonzero(np.isnan(corners[:, 0])) + 1)[:-1]]
        areas.append(
            sum(abs(np.linalg.det(np.stack([piece, np.roll(piece, 1, axis=0)], axis=1)).sum()) / 2 for piece in pieces)
        )
    assert sorted(areas) == pytest.approx([150, 300, 550])


def test_the_map_draws_the_winners_and_the_borders(plans):
    chart = decision_map(plans, {"quantity": np.arange(1, 101), "price_of_day": np.linspace(0, 1000, 51)})
    figure = map_chart(chart).figure
    np.testing.assert_array_equal(figure.data[0].z, chart.best)
    lines = {trace.name: trace for trace in figure.data[1:] if trace.mode == "lines" and not trace.fill}
    assert len(lines) == len(chart.borders)
    for pair, segments in chart.borders.items():
        drawn = lines[" | ".join(plans[route].title for route in pair)]
        assert np.array(drawn.x).reshape(-1, 3)[:, :2] == pytest.approx(segments[..., 0])
        assert np.array(drawn.y).reshape(-1, 3)[:, :2] == pytest.approx(segments[..., 1])
    named = {note.text.strip("</b>") for note in figure.layout.annotations}
    assert named == {plans[route].title for route in chart.shares()}


def test_a_name_stands_in_its_region(plans):
    chart = decision_map(plans, {"quantity": np.arange(1, 101), "price_of_day": np.linspace(0, 1000, 51)})
    for note in map_chart(chart).figure.layout.annotations:
        i, j = np.searchsorted(chart.xs, note.x), np.searchsorted(chart.ys, note.y)
        assert plans[chart.routes[chart.best[j, i]]].title in note.text


def test_an_axis_of_growing_steps_is_logarithmic(plans):
    quantities = np.unique(np.geomspace(1, 400, 30).astype(int))
    figure = map_chart(decision_map(plans, {"quantity": quantities, "price_of_day": [0.0, 500.0, 1000.0]})).figure
    assert (figure.layout.xaxis.type, figure.layout.yaxis.type) == ("log", "linear")


def test_routes_are_told_apart_without_colour():
    assert len({look.hatch for look in LOOKS.values()}) == len(LOOKS) == len({look.marker for look in LOOKS.values()})


def test_a_chart_of_sureness_must_be_told_its_currency(charts, samples):
    with pytest.raises(TypeError, match="currency"):
        sureness_chart(samples, [0, 100])
    assert "CHF" in charts["sureness"].figure.layout.title.text


def test_areas_of_sureness_are_the_shares_of_draws(charts, samples):
    prices = np.linspace(0, 1000, 21)
    shares = probability_best(samples, prices)
    drawn = {trace.name: np.array(trace.y) for trace in charts["sureness"].figure.data}
    for route, share in shares.items():
        if share.max() > 0:
            assert drawn[pp.ROUTES[route].TITLE] == pytest.approx(100 * share)
    assert sum(drawn.values()) == pytest.approx(100)


def test_bars_of_the_tornado_end_at_the_answers(charts):
    table = charts["tornado"].table
    for trace, column in zip(charts["tornado"].figure.data, ("answer_at_low", "answer_at_high"), strict=True):
        assert np.array(trace.x) + trace.base == pytest.approx(table[column].to_numpy())


def test_bars_of_information_come_largest_first(charts):
    (bars,) = charts["information"].figure.data
    assert np.all(np.diff(bars.x) <= 0) and bars.y[0] == "everything"


def test_footprints_are_those_of_a_kit(charts, plans):
    table = charts["footprint"].table
    for plan in plans.values():
        assert table.loc[plan.title, "co2e_kg"] == pytest.approx(footprint(plan).total_kg[1])
        assert table.loc[plan.title, "unit_cost"] == pytest.approx(plan.unit_cost)
