"""The memo's page under axe-core, a published set of accessibility rules; it is drawn and asks for nothing."""

import pytest
from jupyter_browser import serious_findings

import pourprint as pp
from scenes import demo_kit, demo_rates


@pytest.fixture(scope="module")
def memo_path(tmp_path_factory):
    found = pp.report.memo(pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates(), "2026-11-30", "2027-03-01", 50)
    return found.write(tmp_path_factory.mktemp("memo") / "memo.html")


def test_the_memo_opens_from_a_file_draws_its_charts_and_has_nothing_serious_for_axe(page, memo_path):
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(memo_path.as_uri())
    page.wait_for_selector(".js-plotly-plot .main-svg", timeout=60_000)
    assert page.locator(".js-plotly-plot").count() == 4
    assert [address for address in asked if not address.startswith(("file:", "data:", "blob:"))] == []
    assert serious_findings(page, "body") == []
    page.screenshot(path=memo_path.with_suffix(".png"), full_page=True)
