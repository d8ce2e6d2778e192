"""Rows of controls, their limits, and the status line: what needs no browser."""

import asyncio
import json

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.panels import live
from pourprint.panels.controls import choice_row, folded, group, log_rungs, number_row, unit_of
from pourprint.panels.live import REST_S, LiveFigure, at_rest, guarded, status_line


def slider_of(row):
    return row.widget.children[1]


def test_slider_and_field_start_in_step():
    row = number_row("Batch size", 4, 1, 40, 1, "kits")
    assert row.value == 4
    assert slider_of(row).value == 4


def test_field_follows_the_slider():
    row = number_row("Batch size", 4, 1, 40, 1, "kits")
    slider_of(row).value = 7
    assert row.value == 7


def test_a_moved_slider_is_not_told_its_own_value_again():
    row = number_row("Share", 0.14, 0.05, 0.5, 0.01, "of 1")
    told = []
    slider_of(row).observe(lambda change: told.append(change["new"]), "value")
    slider_of(row).value = 0.05 + 0.01 * 10  # 0.15000000000000002: what the browser sends for 0.15
    assert row.value == 0.15 and told == [0.05 + 0.01 * 10]


def test_slider_follows_the_field():
    row = number_row("Batch size", 4, 1, 40, 1, "kits")
    row.source.value = 9
    assert slider_of(row).value == 9


@given(st.floats(-1e6, 1e6))
def test_a_typed_number_is_held_within_the_limits(typed):
    row = number_row("Hourly cost", 40, 0, 100, 0.5, "€/h")
    row.source.value = typed
    assert row.value == min(max(typed, 0), 100)
    assert slider_of(row).value == row.value


@pytest.mark.parametrize("log", [False, True])
def test_one_change_calls_back_once(log):
    row = number_row("Quantity", 12, 1, 1000, 1, "kits", log=log)
    calls = []
    row.observe(lambda: calls.append(row.value))
    slider_of(row).value += 1
    row.source.value = 137
    assert calls == [13, 137]


def test_the_unit_follows_the_number():
    row = number_row("Quantity", 2, 1, 50, 1, "kits", log=True)
    unit = row.widget.children[3]
    assert ">kits<" in unit.value
    row.source.value = 1
    assert ">kit<" in unit.value
    assert [unit_of(unit, 1) for unit in ("s", "mm", "m³/s", "× usual", "parts")] == [
        "s",
        "mm",
        "m³/s",
        "× usual",
        "part",
    ]


def test_every_place_of_a_log_slider_is_a_new_value():
    row = number_row("Quantity", 1, 1, 1000, 1, "kits", log=True)
    seen = []
    for place in range(slider_of(row).max + 1):
        slider_of(row).value = place
        seen.append(row.value)
    assert seen == sorted(set(seen))
    assert (seen[0], seen[-1]) == (1, 1000)


def test_the_slider_can_come_back_to_the_first_value():
    row = number_row("Quantity", 12, 1, 1000, 1, "kits", log=True)
    slider_of(row).value += 1
    slider_of(row).value -= 1
    assert row.value == 12


def test_a_typed_number_between_the_places_of_a_log_slider_is_kept():
    row = number_row("Quantity", 1, 1, 1000, 1, "kits", log=True)
    row.source.value = 517
    assert row.value == 517


@given(st.integers(1, 50), st.integers(1, 5000))
def test_log_places_are_whole_steps_between_the_limits(low, width):
    rungs = log_rungs(low, low + width, 1)
    assert rungs[0] == low
    assert rungs[-1] == low + width
    assert np.all(np.diff(rungs) > 0)
    assert np.all(rungs == np.round(rungs))


@pytest.mark.parametrize(
    ("value", "low", "high", "step", "log"),
    [(5, 9, 1, 1, False), (20, 1, 10, 1, False), (5, 1, 10, 0, False), (5, 0, 10, 1, True)],
)
def test_limits_that_do_not_fit_are_refused_by_name(value, low, high, step, log):
    with pytest.raises(InputError, match="Batch size"):
        number_row("Batch size", value, low, high, step, "kits", log=log)


def test_a_choice_row_gives_the_chosen_option():
    row = choice_row("Alloy", [("aluminium", "AlSi7Mg"), ("bronze", "CuSn10")])
    calls = []
    row.observe(lambda: calls.append(row.value))
    row.source.value = "CuSn10"
    assert calls == ["CuSn10"]


def test_names_and_captions_are_text_not_markup():
    row = number_row("a < b", 4, 1, 40, 1, "<kits>")
    caption = group("rates & times", [row]).children[0].value
    assert "a &lt; b" in row.widget.children[0].value
    assert "rates &amp; times" in caption


def field_of(row):
    return row.widget.children[2]


def said_at(row):
    """What the row says is wrong with a typed number."""
    return row.widget.children[3].value.partition("role='status'>")[2].removesuffix("</span>")


@pytest.mark.parametrize(("typed", "number"), [("38,5", 38.5), ("38.5", 38.5), (" 60 ", 60), ("1e1", 10)])
def test_a_number_is_typed_with_comma_or_point(typed, number):
    row = number_row("Hourly cost", 40, 0, 120, 0.5, "€/h")
    field_of(row).value = typed
    assert row.value == number and slider_of(row).value == number
    assert field_of(row).value == f"{number:g}" and not said_at(row)


def test_what_is_clamped_or_cannot_be_read_is_said_at_the_row():
    row = number_row("Hourly cost", 40, 0, 120, 0.5, "€/h")
    field_of(row).value = "385"
    assert row.value == 120 and field_of(row).value == "120" and said_at(row) == "385 is beyond 0 to 120."
    field_of(row).value = "a lot"
    assert row.value == 120 and field_of(row).value == "120"
    assert "cannot be read as a number" in said_at(row) and "It stays 120." in said_at(row)
    slider_of(row).value = 60
    assert not said_at(row)


def test_a_row_leads_back_to_its_first_value_and_shows_that_way_only_then():
    for row, other in (
        (number_row("Quantity", 4, 1, 50, 1, "kits", log=True), 20.0),
        (choice_row("Alloy", [("aluminium", "AlSi7Mg"), ("bronze", "CuSn10")]), "CuSn10"),
    ):
        assert "pourprint-changed" not in row.widget._dom_classes
        first, row.source.value = row.value, other
        assert "pourprint-changed" in row.widget._dom_classes
        row.widget.children[-1].click()
        assert row.value == first and "pourprint-changed" not in row.widget._dom_classes


def test_a_fold_opens_and_says_what_was_changed():
    rows = [number_row(name, 40, 0, 100, 1, "€/h") for name in ("technician", "engineer")]
    button, box = folded("people", rows=rows).children
    assert button.description == "▸ people" and box.layout.display == "none"
    rows[0].source.value = 52.5
    assert button.description == "▸ people: technician 52.5"
    button.value = True
    assert button.description == "▾ people: technician 52.5" and box.layout.display is None


def test_a_guarded_callback_shows_an_input_error_as_its_sentence():
    status = status_line()

    def callback(number):
        if number < 0:
            raise InputError("number: -1 is below 0; give 0 or more.")
        return number

    safe = guarded(callback, status)
    assert safe(-1) is None
    assert "number: -1 is below 0; give 0 or more." in status.value
    assert "role='status'" in status.value
    assert safe(3) == 3
    assert "give 0 or more" not in status.value


def test_a_guarded_callback_hides_no_programming_error():
    with pytest.raises(ZeroDivisionError):
        guarded(lambda: 1 / 0, status_line())()


def test_what_waits_for_rest_is_done_once_and_at_once_outside_a_notebook(monkeypatch, in_a_loop):
    done = []
    soon = at_rest(lambda: done.append(1))

    async def drag():
        for _ in range(3):
            soon()
        assert not done
        await asyncio.sleep(2 * REST_S)

    with monkeypatch.context() as patch:
        patch.setattr(live, "asyncio", asyncio)  # here a loop counts
        in_a_loop(drag())
    assert done == [1]
    at_rest(lambda: done.append(2))()
    assert done == [1, 2]


def columns_of(live):
    """What a browser makes of the picture: (x, y) of each trace."""
    text, numbers = json.loads(live.told.news["text"]), np.frombuffer(live.told.news["numbers"])
    return [
        [numbers[slice(*trace[axis]["column"])] if isinstance(trace[axis], dict) else trace[axis] for axis in "xy"]
        for trace in text["data"]
    ]


def test_a_change_is_one_message_that_holds_the_whole_picture():
    bars = go.Bar(x=[5, 6], y=["a", "b"], orientation="h")
    live = LiveFigure(go.Figure([go.Scatter(x=[1, 2], y=[3, np.nan]), bars], {"yaxis": {"title": {"text": "cost"}}}))
    sent = []
    live.told.observe(lambda change: sent.append(change["name"]))
    live.redraw([{"y": np.array([30, np.nan])}, {"x": [50, 60]}], yaxis={"range": [0, 50]})
    assert sent == ["news"]
    (x, y), (hours, names) = columns_of(live)
    np.testing.assert_array_equal([x, y, hours], [[1, 2], [30, np.nan], [50, 60]])
    assert names == ["a", "b"]
    layout = json.loads(live.told.news["text"])["layout"]["yaxis"]
    assert layout == {"title": {"text": "cost"}, "range": [0, 50]}
    assert live.figure.data[1].x == (50, 60)


def test_another_figure_may_have_other_traces():
    live = LiveFigure(go.Figure(go.Scatter(y=[1])))
    live.draw(go.Figure([go.Scatter(y=[1]), go.Scatter(y=[2, 3])]))
    assert len(live.figure.data) == 2


def test_a_redraw_with_another_number_of_traces_is_refused():
    with pytest.raises(InputError, match="2 given, the figure has 1"):
        LiveFigure(go.Figure(go.Scatter(y=[1]))).redraw([{}, {}])
