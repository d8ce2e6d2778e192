"""A saved page that is reloaded, and one that loses its kernel: no panel shows an old picture without saying so."""

import base64

import pytest
import trimesh
from reloads import move_and_compare, opened, reload_and_move
from test_pages_in_browser import DROP

# A page too busy to load a widget's module within the two seconds that anywidget gives it (0.11).
NO_TIME = """AbortSignal.timeout = () => {
  const soon = new AbortController();
  setTimeout(() => soon.abort());
  return soon.signal;
}"""


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


def test_every_chart_follows_and_a_file_is_read_where_a_page_was_too_busy_to_load_modules_in_time(lab, page):
    given_up = []
    page.on("pageerror", lambda error: given_up.append(str(error)))
    page.add_init_script(NO_TIME)
    address, folder = lab
    opened(page, address, folder)
    assert any("Failed to initialize model" in one for one in given_up)
    assert move_and_compare(page, 2) == ""
    mesh = trimesh.creation.uv_sphere(15.0, count=(120, 120)).export(file_type="stl")
    assert len(mesh) > 1 << 20  # it comes in two pieces
    page.locator(".pourprint-fold", has_text="a part of your own").first.click()
    page.evaluate(DROP, base64.b64encode(mesh).decode())
    page.get_by_text("Read in mm").first.wait_for(timeout=120_000)
