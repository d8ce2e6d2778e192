"""The mould panel in a browser: every slider by keyboard, every bar against a calculation of its own."""

import time

import pytest
from jupyter_browser import REPOSITORY, open_notebook, press, settled, write_notebook

import pourprint as pp
from pourprint.panels.mould import CHOICES

CELLS = [
    "import pourprint as pp\n"
    "kit = pp.Kit.load('data_demo/rover_kit.toml')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')",
    "pp.panels.mould_panel(kit, rates, quantity=2)",
]
NO_COST = {"feeder's modulus"}  # the volume rule decides every feeder of the demo kit, by a wide margin
KEYS = {"smallest core": ["End"]}  # two steps reach no core of the demo kit; its end, 30 cm³, does


def number(page, name):
    return float(page.get_by_role("spinbutton", name=name).first.input_value())


def expected(page):
    """Cost of one kit by step [EUR] at the values that the fields of the page show."""
    kit = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml")
    changes = {key: number(page, name) for key, (name, *_) in CHOICES.items()}
    rates = pp.RateCard.load(REPOSITORY / "data_demo/rates.toml").replace(changes)
    quantity = int(number(page, "quantity wanted"))
    found = pp.plan("printed_mould", pp.Job(kit, "AlSi7Mg", quantity), rates)
    return {step.name: cost / quantity for step, cost in zip(found.steps, map(float, found.step_costs), strict=True)}


def drawn(page, before=None, patience_s=30):
    """{step: cost} of the bars that the page draws, once they differ from `before` and rest."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        bars = settled(page)[0][0]
        now = {name: cost for name, cost in zip(bars["y"], bars["x"], strict=True) if cost}
        if now != before:
            return now
    raise AssertionError("the bars never changed")


def model(page):
    return pytest.approx({name: cost for name, cost in expected(page).items() if cost})


def test_every_slider_moves_the_bars_to_the_models_costs(lab, page):
    address, folder = lab
    write_notebook(folder / "mould_panel.ipynb", CELLS)
    open_notebook(page, address, "mould_panel.ipynb")
    bars = drawn(page)
    assert bars == model(page)
    for name in [name for name, *_ in CHOICES.values()]:
        value = number(page, name)
        for key in KEYS.get(name, ["ArrowRight"] * 2):
            press(page, page.get_by_role("slider", name=name).first, key)
        page.wait_for_timeout(1000)
        assert number(page, name) > value, name
        bars = drawn(page, None if name in NO_COST else bars)
        assert bars == model(page), name
