"""The pattern panel in a browser: sliders by keyboard, every bar against a calculation of its own."""

import pytest
from jupyter_browser import REPOSITORY, figure_data, open_notebook, settled, write_notebook

import pourprint as pp

CELLS = [
    "import pourprint as pp",
    'kit = pp.Kit.load("data_demo/rover_kit.toml")\nrates = pp.RateCard.load("data_demo/rates.toml")',
    "pp.panels.pattern_panel(kit, rates, quantity=2)",
]
MOVES = {
    "infill": "printed_pattern.infill",
    "gate length": "cluster.gate_length",
    "humidity": "shell.humidity",
    "air in the kiln": "shell.air_flow",
}


def drawn(page):
    return settled(page)[0][0]["x"]


def by_hand(changes, quantity=2):
    kit = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml")
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml").replace(changes)
    plan = pp.plan("printed_pattern", pp.Job(kit, "AlSi7Mg", quantity), rates)
    return [cost / quantity for cost in plan.cost_by_stage().values()]


def test_every_slider_moves_the_bars_that_the_model_says(lab, page):
    address, folder = lab
    write_notebook(folder / "pattern_panel.ipynb", CELLS)
    open_notebook(page, address, "pattern_panel.ipynb")
    page.locator(".js-plotly-plot").first.wait_for()
    assert drawn(page) == pytest.approx(by_hand({}), rel=1e-6)
    changes = {}
    for name, key in MOVES.items():
        slider = page.get_by_role("slider", name=name).first
        field = page.get_by_role("spinbutton", name=name).first
        before = float(field.input_value())
        for _ in range(5):
            slider.press("ArrowRight")
        page.wait_for_timeout(1000)
        changes[key] = float(field.input_value())
        assert changes[key] > before
        assert drawn(page) == pytest.approx(by_hand(changes), rel=1e-6), name
    assert figure_data(page)[0][0]["y"][0] == "design"
