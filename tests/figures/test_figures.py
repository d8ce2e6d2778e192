"""Figures from plain data: what is drawn adds up to the model's answer, and stays legible."""

import re
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

import pourprint as pp
from pourprint import figures
from pourprint.decide.along import Along, unit_costs
from pourprint.decide.inputs import outcomes_of
from pourprint.figures import bars
from scenes import PRINTED, ROUTES, demo_kit, demo_rates


def compared(routes=ROUTES, alloy="AlSi7Mg", price_of_day=60.0):
    job = pp.Job(demo_kit(), alloy, quantity=4, batch_size=4, start="2026-11-25T08:00")
    return pp.comparison(pp.plan_all(job, demo_rates(), routes), price_of_day)


def test_stacked_bars_add_up_to_unit_cost_and_days():
    found = compared()
    costs, days = ({bar.name: bar.total for bar in make(found)} for make in (bars.stage_bars, bars.clock_bars))
    for route, plan in found.plans.items():
        assert costs[plan.title] == pytest.approx(found.unit_cost(route))
        assert days[plan.title] == pytest.approx(found.days[route])


def test_the_clock_tells_hands_on_closed_machine_waiting_and_later_batches_as_the_timeline_does():
    found = compared()
    for bar, route in zip(bars.clock_bars(found), found.plans, strict=True):
        plan, counted = found.plans[route], {}
        for piece in bar.pieces:
            counted[piece.kind] = counted.get(piece.kind, 0.0) + 24 * piece.amount
        drawn = figures.plan_timeline(plan).figure.data
        hours = {trace.name: sum(trace.x) / 3.6e6 for trace in drawn if sum(trace.x)}
        later_h = 24 * found.days[route] - plan.spans()[-1].end_h
        assert counted == pytest.approx(hours | ({"later": later_h} if later_h > 1e-6 else {}))


def test_each_kind_of_time_but_hands_on_has_its_hatch_and_names_stand_whole_in_their_bars():
    for kind in figures.HATCH.keys() - {"hands-on"}:
        assert f".pourprint-bars s.{kind.split()[-1]} {{background-image" in bars.STYLE, kind
    ((high, line),) = re.findall(r"marked u {height: ([\d.]+em); line-height: ([\d.]+em)", bars.STYLE)
    assert high == line


@pytest.mark.parametrize("alloy", ["AlSi7Mg", "AZ91D", "316L", "Ti-6Al-4V"])
def test_only_routes_that_can_make_the_job_have_a_bar_and_no_piece_is_empty(alloy):
    found = compared(alloy=alloy)
    names = [plan.title for plan in found.plans.values() if plan.feasible]
    for made in (bars.stage_bars(found), bars.clock_bars(found)):
        assert [bar.name for bar in made] == names
        assert all(piece.amount > 0 for bar in made for piece in bar.pieces)


def test_pieces_fill_the_axis_in_proportion_and_say_their_numbers():
    pieces = (bars.Piece("cut", 30.0, "#ffffff", "cut off & ground"), bars.Piece("tiny", 0.1, "#ffffff", "tiny"))
    text = bars.stacked_bars("Title", [bars.Bar("Route <a>", pieces, 30.1)], "EUR a kit", "{:.1f}")
    widths = [float(width) for width in re.findall(r"width:([\d.]+)%", text)]
    # Widths are written to 1e-4 of a percent, which is 3e-4 of the smaller one.
    assert sum(widths) == pytest.approx(100, abs=1e-3) and widths[0] / widths[1] == pytest.approx(300, rel=5e-4)
    assert "cut off &amp; ground: 30.0" in text and "Route &lt;a&gt;" in text
    assert text.count("<span>cut</span>") == text.count("<span>tiny</span>") == 1  # the browser hides what is cut


def test_bars_of_a_change_show_now_and_at_first_on_one_axis_with_a_round_end():
    text = bars.change_bars(
        "Title", "printed_mould", {"cut <": 30.0, "cool": 0.0}, {"cut <": 46.0, "cool": 0.0}, "EUR a kit"
    )
    (width,) = (float(found) for found in re.findall(r"style='width:([\d.]+)%", text))
    strokes = [float(found) for found in re.findall(r"<em style=left:([\d.]+)%", text)]
    # The axis ends at 50: ten times the round step that holds 46 in at most seven steps.
    assert [width, *strokes] == pytest.approx([60.0, 92.0, 0.0], abs=1e-4)
    ticks = [float(tick) for tick in re.findall(r"<i style=left:[\d.]+%><span>([\d.,]+)</span>", text)]
    assert ticks == [0, 10, 20, 30, 40, 50]
    label = re.search("aria-label='([^']*)'", text).group(1)
    assert label == "Title. In EUR a kit: cut &lt; 30.0 (at first 46.0); cool 0.0."
    assert "bar: now, stroke: at first" in text and figures.LOOKS["printed_mould"].colour in text


def test_the_axis_of_a_change_stands_still_while_its_bars_move_a_little():
    def ticks(cost):
        text = bars.change_bars("Title", "printed_mould", {"cut": cost}, {"cut": 601.0}, "EUR")
        return re.findall(r"<i style=left:([\d.]+)%><span>([\d.,]+)</span>", text)

    assert ticks(0.0) == ticks(601.0) == ticks(699.0) != ticks(701.0)


def test_a_comparison_draws_the_plan_and_marks_and_writes_what_failures_make_of_it():
    found = compared()
    text = bars.comparison_bars(found, "EUR a kit")
    for route in found.days:
        assert f"<b>{found.mean_unit_cost(route):,.0f}</b>" in text and f"<b>{found.mean_days(route):,.0f}</b>" in text
    torn = text.count("class=torn")
    assert text.count("<em") == 2 * len(found.days) - torn == text.count("title='with failures")


def test_the_serial_reference_does_not_set_the_axis_and_its_torn_bar_says_so():
    """One kit: the die costs several times what a printed route does. Each bar and its axis, from the widths drawn."""
    plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 1, start="2026-11-25T08:00"), demo_rates())
    found = pp.comparison(plans, 100.0)
    money = bars.comparison_bars(found, "EUR a kit").partition("Where the days go")[0]
    dearest = max(found.mean_unit_cost(route) for route in PRINTED)
    end = float(re.findall(r"<i style=left:[\d.]+%><span>([\d,]+)</span>", money)[-1].replace(",", ""))
    assert found.mean_unit_cost("tooled_pattern") > 1.5 * dearest and dearest <= end < 1.5 * dearest
    rows = re.findall(r"<div><span>([A-Z][^<]+)</span><span>(.*?)</b></div>", money)
    assert [name for name, row in rows if "class=torn" in row] == ["Tooled pattern"] and "torn: goes on" in money
    for route, (_, row) in zip(plans, rows, strict=True):
        wide = sum(map(float, re.findall(r"style='width:([\d.]+)%", row)))
        assert wide == pytest.approx(min(100, 100 * found.unit_cost(route) / end), abs=2e-3)
        assert row.endswith(f"<b>{found.mean_unit_cost(route):,.0f}")
    assert "torn" not in bars.comparison_bars(compared(PRINTED), "EUR a kit")


def test_bars_without_marks_draw_none_and_end_their_axis_at_the_longest():
    text = bars.stacked_bars("T", [bars.Bar("a", (bars.Piece("", 61.0, "#fff", "a"),), 61.0)], "d")
    assert "<em" not in text and "marked" not in text and "at first" not in text
    assert f"width:{100:.4f}%" in text


@given(st.floats(1e-3, 1e7))
def test_ticks_are_round_and_cover_most_of_the_longest_bar(longest):
    ticks = bars._ticks(longest)
    assert ticks[0] == 0 and ticks[-1] <= longest * (1 + 1e-9) and ticks[-1] >= 0.7 * longest
    assert 3 <= len(ticks) <= 8
    beyond = bars._ticks(longest, beyond=True)
    assert list(beyond[: len(ticks)]) == list(ticks) and len(beyond) <= len(ticks) + 1
    assert longest * (1 - 1e-9) <= beyond[-1] < longest + beyond[1]


def along(price_of_day):
    """Unit costs of the routes over quantity, and their names."""
    plans, quantities = compared(price_of_day=0).plans, {"quantity": np.arange(1, 401)}
    totals, days = outcomes_of(plans, quantities)
    costs = unit_costs(totals, quantities["quantity"], price_of_day, days)
    return Along("quantity wanted", quantities["quantity"], True, costs, 4, "EUR a kit"), [*plans]


def test_the_cost_axis_holds_all_lines_and_names_and_stands_still_while_they_move_a_little():
    traces = figures.comparison_data(*along(0))
    low, high = figures.comparison_range(traces)
    drawn = np.log10(np.concatenate([trace["y"] for trace in traces]))
    assert low <= np.nanmin(drawn) and np.nanmax(drawn) <= high
    assert figures.comparison_range(figures.comparison_data(*along(1))) == [low, high]


def test_a_figure_fed_in_place_equals_one_built_new():
    built, other = figures.comparison_figure(*along(0)), along(500)
    for trace, new in zip(built.data, figures.comparison_data(*other), strict=True):
        trace.update(new)
    fresh = figures.comparison_figure(*other)
    for one, two in zip(built.data, fresh.data, strict=True):
        for axis in "xy":
            if np.asarray(one[axis]).dtype.kind == "f":
                np.testing.assert_array_equal(one[axis], two[axis])


WORDS_TALL = 15 / 306  # of 12 px, as browsers set them, on a chart of 380 px


@pytest.mark.parametrize("price", [0, 100, 200, 500, 1000])
def test_names_of_break_evens_hang_clear_below_all_lines_and_of_each_other(price):
    along_now, routes = along(price)
    *lines, names, turns, _ = figures.comparison_data(along_now, routes)
    assert np.isfinite(turns["x"]).any()
    floor, axis = np.min([one["y"] for one in lines], axis=0), np.log10(along_now.grid)
    low, high = figures.comparison_range([*lines, names, turns, {}])
    taken = []
    for x, top, text, side in list(zip(*(names[key] for key in ("x", "y", "text", "textposition")), strict=True))[4:]:
        if text:
            wide, place = figures.compare.LETTER * len(text) * np.ptp(axis), np.log10(x)
            left, right = (place - wide, place) if side == "bottom left" else (place, place + wide)
            assert top < floor[(left <= axis) & (axis <= right)].min(), text
            foot = np.log10(top) - WORDS_TALL * (high - low)
            assert foot >= low, "the axis holds the words"
            assert not [a for a in taken if a[0] < right and left < a[1] and a[2] < np.log10(top) and foot < a[3]]
            taken.append((left, right, foot, np.log10(top)))
    assert taken


@given(st.lists(st.floats(100, 10_000), min_size=1, max_size=5), st.floats(1.05, 1.6))
def test_names_stand_as_near_to_their_lines_as_they_can(ends, step):
    """Against SciPy's isotonic regression: the least squares of how far names are off, none nearer than a line."""
    heights, steps = (
        figures.compare._apart([np.array([end]) for end in ends], step),
        np.log(step) * np.arange(len(ends)),
    )
    nearest = isotonic_regression(np.log(np.sort(ends)) - steps).x + steps
    assert np.sort(np.log(heights)) == pytest.approx(nearest)


def test_names_of_lines_that_meet_stand_apart():
    lines = [np.array([4000.0, 1000.0]), np.array([9000.0, 1001.0]), np.full(2, np.nan)]
    heights = figures.compare._apart(lines, 1.2)
    assert heights[1] / heights[0] >= 1.2 and np.isnan(heights[2])


def words_of(markup):
    class Words(HTMLParser):
        found = ""

        def handle_data(self, data):
            self.found += data + "|"

    reader = Words()
    reader.feed(markup)
    return reader.found


def test_the_stage_matrix_counts_ten_seven_five_stages():
    whole = words_of(figures.stage_matrix())
    assert [f"{n} stages" in whole for n in (10, 7, 5, 11)] == [True] * 4
    assert "you are here" not in whole and "<details" not in figures.stage_matrix()


def test_the_stage_matrix_counts_the_steps_that_the_course_s_tables_count():
    whole = words_of(figures.stage_matrix())
    for plan in pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg"), demo_rates()).values():
        assert f"{len(plan.stages)} stages, {len(plan.steps)} steps" in whole


def test_the_stage_matrix_shows_the_place_alone_and_folds_the_whole_map():
    shown, folded = figures.stage_matrix(here=pp.Stage.FIRE).split("<details class=pourprint-map>")
    assert "you are here: burn out and fire|burn out the patterns|" in words_of(shown)
    assert shown.count("<tr>") == 2 and shown.count("<td") == 4 and '<td style="text-align:left"></td>' in shown
    assert words_of(figures.stage_matrix()) in words_of(folded)


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
