"""Every slider and the chart that it moves stand on one screen, in all panels, on the screens of a class."""

import pytest
from jupyter_browser import browser_page, open_notebook, write_notebook

import pourprint as pp
from pourprint.figures import bars
from pourprint.routes.looks import moulds_of
from scenes import demo_kit, demo_rates

PANELS = {
    "compare": "pp.panels.compare_panel(kit, rates)",
    "risk": "pp.panels.risk_panel(kit, rates)",
    "pattern": "pp.panels.pattern_panel(kit, rates, quantity=2)",
    "mould": "pp.panels.mould_panel(kit, rates, quantity=2)",
    "metal": "pp.panels.metal_panel(pp.Job(kit, 'AlSi10Mg', 2), rates)",
}
KIT = (
    "import pourprint as pp\n"
    "kit = pp.Kit.load('data_demo/rover_kit.toml')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')"
)
SIZES = [(1280, 800), (1366, 768), (1440, 900), (1920, 1080)]
LEAST_SHARE = 0.9
# For each slider, from the first to the last and back, brought into view as a Tab does: the share of slider and of
# chart that the notebook's pane shows.
SEEN = """() => {
  const pane = document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect();
  const seen = element => {
    const box = element.getBoundingClientRect();
    const high = Math.min(box.bottom, pane.bottom) - Math.max(box.top, pane.top);
    const wide = Math.min(box.right, pane.right) - Math.max(box.left, pane.left);
    return Math.max(0, high) * Math.max(0, wide) / (box.height * box.width);
  };
  const chart = document.querySelector('.pourprint-content').querySelector('.js-plotly-plot, .pourprint-bars');
  const sliders = [...document.querySelectorAll('.pourprint-panel .noUi-handle')];
  return [...sliders, ...sliders.reverse()].map(slider => {
    slider.scrollIntoView({block: 'nearest'});
    return [slider.getAttribute('aria-label'), seen(slider), seen(chart)];
  });
}"""


@pytest.fixture(scope="module")
def address(lab):
    address, folder = lab
    for name, code in PANELS.items():
        write_notebook(folder / f"layout_{name}.ipynb", [KIT, code, *["'what stands below'"] * 3])
    return address


@pytest.mark.parametrize("name", PANELS)
def test_each_slider_is_seen_with_its_chart(address, playwright_driver, name):
    hidden = []
    with browser_page(playwright_driver) as page:
        open_notebook(page, address, f"layout_{name}.ipynb")
        page.locator(".pourprint-content").locator(".js-plotly-plot, .pourprint-bars").first.wait_for()
        for fold in page.locator(".pourprint-fold").all():
            fold.click()
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            for side in ("expandLeft", "collapseLeft"):
                page.evaluate(f"jupyterapp.shell.{side}()")
                page.wait_for_timeout(1000)
                found = page.evaluate(SEEN)
                assert len(found) > 3
                hidden += [(width, height, side, *one) for one in found if one[1] < LEAST_SHARE or one[2] < LEAST_SHARE]
    assert hidden == []


def test_a_chart_takes_its_places_width_and_keeps_its_height_whatever_becomes_of_the_window(lab, playwright_driver):
    """A chart out of sight is not told that its place changed; it must know when it comes into view."""
    address, folder = lab
    timeline = "pp.figures.plan_timeline(pp.plan('printed_metal', pp.Job(kit, 'AlSi10Mg', start='2027-01-11'), rates))"
    write_notebook(folder / "widths.ipynb", [KIT, *[timeline, *["'between'"] * 12] * 4])
    fitting = """i => {
      const plot = document.querySelectorAll('.js-plotly-plot')[i], drawn = plot?.querySelector('.main-svg');
      const [own, place] = [drawn, plot].map(one => one?.getBoundingClientRect());
      return drawn && Math.abs(own.width - place.width) < 3 && own.height > 200 && own.height < place.height + 3;
    }"""
    with browser_page(playwright_driver) as page:
        open_notebook(page, address, "widths.ipynb")
        for side, width, height in [
            ("expandLeft", 1280, 700),  # at first nothing but the height changes
            ("collapseLeft", 640, 800),
            ("expandLeft", 1280, 800),
            ("collapseLeft", 960, 800),
            ("expandLeft", 1920, 800),
        ] * 2:
            page.evaluate(f"jupyterapp.shell.{side}()")
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(300)
            for i in range(page.locator(".js-plotly-plot").count()):
                page.locator(".js-plotly-plot").nth(i).scroll_into_view_if_needed()
                page.wait_for_function(fitting, arg=i, timeout=5000)
        assert page.locator(".js-plotly-plot").count() == 4


def test_a_saved_chart_is_drawn_again_when_it_is_seen_and_not_shown_as_a_picture_in_other_colours(lab, page):
    address, folder = lab
    write_notebook(folder / "saved.ipynb", [KIT, "pp.figures.part_picture(kit.parts[0].part)"])
    open_notebook(page, address, "saved.ipynb")
    for _ in range(40):
        page.evaluate("jupyterapp.commands.execute('docmanager:save')")
        page.wait_for_timeout(500)
        if "image/png" in (folder / "saved.ipynb").read_text():
            break
    page.reload()
    page.locator(".jp-RenderedPlotly .main-svg").first.wait_for(timeout=20_000)
    assert page.locator(".jp-RenderedPlotly .plot-img:visible").count() == 0


def test_a_section_to_scale_keeps_its_size_whatever_widths_the_window_had(page):
    (mould,) = moulds_of(pp.Job(demo_kit().parts[0].part, "AlSi7Mg"), demo_rates())
    page.set_content(pp.figures.gating_sketch(mould).figure.to_html(config={"responsive": True}))
    ends, drawn = "['xaxis', 'yaxis'].map(a => document.querySelector('.js-plotly-plot')._fullLayout[a].range)", []
    for width in (1280, 640, 960, 1920, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        page.wait_for_timeout(500)
        drawn.append(page.evaluate(ends))
    assert all(one == drawn[0] for one in drawn)


@pytest.mark.parametrize("width", [340, 520, 850, 1400])
def test_names_in_bars_stand_whole_or_are_not_seen(page, width):
    plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4, start="2027-01-11"), demo_rates())
    text = bars.comparison_bars(pp.comparison(plans), "EUR a kit")
    page.set_content(f"{bars.STYLE}<div style='width:{width}px'>{text}</div>")
    names = page.locator(".pourprint-bars s:has(span)").evaluate_all("""pieces => pieces.map(piece => {
      const box = piece.getBoundingClientRect(), name = piece.firstElementChild.getBoundingClientRect();
      return [!name.width || name.top >= box.bottom, name.left >= box.left - 0.5 && name.right <= box.right + 0.5];
    })""")
    assert all(hidden or whole for hidden, whole in names) and any(hidden for hidden, _ in names)
    ends = page.locator(".pourprint-bars *").evaluate_all("all => all.map(one => one.getBoundingClientRect().right)")
    assert max(ends) <= width + 8 + 1  # the page's own margin is 8
    # On a narrow page all names stand below their bar instead.
    below = page.locator(".pourprint-bars label").evaluate_all("all => all.map(one => one.offsetHeight > 0)")
    narrow = width <= 520
    assert all(below) if narrow else not any(below)
    assert all(hidden for hidden, _ in names) == narrow
