"""The panels of fits and of lightening in a browser: keys move them as the models say; the beam forms and stops."""

import re
from dataclasses import replace

import pytest
from jupyter_browser import REPOSITORY, figure_data, number, open_notebook, press, settled, write_notebook

import pourprint as pp

OPENING = (
    "import pourprint as pp\n"
    "frame = pp.Frame.load('data_demo/rover_frame.toml')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')"
)
LIGHTER = (
    "kit = pp.Kit.load('data_demo/rover_kit.toml')\n"
    "part = kit.parts[0].part\n"
    "lighter = pp.with_part(kit, part.scaled_to(0.75 * part.volume_cm3), part.name)\n"
    "plans, again = (pp.plan_all(pp.Job(one, 'AlSi7Mg', 4), rates, pp.routes.PRINTED) for one in (kit, lighter))"
)


def opened(lab, page, name, *cells):
    """The page at the size of a small laptop's screen, files listed at the left, every cell run."""
    address, folder = lab
    write_notebook(folder / f"{name}.ipynb", [OPENING, *cells])
    page.set_viewport_size({"width": 1280, "height": 800})
    open_notebook(page, address, f"{name}.ipynb")
    page.locator(".js-plotly-plot").first.wait_for()


def peak(length_mm, service_c):
    """Peak shear [MPa] of the rocker's front leg in a printed pattern: the bond list's own."""
    frame = pp.Frame.load(REPOSITORY / "data_demo/rover_frame.toml")
    loads, rates = pp.frame_loads(frame), pp.RateCard.load(REPOSITORY / "data_demo/rates.toml")
    legs = {n: replace(tube, bond_mm=(length_mm, 35.0)) for n, tube in frame.tubes.items() if "front_leg" in n}
    longer = replace(frame, tubes={**frame.tubes, **legs})
    plan = pp.plan("printed_pattern", pp.Job(pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml"), "AlSi7Mg", 4), rates)
    table = pp.bond_list(longer, loads, plan, service_c=service_c)
    return table.loc[("rocker_pivot", "front_leg_left"), "peak shear [MPa]"]


def test_keys_move_the_bond_to_the_models_shear(lab, page):
    opened(lab, page, "fit", "pp.panels.fit_panel(frame, rates)")
    for name, key in (("bond length", "ArrowLeft"), ("coldest service", "ArrowRight")):
        before = figure_data(page)
        press(page, page.get_by_role("slider", name=name).first, key, times=3)
        settled(page)
        assert figure_data(page) != before, name
        expected = peak(number(page, "bond length"), number(page, "coldest service"))
        page.get_by_text(f"{expected:.0f} MPa at an end").first.wait_for()
    assert number(page, "bond length") == 37 and number(page, "coldest service") == -5
    x = figure_data(page)[0][0]["x"]
    assert max(x) == pytest.approx(37)


def test_the_beam_forms_in_the_browser_and_stops(lab, page):
    opened(lab, page, "lighten", LIGHTER, "pp.panels.lighten_panel(plans, again)")
    press(page, page.get_by_role("slider", name="kits").first, "ArrowRight", times=2)
    settled(page)
    assert number(page, "kits") > 4

    def iteration():
        return int(re.search(r"after (\d+) iteration", page.locator(".js-plotly-plot .gtitle").first.text_content())[1])

    assert iteration() == 1
    page.get_by_role("button", name="let it form").click()
    page.wait_for_function(
        "+document.querySelector('.js-plotly-plot .gtitle').textContent.match(/after (\\d+)/)[1] > 4"
    )
    page.get_by_role("button", name="stop").click()
    page.get_by_role("button", name="let it form").wait_for()
    settled(page)
    stopped = iteration()
    page.wait_for_timeout(1000)
    assert iteration() == stopped > 4
