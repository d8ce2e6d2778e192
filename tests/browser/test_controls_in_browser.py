"""Controls and live figures as a student meets them: in a browser, with the keyboard, in two views."""

import numpy as np
import pytest
from jupyter_browser import open_notebook, press, settled, write_notebook
from playwright.sync_api import expect

LIVE = """
import numpy as np
import plotly.graph_objects as go
from IPython.display import display
from pourprint.ledger.errors import InputError
import ipywidgets
from pourprint.panels.controls import choice_row, group, named, number_row
from pourprint.panels.live import LiveFigure, guarded, status_line

x = np.arange(1.0, 51.0)
cost = number_row("Hourly cost", 40, 0, 100, 1, "€/h")
count = number_row("Quantity", 12, 1, 1000, 1, "kits", log=True)
metal = choice_row("Alloy", ["aluminium", "bronze"])

def model():
    factor = {"aluminium": 1, "bronze": 2}[metal.value]
    if cost.value > 90:
        raise InputError("Hourly cost: 91 or more is not allowed; give at most 90.")
    line = factor * cost.value + count.value / x
    mark = np.full(x.size, np.nan)
    mark[int(cost.value) % x.size] = cost.value
    bars = np.array([1.0, 2.0, 3.0, 4.0]) * cost.value
    days = np.array([5.0, 6.0, 7.0, 8.0]) * factor
    return [{"y": line}, {"y": mark}, {"y": bars}, {"x": days}]

routes = ["printed", "printed", "metal", "metal"]
line, mark, bars, days = model()
figure = LiveFigure(go.Figure(
    [
        go.Scatter(x=x, y=line["y"], name="line"),
        go.Scatter(x=x, y=mark["y"], mode="markers", name="mark"),
        go.Bar(x=routes, y=bars["y"], name="bars", xaxis="x2", yaxis="y2"),
        go.Bar(y=routes, x=days["x"], name="days", orientation="h", xaxis="x3", yaxis="y3"),
    ],
    dict(barmode="stack", showlegend=False, grid=dict(rows=3, columns=1, pattern="independent"), height=500),
))
status = status_line()
update = guarded(lambda: figure.redraw(model()), status)
for row in (cost, count, metal):
    row.observe(update)
panel = ipywidgets.HBox([
    named(group("The job", [cost, count, metal])).add_class("pourprint-controls"),
    ipywidgets.VBox([figure]).add_class("pourprint-content"),
]).add_class("pourprint-page")
BEFORE
display(panel, status)
"""


def expected(cost, count, factor=1):
    """The toy model again, written apart from the notebook: every trace's (x, y) as lists with None for gaps."""
    x = list(range(1, 51))
    routes = ["printed", "printed", "metal", "metal"]
    return [
        (x, [factor * cost + count / n for n in x]),
        (x, [cost if n == cost % 50 else None for n in range(50)]),
        (routes, [cost * n for n in (1, 2, 3, 4)]),
        ([factor * n for n in (5, 6, 7, 8)], routes),
    ]


def same(got, want):
    if len(got) == len(want) and not isinstance(want[0], str):
        # Both sides are doubles, computed in the same order: only the last digits may differ.
        return np.allclose(np.array(got, float), np.array(want, float), rtol=1e-12, equal_nan=True)
    return got == want


def assert_every_trace(page, views, cost, count, factor=1):
    plots = settled(page)
    assert len(plots) == views
    for view, traces in enumerate(plots):
        wanted = expected(cost, count, factor)
        assert len(traces) == len(wanted)
        for trace, (x, y) in zip(traces, wanted, strict=True):
            assert same(trace["x"], x), (view, trace)
            assert same(trace["y"], y), (view, trace)


def run_cell(page, number):
    """Select one cell by a click in its code and run it again."""
    page.locator(".jp-CodeCell .jp-InputArea-editor").nth(number).click()
    page.evaluate("jupyterapp.commands.execute('notebook:run-cell')")
    settled(page)


@pytest.fixture
def opened(lab, page):
    address, folder = lab
    write_notebook(folder / "toy.ipynb", [LIVE.replace("BEFORE", ""), "panel", "panel"])
    open_notebook(page, address, "toy.ipynb")
    return page


def test_every_trace_is_right_before_and_after_keys_in_every_view(opened):
    assert_every_trace(opened, 3, cost=40, count=12)
    press(opened, opened.get_by_role("slider", name="Hourly cost").first, "ArrowRight", times=3)
    assert_every_trace(opened, 3, cost=43, count=12)
    opened.get_by_role("combobox", name="Alloy").nth(1).select_option("bronze")
    assert_every_trace(opened, 3, cost=43, count=12, factor=2)


def test_a_view_opened_after_a_change_shows_the_present_state(opened):
    press(opened, opened.get_by_role("slider", name="Hourly cost").first, "ArrowRight", times=2)
    assert_every_trace(opened, 3, cost=42, count=12)
    run_cell(opened, 2)
    assert_every_trace(opened, 3, cost=42, count=12)
    press(opened, opened.get_by_role("slider", name="Hourly cost").first, "ArrowLeft")
    assert_every_trace(opened, 3, cost=41, count=12)


def test_a_figure_changed_before_it_is_shown_is_right(lab, page):
    address, folder = lab
    write_notebook(folder / "early.ipynb", [LIVE.replace("BEFORE", "cost.source.value = 55"), "panel"])
    open_notebook(page, address, "early.ipynb")
    assert_every_trace(page, 2, cost=55, count=12)
    press(page, page.get_by_role("slider", name="Hourly cost").first, "ArrowRight")
    assert_every_trace(page, 2, cost=56, count=12)


def test_a_reloaded_page_shows_the_present_state(opened):
    press(opened, opened.get_by_role("slider", name="Hourly cost").first, "ArrowRight", times=2)
    assert_every_trace(opened, 3, cost=42, count=12)
    opened.evaluate("jupyterapp.commands.execute('docmanager:save')")
    opened.reload()
    opened.get_by_role("slider", name="Hourly cost").nth(2).wait_for()
    assert_every_trace(opened, 3, cost=42, count=12)


def test_field_follows_slider_and_slider_follows_field(opened):
    slider = opened.get_by_role("slider", name="Quantity").first
    field = opened.get_by_role("textbox", name="Quantity").first
    press(opened, slider, "ArrowRight")
    settled(opened)
    assert field.input_value() == "13"
    assert slider.get_attribute("aria-valuetext") == "13 kits"
    field.fill("5000")
    field.press("Enter")
    assert_every_trace(opened, 3, cost=40, count=1000)
    assert field.input_value() == "1000"
    assert slider.get_attribute("aria-valuetext") == "1000 kits"


def test_a_slider_says_its_number_as_it_is_written_with_its_unit(lab, page):
    address, folder = lab
    rows = (
        'number_row("Share", 0.14, 0.05, 0.5, 0.01, "of 1")',  # 0.05 + 0.01 * 10 is 0.15000000000000002 in binary
        'number_row("Mass", 1.4, 0.1, 9, 0.1, "kg")',
        'number_row("Quantity", 1, 1, 50, 1, "kits", log=True)',
    )
    code = f"from pourprint.panels.controls import group, named, number_row\nnamed(group('All', [{', '.join(rows)}]))"
    write_notebook(folder / "said.ipynb", [code])
    open_notebook(page, address, "said.ipynb")
    said = {"Share": ("0.14", "0.15", "0.16"), "Mass": ("1.4", "1.5", "1.6"), "Quantity": ("1", "2", "3")}
    units = {"Share": ("of 1",) * 3, "Mass": ("kg",) * 3, "Quantity": ("kit", "kits", "kits")}
    for name, numbers in said.items():
        slider = page.get_by_role("slider", name=name).first
        for number, unit in zip(numbers, units[name], strict=True):
            expect(slider).to_have_attribute("aria-valuetext", f"{number} {unit}")
            press(page, slider, "ArrowRight")
        press(page, slider, "ArrowLeft", times=3)
        expect(slider).to_have_attribute("aria-valuetext", f"{numbers[0]} {units[name][0]}")


def test_a_bad_input_is_one_sentence_and_the_picture_stays(opened):
    field = opened.get_by_role("textbox", name="Hourly cost").first
    field.fill("95")
    field.press("Enter")
    opened.get_by_role("status").get_by_text("give at most 90.").wait_for()
    assert opened.get_by_text("Traceback").count() == 0
    assert_every_trace(opened, 3, cost=40, count=12)
    field.fill("80")
    field.press("Enter")
    assert_every_trace(opened, 3, cost=80, count=12)
    assert opened.get_by_text("give at most 90.").count() == 1  # only in the code above


@pytest.mark.parametrize("width", [1280, 1920])
def test_nothing_is_clipped(opened, width):
    opened.set_viewport_size({"width": width, "height": 900})
    settled(opened)
    output = opened.locator(".jp-OutputArea-output").first.bounding_box()
    for row in opened.locator(".jp-OutputArea-output").first.locator(".pourprint-unit, .noUi-handle, input").all():
        box = row.bounding_box()
        assert box["x"] >= output["x"] and box["x"] + box["width"] <= output["x"] + output["width"]
    plot = opened.locator(".js-plotly-plot").first.bounding_box()
    assert plot["x"] + plot["width"] <= output["x"] + output["width"] + 1  # rounding to whole pixels
