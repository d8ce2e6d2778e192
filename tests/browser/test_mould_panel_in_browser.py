"""The mould panel in a browser: every slider by keyboard, every bar and stroke against a calculation of its own."""

from itertools import pairwise

import pytest
from jupyter_browser import REPOSITORY, browser_page, check_bars, number, open_notebook, press, write_notebook

import pourprint as pp
from pourprint.panels.panel import SLIDERS as ROWS

CELLS = [
    "import pourprint as pp\n"
    "kit = pp.Kit.load('data_demo/rover_kit.toml')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')",
    "pp.panels.mould_panel(kit, rates, quantity=2)",
]
SLIDERS = ["quantity wanted", "mean part volume", *(row["name"] for row in ROWS["mould"].values())]
NO_COST = {"feeder's modulus"}  # the volume rule decides every feeder of the demo kit, by a wide margin
KEYS = {"smallest core": ["End"]}  # two steps reach no core of the demo kit; its end, 30 cm³, does
# Boxes of names, of what is drawn in their rows, and of numbers; and what the chart's own box and text hold.
PLACES = """() => {
  const chart = document.querySelector('.pourprint-bars.marked'), box = e => e.getBoundingClientRect().toJSON();
  const text = e => { const range = document.createRange(); range.selectNodeContents(e); return box(range); };
  const rows = [...chart.querySelectorAll('u')].map(bar => [...bar.closest('div').children]);
  return {chart: box(chart), output: box(chart.closest('.jp-OutputArea-output')),
    labels: [...chart.querySelectorAll('i > span')].map(text),
    rows: rows.map(([name, bars, number]) => ({name: text(name), bars: box(bars), number: text(number)}))};
}"""


def expected(page):
    """Cost of one kit by step [EUR] at the values that the fields of the page show."""
    kit = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml")
    volume = number(page, "mean part volume")
    if volume != round(float(kit.volume_cm3) / kit.nodes, 1):
        kit = kit.scaled_to(volume)
    changes = {key: number(page, row["name"]) for key, row in ROWS["mould"].items()}
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml").replace(changes)
    quantity = int(number(page, "quantity wanted"))
    found = pp.plan("printed_mould", pp.Job(kit, "AlSi7Mg", quantity), rates)
    return {step.name: cost / quantity for step, cost in zip(found.steps, map(float, found.step_costs), strict=True)}


def test_every_slider_moves_the_bars_to_the_models_costs_and_leaves_the_strokes(lab, page):
    address, folder = lab
    write_notebook(folder / "mould_panel.ipynb", CELLS)
    open_notebook(page, address, "mould_panel.ipynb")
    page.locator(".pourprint-bars").wait_for()
    first = before = expected(page)
    check_bars(page, first, first)
    for name in SLIDERS:
        value = number(page, name)
        for key in KEYS.get(name, ["ArrowRight"] * 2):
            press(page, page.get_by_role("slider", name=name).first, key)
        page.wait_for_timeout(1000)
        assert number(page, name) > value, name
        now = expected(page)
        assert (now == before) == (name in NO_COST), name
        check_bars(page, now, first)
        before = now


@pytest.mark.parametrize(("width", "least_px", "lines"), [(1280, 190, 2), (1920, 300, 1)])
def test_nothing_of_the_bars_is_clipped_and_no_name_meets_another(lab, playwright_driver, width, least_px, lines):
    # Where the page is narrow the bars stand beside the sliders all the same: shorter, with names on two lines.
    address, folder = lab
    write_notebook(folder / "mould_panel_places.ipynb", CELLS)
    with browser_page(playwright_driver, width) as page:
        open_notebook(page, address, "mould_panel_places.ipynb")
        page.locator(".pourprint-bars").wait_for()
        places = page.evaluate(PLACES)
    chart, rows = places["chart"], places["rows"]
    assert chart["right"] <= places["output"]["right"] + 1
    for row in rows:
        assert chart["left"] <= row["name"]["left"] and row["name"]["right"] < row["bars"]["left"]
        assert row["name"]["height"] < 20 * lines
        assert row["bars"]["width"] > least_px
        assert row["bars"]["right"] < row["number"]["left"] and row["number"]["right"] <= chart["right"]
    assert all(above["name"]["bottom"] <= below["name"]["top"] for above, below in pairwise(rows))
    assert all(left["right"] < right["left"] for left, right in pairwise(places["labels"]))
