"""Figures from plain data: what is drawn adds up to the model's answer, and stays legible."""

from html.parser import HTMLParser

import numpy as np
import pytest

import pourprint as pp
from pourprint import figures
from scenes import PRINTED, ROUTES, demo_kit, demo_rates


def compared(routes=ROUTES, alloy="AlSi7Mg", price_of_day=60.0):
    job = pp.Job(demo_kit(), alloy, quantity=4, batch_size=4)
    return pp.comparison(pp.plan_all(job, demo_rates(), routes), np.arange(1, 401), price_of_day)


def by_bar(figure, name):
    """Sum of the pieces of each stacked bar: {route title: height}."""
    trace = next(trace for trace in figure.data if trace.name == name)
    places, sizes = (trace.y, trace.x) if trace.orientation == "h" else (trace.x, trace.y)
    return {place: sum(s for p, s in zip(places, sizes, strict=True) if p == place) for place in places}


def test_stacked_bars_add_up_to_unit_cost_and_days():
    found = compared()
    figure = figures.comparison_figure(found)
    costs, days = by_bar(figure, "cost by stage"), by_bar(figure, "days by phase")
    for route, plan in found.plans.items():
        assert costs[plan.title] == pytest.approx(found.unit_cost(route))
        assert days[plan.title] == pytest.approx(found.days[route])


@pytest.mark.parametrize("alloy", ["AlSi7Mg", "AZ91D", "316L", "Ti-6Al-4V"])
def test_no_bar_is_nan_since_plotly_begins_a_stack_anew_after_one(alloy):
    figure = figures.comparison_figure(compared(alloy=alloy))
    for trace in figure.data:
        if trace.type == "bar":
            assert np.isfinite(np.array(trace.x if trace.orientation == "h" else trace.y, float)).all()


def test_a_figure_fed_in_place_equals_one_built_new():
    built, other = figures.comparison_figure(compared(price_of_day=0)), compared(price_of_day=500)
    for trace, new in zip(built.data, figures.comparison_data(other), strict=True):
        trace.update(new)
    fresh = figures.comparison_figure(other)
    for one, two in zip(built.data, fresh.data, strict=True):
        for axis in "xy":
            if np.asarray(one[axis]).dtype.kind == "f":
                np.testing.assert_array_equal(one[axis], two[axis])


def test_names_of_lines_that_meet_stand_apart():
    lines = [np.array([4000.0, 1000.0]), np.array([9000.0, 1001.0]), np.full(2, np.nan)]
    heights = figures.comparison._apart(lines)
    assert heights[1] / heights[0] >= 9 ** (figures.comparison.NAME_HEIGHT * 0.99) and np.isnan(heights[2])


def test_the_stage_matrix_counts_ten_seven_five_and_marks_the_place():
    class Rows(HTMLParser):
        text = ""

        def handle_data(self, data):
            self.text += data + "|"

    reader = Rows()
    reader.feed(figures.stage_matrix(here=pp.Stage.POUR))
    assert [f"{n} stages" in reader.text for n in (10, 7, 5, 11)] == [True] * 4
    assert "you are here: 9 melt, pour and cool" in reader.text


def test_charts_carry_takeaway_description_and_table():
    part = pp.Part.from_mesh("data_demo/nodes/rocker_pivot.stl")
    for chart in (figures.part_picture(part), figures.section_chart(part, 1.0)):
        assert chart.takeaway and chart.alt and len(chart.table)
        assert "<details>" in chart.words()


def test_each_route_has_its_own_colour_dash_and_marker():
    looks = figures.LOOKS.values()
    assert {*figures.LOOKS} == {*ROUTES} > {*PRINTED}
    for trait in ("colour", "dash", "marker"):
        assert len({getattr(look, trait) for look in looks}) == len(ROUTES)
