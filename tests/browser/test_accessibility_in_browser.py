"""Our panels under axe-core, a published set of accessibility rules: no serious finding."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from jupyter_browser import browser_page, open_notebook, settled

WITH_PANELS = [
    "02_print_the_pattern",
    "03_print_the_mould",
    "04_print_the_metal",
    "05_compare_the_routes",
    "06_count_the_days_and_the_failures",
]
SERIOUS = ("serious", "critical")


@pytest.mark.parametrize("name", WITH_PANELS)
def test_axe_finds_nothing_serious_in_a_panel(lab, playwright_driver, name):
    address, _ = lab
    with browser_page(playwright_driver, height=2400) as page:
        open_notebook(page, address, f"notebooks/{name}.ipynb")
        settled(page)
        assert page.locator(".pourprint-panel").count() > 0
        found = Axe().run(page, context={"include": [[".pourprint-panel"]]}).response["violations"]
        assert [(f["id"], f["help"], f["nodes"][0]["html"][:200]) for f in found if f["impact"] in SERIOUS] == []


def test_controls_are_reached_in_the_order_in_which_they_stand(lab, playwright_driver):
    address, _ = lab
    with browser_page(playwright_driver, height=2400) as page:
        open_notebook(page, address, "notebooks/05_compare_the_routes.ipynb")
        page.locator(".pourprint-panel select").first.focus()
        tops = []
        for _ in range(10):
            tops.append(page.evaluate("document.activeElement.getBoundingClientRect().top"))
            page.keyboard.press("Tab")
        assert tops == sorted(tops)
