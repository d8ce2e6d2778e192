"""The panels as pages without code: the landing page leads to each, sliders move, axe-core finds nothing serious."""

import base64
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
import trimesh
from jupyter_browser import REPOSITORY, browser_page, free_port, press, serious_findings, settled

pytest.importorskip("voila", reason="pages need the extra named pages")
PAGES = sorted(path.name for path in (REPOSITORY / "notebooks/pages").glob("*.ipynb"))


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Address of a server of the pages."""
    port = free_port()
    command = [sys.executable, "-m", "voila", ".", "--no-browser", f"--port={port}"]
    with Path(tmp_path_factory.mktemp("pages"), "server.log").open("w") as log:
        # Where it starts it finds its settings, which keep pages from asking other machines.
        server = subprocess.Popen(command, cwd=REPOSITORY / "notebooks/pages", stdout=log, stderr=subprocess.STDOUT)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(120):
            try:
                urllib.request.urlopen(address, timeout=2)
                break
            except OSError:
                time.sleep(0.5)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=30)


def drawn(page):
    """What the page's plots and HTML bars hold."""
    return settled(page), page.locator(".pourprint-bars").evaluate_all("all => all.map(bars => bars.innerHTML)")


def test_the_landing_page_leads_to_every_page(site, playwright_driver):
    with browser_page(playwright_driver) as page:
        page.goto(f"{site}/voila/render/index.ipynb", timeout=120_000)
        links = page.eval_on_selector_all("a[href$='.ipynb']", "all => all.map(a => a.getAttribute('href'))")
        assert {*links} == {*PAGES} - {"index.ipynb"}
        assert page.refused == []


@pytest.mark.parametrize("name", [name for name in PAGES if name != "index.ipynb"])
def test_a_page_shows_no_code_is_accessible_and_its_sliders_redraw(site, playwright_driver, name):
    with browser_page(playwright_driver, height=1600) as page:
        page.goto(f"{site}/voila/render/{name}", timeout=180_000)
        page.locator(".js-plotly-plot, .pourprint-bars").first.wait_for(timeout=120_000)
        before = drawn(page)
        for slider in page.get_by_role("slider").all()[:4]:
            press(page, slider, "ArrowRight", times=3)
        deadline = time.monotonic() + 30
        while drawn(page) == before and time.monotonic() < deadline:
            pass
        assert drawn(page) != before
        assert page.locator(".jp-CodeMirrorEditor, .jp-InputArea-editor").count() == 0
        assert serious_findings(page, ".pourprint-panel") == []
        assert page.lines and page.refused == []


# Drops a file on the page's place for it, as a hand does.
DROP = """base64 => {
  const bytes = Uint8Array.from(atob(base64), letter => letter.charCodeAt(0)), carried = new DataTransfer();
  carried.items.add(new File([bytes], "carrier.stl"));
  const event = new DragEvent("drop", { dataTransfer: carried, bubbles: true, cancelable: true });
  document.querySelector(".pourprint-drop").dispatchEvent(event);
}"""


def test_a_lab_owner_drops_a_mesh_in_inches_and_has_an_answer_with_failures_in_three_actions(site, playwright_driver):
    mesh = trimesh.load(REPOSITORY / "data_demo/nodes/axle_carrier.stl")
    mesh.apply_scale(1 / 25.4)
    content = base64.b64encode(mesh.export(file_type="stl")).decode()
    with browser_page(playwright_driver, height=800) as page:
        page.goto(f"{site}/voila/render/index.ipynb", timeout=180_000)
        page.locator(".pourprint-drop").first.wait_for(timeout=120_000)
        page.evaluate(DROP, content)
        page.get_by_text("Read in inch").first.wait_for(timeout=120_000)
        page.get_by_role("textbox", name="quantity wanted").first.fill("6")
        page.keyboard.press("Enter")
        page.get_by_label("wanted by").first.fill("2027-12-15")
        page.keyboard.press("Tab")
        facts = page.locator(".pourprint-facts").first
        facts.get_by_text("in time by Wed 15 Dec 2027").wait_for(timeout=60_000)
        said = facts.inner_text()
        assert "failures in the mean" in said and "EUR a piece" in said and "cheapest" in said
        assert page.locator(".jp-CodeCell .jp-InputArea:visible").count() == 0
        assert serious_findings(page, ".pourprint-panel") == []
        assert page.refused == []
