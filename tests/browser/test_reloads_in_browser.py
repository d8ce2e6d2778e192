"""A saved page that is reloaded, and one that loses its kernel: no panel shows an old picture without saying so."""

import pytest
from reloads import opened, reload_and_move


@pytest.fixture
def panel(lab, page):
    address, folder = lab
    opened(page, address, folder)
    return page


def test_every_chart_follows_after_a_reload_on_a_slow_machine_too(panel):
    """Four reloads; `reloads.py` does forty."""
    assert [reload_and_move(panel, slowed=turn % 2) for turn in range(4)] == [""] * 4


def test_a_page_that_lost_its_kernel_says_so_on_the_panel(panel):
    before = "getComputedStyle(document.querySelector('.pourprint-panel'), '::before').content"
    assert panel.evaluate(before) == "none"
    panel.evaluate("void jupyterapp.commands.execute('kernelmenu:restart')")
    panel.locator(".jp-Dialog button.jp-mod-accept").click()
    panel.wait_for_function(f"{before}.includes('Run this cell again')", timeout=60_000)
    panel.evaluate("jupyterapp.commands.execute('notebook:run-all-cells')")
    panel.wait_for_function(f"{before} == 'none'", timeout=60_000)
