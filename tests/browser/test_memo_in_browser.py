"""The memo's page under axe-core, a published set of accessibility rules; it is drawn and asks for nothing."""

import pytest
from jupyter_browser import open_notebook, serious_findings

import pourprint as pp
from scenes import demo_kit, demo_rates


@pytest.fixture(scope="module")
def memo_path(tmp_path_factory):
    found = pp.report.memo(pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates(), "2026-11-30", "2027-03-01", 50)
    return found.write(tmp_path_factory.mktemp("memo") / "memo.html")


def test_the_memo_opens_from_a_file_draws_its_charts_and_has_nothing_serious_for_axe(page, memo_path):
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(memo_path.as_uri())
    page.wait_for_selector(".js-plotly-plot .main-svg", timeout=60_000)
    assert page.locator(".js-plotly-plot").count() == 4
    assert [address for address in asked if not address.startswith(("file:", "data:", "blob:"))] == []
    assert [text for text in said if "Invalid color" in text] == []
    assert serious_findings(page, "body") == []
    page.screenshot(path=memo_path.with_suffix(".png"), full_page=True)


def test_the_notebook_of_the_decision_runs_and_asks_nobody_else(page, lab):
    open_notebook(page, lab[0], "notebooks/10_write_the_decision.ipynb", patience_s=240)
    page.locator(".jp-WindowedPanel-outer").first.evaluate("pane => pane.scrollTo(0, pane.scrollHeight)")
    page.get_by_text("the steps add up to the whole").first.wait_for(timeout=30_000)
    assert page.refused == []
