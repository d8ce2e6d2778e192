"""No notebook and no page asks another machine for anything, tried for all of them in a browser; slow, so by hand:

POURPRINT_EVERY=1 pytest tests/browser/test_every_notebook_in_browser.py -n 0
"""

import os

import pytest
from jupyter_browser import REPOSITORY, open_notebook

NOTEBOOKS = sorted(path.relative_to(REPOSITORY) for path in (REPOSITORY / "notebooks").rglob("*.ipynb"))
pytestmark = pytest.mark.skipif(not os.environ.get("POURPRINT_EVERY"), reason="slow: by hand")


@pytest.mark.parametrize("name", NOTEBOOKS, ids=str)
def test_a_notebook_run_and_read_to_its_end_asks_nobody_else(page, lab, name):
    open_notebook(page, lab[0], str(name), patience_s=600)
    pane = page.locator(".jp-WindowedPanel-outer").first
    for _ in range(200):  # what is not in view is drawn when it comes into it
        at_end = pane.evaluate(
            "p => {p.scrollBy(0, 0.8 * p.clientHeight); return p.scrollTop + p.clientHeight > p.scrollHeight - 2}"
        )
        page.wait_for_timeout(150)
        if at_end:
            break
    assert at_end and page.lines and page.refused == []
