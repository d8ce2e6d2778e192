"""The pattern panel without a browser: sliders move what they should, and a refusal is one sentence."""

import re
from html import unescape

import pytest

import pourprint as pp
from pourprint.panels import metal_panel, pattern_panel
from scenes import demo_kit, demo_rates


def moved(panel, **values):
    for key, value in values.items():
        panel.controls[key.replace("__", ".")].source.value = value
    return panel


def costs(**changes):
    rates = demo_rates().replace({key.replace("__", "."): value for key, value in changes.items()})
    plan = pp.plan("printed_pattern", pp.Job(demo_kit(), "AlSi7Mg", 2), rates)
    return [f"{cost / 2:,.1f}" for cost in plan.cost_by_stage().values()]


def now(panel):
    """The costs beside the bars."""
    return re.findall(r"<b>([\d.,]+)</b>", panel.bars.value)


def at_first(panel):
    """The costs that the strokes mark."""
    return re.findall(r"'at first: ([\d.,]+)'", panel.bars.value)


def test_a_slider_moves_bars_answer_and_table_and_leaves_the_strokes():
    panel = pattern_panel(demo_kit(), demo_rates(), quantity=2)
    assert now(panel) == at_first(panel) == costs()
    before = panel.answer.value
    moved(panel, printed_pattern__infill=0.6, shell__humidity=70.0)
    changes = {"printed_pattern__infill": 0.6, "shell__humidity": 70.0}
    assert now(panel) == costs(**changes) != costs() and at_first(panel) == costs()
    assert panel.answer.value != before and panel.table.value.count("◂") >= 3


def test_a_choice_that_cannot_be_made_says_why_and_keeps_the_picture():
    """In a tank of 300 mm the mast foot of 103 mm hangs on gates as short as its shell lets them be, not on 60 mm."""
    panel = pattern_panel(demo_kit(), demo_rates().replace({"cluster.dip_diameter": 300.0}))
    before = panel.bars.value
    moved(panel, cluster__gate_length=60)
    assert "mast foot" in panel.status.value and "300 mm" in panel.status.value
    assert panel.bars.value == before
    moved(panel, cluster__gate_length=15, quantity=4.5)
    assert "whole number" in panel.status.value


@pytest.mark.parametrize("key", ["cluster.gate_length", "cluster.gap"])
def test_gate_and_gap_move_nothing_below_two_shells_and_the_clearance(key):
    """Shells of 7.7 mm and 4 mm between them: 19.5 mm. A runner of 45 mm, which feeds as many as have room."""
    panel = pattern_panel(demo_kit(), demo_rates().replace({"cluster.runner_diameter": 45.0}), quantity=2)
    for free, beyond in ((5, 21), (19, 30)):
        assert now(moved(panel, **{key: free})) == at_first(panel) and "◂" not in panel.table.value
        moved(panel, **{key: beyond})
        there = costs(**{key: beyond, "cluster.runner_diameter": 45.0})
        assert now(panel) == there and "◂" in panel.table.value


def test_alloys_that_shells_cannot_hold_are_not_offered():
    offered = [name for _, name in pattern_panel(demo_kit(), demo_rates()).controls["alloy"].source.options]
    assert "AlSi7Mg" in offered and not {"AZ91D", "Ti-6Al-4V"} & set(offered)


def test_a_panel_needs_a_kit_and_a_card():
    with pytest.raises(pp.InputError, match="Kit"):
        pattern_panel("rover", demo_rates())


def test_panels_of_one_route_say_from_when_their_days_count_and_that_failures_are_left_out():
    job = pp.Job(demo_kit(), "AlSi10Mg", 2, start="2027-01-11T08:00")
    dated, undated = (unescape(metal_panel(one, demo_rates()).answer.value) for one in (job, job.with_(start=None)))
    days = pp.plan("printed_metal", job, demo_rates()).lead_time_days
    assert f"ready {days:.1f} days after Mon 11 Jan 2027 if nothing fails" in dated
    assert "days after a Monday's opening if nothing fails" in undated
    assert dated.count("if nothing fails") == 2  # cost and days
