"""The compare panel in JupyterLab under axe-core, a published set of accessibility rules; the order of its controls.

The other panels are tried the same way as pages, in test_pages_in_browser.
"""

from itertools import pairwise

import pytest
from jupyter_browser import browser_page, open_notebook, serious_findings, settled


@pytest.fixture(scope="module")
def panel(lab, playwright_driver):
    address, _ = lab
    with browser_page(playwright_driver, height=2400) as page:
        open_notebook(page, address, "notebooks/05_compare_the_routes.ipynb")
        settled(page)
        yield page


def test_axe_finds_nothing_serious_in_the_panel(panel):
    assert serious_findings(panel, ".pourprint-panel") == []


def test_controls_are_reached_in_the_order_in_which_they_stand(panel):
    panel.locator(".pourprint-panel select").first.focus()
    tops = []
    for _ in range(10):
        tops.append(panel.evaluate("document.activeElement.getBoundingClientRect().top"))
        panel.keyboard.press("Tab")
    # Slider and field of one row differ by a few pixels in height; the next row begins some 30 lower.
    assert all(after > before - 15 for before, after in pairwise(tops)) and tops[-1] > tops[0] + 60


def test_arrow_keys_on_a_focused_menu_change_the_menu(panel):
    menu = panel.get_by_role("combobox", name="alloy")
    menu.focus()
    before = menu.input_value()
    panel.keyboard.press("ArrowDown")
    assert menu.input_value() != before
