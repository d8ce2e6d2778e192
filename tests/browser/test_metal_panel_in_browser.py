"""The panel of printed metal in a browser: sliders by keyboard, the drawn bars against the model's own hours."""

from jupyter_browser import REPOSITORY, check_bars, number, open_notebook, press, write_notebook

import pourprint as pp
from pourprint.figures.printed_metal import hours_of_a_kit
from pourprint.routes import printed_metal

CELLS = [
    "import pourprint as pp\n"
    "kit = pp.Kit.load('data_demo/rover_kit.toml')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')",
    "pp.panels.metal_panel(pp.Job(kit, 'AlSi10Mg', 2), rates)",
]
SLIDERS = {"layer thickness": "layer_scale", "spread a layer": "recoat", "printed together": "kits_together"}


def expected(page):
    """Hours of one kit at the values that the fields of the page show."""
    kit = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml")
    changes = {f"{printed_metal.NAME}.{key}": number(page, name) for name, key in SLIDERS.items()}
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml").replace(changes)
    job = pp.Job(kit, "AlSi10Mg", int(number(page, "quantity wanted")))
    return hours_of_a_kit(pp.plan(printed_metal.NAME, job, rates))


def test_every_slider_moves_the_bars_to_the_models_hours(lab, page):
    address, folder = lab
    write_notebook(folder / "metal.ipynb", CELLS)
    open_notebook(page, address, "metal.ipynb")
    page.locator(".pourprint-bars.marked em").first.wait_for()
    first = expected(page)
    check_bars(page, first, first)
    for name in SLIDERS:
        before = expected(page)
        way, times = ("ArrowLeft", 7) if name == "printed together" else ("ArrowRight", 2)
        press(page, page.get_by_role("slider", name=name).first, way, times=times)
        page.wait_for_timeout(1500)
        assert expected(page) != before, name
        check_bars(page, expected(page), first)
