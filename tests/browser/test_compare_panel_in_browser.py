"""The compare notebook in a browser: every slider by keyboard, every trace against a calculation of its own."""

import datetime as dt
import time

import numpy as np
import pytest
from jupyter_browser import REPOSITORY, browser_page, open_notebook, press, settled
from playwright.sync_api import expect

import pourprint as pp
from pourprint.decide.failures import again_along
from pourprint.figures.compare import comparison_range
from pourprint.figures.strokes import TALL
from pourprint.panels.question import DAYS_POINTS

NOTEBOOK = "notebooks/05_compare_the_routes.ipynb"
ROUTES = ("printed_pattern", "printed_mould", "printed_metal", "tooled_pattern")
JOB_SLIDERS = ("quantity wanted", "batch size", "mean part volume", "price of a day")
RATE_SLIDERS = (
    "labour.technician",
    "labour.engineer",
    "machine.pattern_printer",
    "machine.kiln",
    "machine.melting_furnace",
    "machine.sand_printer",
    "machine.metal_printer",
    "machine.heat_treatment_furnace",
    "machine.saw",
    "machine.machining_centre",
    "machine.wax_press",
)
# Where each drawn bar ends on its chart's axis, in the axis's unit: pixels of the pieces against those of two ticks;
# null for a bar that is torn.
BAR_ENDS = """() => [...document.querySelectorAll('.pourprint-bars')].slice(0, 2).map(chart => {
  const centre = e => (e.getBoundingClientRect().left + e.getBoundingClientRect().right) / 2;
  const ticks = [...chart.querySelectorAll('i > span')], last = ticks.at(-1);
  const pixels = (centre(last) - centre(ticks[0])) / Number(last.textContent.replaceAll(',', ''));
  return [...chart.querySelectorAll('u')].map(bar => {
    if (bar.classList.contains('torn')) return null;
    const box = [...bar.querySelectorAll('s')].map(piece => piece.getBoundingClientRect());
    return (box.at(-1).right - box[0].left) / pixels;
  });
})"""


def shown_name(key):
    return key.split(".")[-1].replace("_", " ")


def field(page, name):
    return page.get_by_role("textbox", name=name).first


def number(page, name):
    return float(field(page, name).input_value())


def expected(page):
    """Plans of the job and rates that the fields of the page show, and the price of a day."""
    kit, volume = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml"), number(page, "mean part volume")
    kit = kit if volume == round(kit.volume_cm3 / kit.nodes, 1) else kit.scaled_to(volume)
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml")
    rates = rates.replace({key: number(page, shown_name(key)) for key in RATE_SLIDERS})
    batches = page.get_by_role("combobox", name="made").input_value() == "in batches"
    size = int(number(page, "batch size")) if batches else None
    start = dt.datetime.fromisoformat(page.locator("input[type=date]").first.input_value() + "T08:00")
    job = pp.Job(kit, "AlSi7Mg", quantity=int(number(page, "quantity wanted")), batch_size=size, start=start)
    return pp.plan_all(job, rates, ROUTES), number(page, "price of a day")


def moved(page, before, patience_s=30):
    """The first plot once it differs from `before` and rests; a busy machine may take its time."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        plots = settled(page)
        if plots and plots[0] != before:
            return plots[0]
    raise AssertionError("the plot never changed")


def check_all_traces(page):
    # Days along the chart are exact once the sliders rest; failures are counted then too.
    page.wait_for_timeout(1500)
    plot = settled(page)[0]
    plans, price = expected(page)
    quantity = next(iter(plans.values())).job.quantity
    quantities = np.arange(1, 401)
    # Days between these are read from them.
    some = np.unique(np.append(np.geomspace(1, 400, DAYS_POINTS).astype(int), quantity))
    lines, means = [], []
    for plan in plans.values():
        along = again_along(plan, "quantity")
        days = np.interp(quantities, some, plan.at(quantity=some).lead_time_days)
        more, longer = along.at(quantities, days, plan.rates)
        lines.append((more * plan.at(quantity=quantities).total_cost + price * longer * days) / quantities)
        more, longer = along.at(quantity, plan.lead_time_days, plan.rates)
        means.append((more * plan.total_cost + price * longer * plan.lead_time_days) / quantity)
    # The browser gets whole doubles; what differs is only the order of a few sums.
    for trace, line in zip(plot, lines, strict=False):
        np.testing.assert_allclose(np.array(trace["y"], float), line, rtol=1e-9)
    names, turns, chosen = plot[len(ROUTES) :]
    # A name stands at its line's end, or off it, within a name's height, where another would cover it.
    ends, heights = np.array([line[-1] for line in lines]), np.array(names["y"][: len(ROUTES)], float)
    high = TALL * np.ptp(comparison_range([{"y": np.array(trace["y"], float)} for trace in plot]))
    assert np.abs(np.log10(heights / ends)).max() <= high and list(np.argsort(heights)) == list(np.argsort(ends))
    assert chosen["x"] == [quantity]
    exact = [(plan.total_cost + price * plan.lead_time_days) / quantity for plan in plans.values()]
    np.testing.assert_allclose(chosen["y"], [min(means)], rtol=1e-9)
    best = np.argmin(lines, axis=0)
    crossings = [int(q) for q in quantities[1:][np.diff(best) != 0]]
    assert [x for x in turns["x"] if x is not None] == crossings
    days = [plan.lead_time_days for plan in plans.values()]
    for drawn, amounts in zip(page.evaluate(BAR_ENDS), (exact, days), strict=True):
        ends, amounts = np.array(drawn, float), np.array(amounts)
        whole = np.isfinite(ends)
        # A browser lays boxes out to 1/64 of a pixel on bars of some 500: half a percent is more than enough.
        np.testing.assert_allclose(ends[whole], amounts[whole], rtol=5e-3)
        assert whole[:3].all() and all(amounts[~whole] > max(amounts[:3])), "only the reference may be torn"


@pytest.fixture(scope="module")
def panel(lab, playwright_driver):
    address, _ = lab
    with browser_page(playwright_driver, height=2400) as page:
        open_notebook(page, address, NOTEBOOK)
        for fold in page.locator(".pourprint-fold").all():
            fold.click()
        yield page
        assert page.refused == [], "a notebook must work without a network"


def test_every_trace_is_right_before_a_key_is_pressed(panel):
    check_all_traces(panel)


@pytest.mark.parametrize("name", [*JOB_SLIDERS, *map(shown_name, RATE_SLIDERS)])
def test_a_key_on_each_slider_moves_chart_and_table(panel, name):
    plot, table = settled(panel)[0], panel.locator(".pourprint-panel .pourprint-table").first.inner_text()
    key = "ArrowLeft" if name == "batch size" else "ArrowRight"  # beyond the quantity a batch moves nothing
    press(panel, panel.get_by_role("slider", name=name).first, key, times=3)
    moved(panel, plot)
    # The table follows once the slider rests.
    panel.wait_for_function(
        "text => document.querySelector('.pourprint-panel .pourprint-table').innerText !== text", arg=table
    )
    check_all_traces(panel)


def test_a_refused_number_is_one_sentence_and_the_picture_stays(panel):
    before = settled(panel)[0]
    quantity = field(panel, "quantity wanted")
    kept = quantity.input_value()
    quantity.fill("4.5")
    quantity.press("Enter")
    status = panel.get_by_role("status").filter(has_text="whole number")
    status.wait_for(timeout=5000)
    assert "Traceback" not in status.inner_text() and settled(panel)[0] == before
    quantity.fill(kept)
    quantity.press("Enter")
    status.wait_for(state="detached", timeout=5000)
    check_all_traces(panel)


def test_the_serial_reference_can_be_hidden(panel):
    menu, four = panel.get_by_role("combobox", name="serial reference"), settled(panel)[0]
    menu.select_option("hide")
    three = moved(panel, four)
    assert "Tooled pattern" not in [trace["name"] for trace in three]
    table = panel.locator(".pourprint-panel .pourprint-table").first
    expect(table).not_to_contain_text("Tooled pattern")  # drawn once the panel rests
    menu.select_option("show")
    moved(panel, three)
    check_all_traces(panel)


def test_a_comma_is_a_decimal_mark_and_what_is_clamped_is_said_at_the_row(panel):
    wage = field(panel, "technician")
    for typed, shown in (("38,5", "38.5"), ("385", "120"), ("a lot", "120"), ("38", "38")):
        wage.fill(typed)
        wage.press("Enter")
        panel.wait_for_timeout(1500)
        assert wage.input_value() == shown
        said = " ".join(panel.locator(".pourprint-fault").all_inner_texts())
        assert said == {"385": "385 is beyond 0 to 120."}.get(typed, said if typed == "a lot" else "")
        assert typed != "a lot" or "cannot be read as a number" in said


def test_the_chart_runs_along_the_price_of_a_day_and_back(panel):
    menu, before = panel.get_by_role("combobox", name="chart along"), settled(panel)[0]
    menu.select_option("price of a day [EUR]")
    days = moved(panel, before)
    assert days[0]["x"] == list(range(0, 1001, 10)) and days[-1]["x"] == [number(panel, "price of a day")]
    menu.select_option("quantity wanted")
    moved(panel, days)
    check_all_traces(panel)


def test_all_goes_back_to_the_first_values_by_one_press(panel):
    panel.get_by_role("button", name="all as at first").click()
    panel.wait_for_timeout(3000)
    assert number(panel, "quantity wanted") == 1 and number(panel, "technician") == 38
    assert panel.get_by_role("combobox", name="made").input_value() == "all at once"
    check_all_traces(panel)


@pytest.mark.parametrize("width", [1280, 1920])
def test_nothing_of_the_panel_is_clipped(lab, playwright_driver, width):
    address, _ = lab
    with browser_page(playwright_driver, width, 2000) as page:
        open_notebook(page, address, NOTEBOOK)
        settled(page)
        cut = page.evaluate("""() => {
          const panel = document.querySelector('.pourprint-table').closest('.jp-OutputArea-output');
          const edge = panel.getBoundingClientRect().right + 1;
          return [...panel.querySelectorAll('*')].filter(e => e.getClientRects().length && !e.closest('defs'))
            .filter(e => e.getBoundingClientRect().right > edge).map(e => e.tagName + '.' + e.className);
        }""")
        assert cut == []
