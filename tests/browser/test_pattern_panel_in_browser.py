"""The pattern panel in a browser: every slider by keyboard, every bar and stroke against a calculation of its own."""

from jupyter_browser import REPOSITORY, check_bars, number, open_notebook, press, write_notebook

import pourprint as pp
from pourprint.figures.stages import short
from pourprint.panels.panel import SLIDERS as ROWS

CELLS = [
    "import pourprint as pp",
    'kit = pp.Kit.load("data_demo/rover_kit.toml")\nrates = pp.RateCard.load("data_demo/rates.toml")',
    "pp.panels.pattern_panel(kit, rates, quantity=2)",
]
# Shells dry by themselves: days, not money; and the demo's clusters hold fewer than have room, since they must be fed.
NO_COST = {"open surface dries", "humidity", "least gap"}
# What is free up to a point, taken beyond it.
KEYS = {"least gate length": ["End"], "least gap": ["End"], "air in the kiln": ["Home"]}
SLIDERS = ["quantity wanted", *(row["name"] for row in ROWS["pattern"].values())]


def expected(page):
    """Cost of one kit by stage [EUR] at the values that the fields of the page show."""
    kit = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml")
    changes = {key: number(page, row["name"]) for key, row in ROWS["pattern"].items()}
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml").replace(changes)
    quantity = int(number(page, "quantity wanted"))
    plan = pp.plan("printed_pattern", pp.Job(kit, "AlSi7Mg", quantity), rates)
    return {short(stage.title, plan.route): cost / quantity for stage, cost in plan.cost_by_stage().items()}


def test_every_slider_moves_the_bars_to_the_models_costs_and_leaves_the_strokes(lab, page):
    address, folder = lab
    write_notebook(folder / "pattern_panel.ipynb", CELLS)
    open_notebook(page, address, "pattern_panel.ipynb")
    page.locator(".pourprint-bars").wait_for()
    table = page.locator(".pourprint-live table")
    first = before = expected(page)
    check_bars(page, first, first)
    for name in SLIDERS:
        value, facts = number(page, name), table.inner_text()
        for key in KEYS.get(name, ["ArrowRight"] * 5):
            press(page, page.get_by_role("slider", name=name).first, key)
        page.wait_for_timeout(1000)
        assert number(page, name) != value and table.inner_text() != facts, name
        now = expected(page)
        assert (now == before) == (name in NO_COST), name
        check_bars(page, now, first)
        before = now
