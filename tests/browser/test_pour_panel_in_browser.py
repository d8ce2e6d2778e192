"""The film of a pour and its panel in a browser: keys, ten frames a second, words that are spoken, a node mended."""

import time

from jupyter_browser import open_notebook, write_notebook
from playwright.sync_api import expect

CELLS = [
    "import pourprint as pp\n"
    "from pourprint.routes.mould_sizes import moulds_with_one_feeder\n"
    "from pourprint.routes.pouring import pour\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')\n"
    "part = pp.nodes.badly_drawn()\n"
    "job = pp.Job(part, 'AlSi7Mg')\n"
    "run = pour(moulds_with_one_feeder(job, rates)[0], cells=100_000)",
    "pp.panels.Film(run)",
    "pp.panels.pour_panel(part, rates)",
]
INK = """() => { const c = document.querySelector('.pourprint-scrub canvas');
  const drawn = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  return drawn.filter((v, i) => i % 4 == 3 && v > 0).length; }"""


def test_the_film_plays_ten_frames_a_second_follows_keys_and_speaks_and_the_panel_mends_the_node(lab, page):
    address, folder = lab
    write_notebook(folder / "pour_panel.ipynb", CELLS)
    open_notebook(page, address, "pour_panel.ipynb")
    film, panel = page.locator(".pourprint-scrub"), page.locator(".pourprint-panel")
    film.wait_for()
    slider, canvas = film.locator("input"), film.locator("canvas")
    assert page.evaluate(INK) > 300
    assert "empty 0%" in canvas.get_attribute("aria-label")  # it opens amid the film: there is something to see
    assert int(slider.input_value()) == (int(slider.get_attribute("max")) + 1) // 2
    slider.focus()
    page.keyboard.press("Home")
    assert "empty 100%" in canvas.get_attribute("aria-label")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert slider.input_value() == "3" and "liquid" in slider.get_attribute("aria-valuetext")
    begin = time.monotonic()
    film.locator("button").click()
    page.wait_for_timeout(3000)
    film.locator("button").click()
    took_s = time.monotonic() - begin  # a busy machine presses the button late
    assert 25 <= int(slider.input_value()) - 3 <= 10 * took_s + 1
    assert "1 place" in panel.locator(".pourprint-facts").inner_text()
    panel.get_by_label("feeder", exact=True).select_option("both")
    panel.get_by_text("no place, 0 cm³").wait_for()
    panel.get_by_text("In words").scroll_into_view_if_needed()  # a chart is drawn when it comes into view
    expect(panel.locator(".js-plotly-plot .heatmaplayer")).to_have_count(1, timeout=30_000)
