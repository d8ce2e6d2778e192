"""Drive a notebook in a real browser: a JupyterLab server, a page, key presses, and what a plot really holds.

Python's picture of a live figure can be right while the browser's is wrong, so the tests here ask the browser.
"""

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import nbformat
import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
LOOPBACK = {"127.0.0.1", "localhost", "::1"}
CHROMIUM_OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def find_chromium():
    """Return the path of an installed Chromium or Chrome, or None."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


def free_port():
    """Return a loopback port that is free now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextlib.contextmanager
def jupyter_server(folder):
    """Serve JupyterLab with a copy of the course in `folder`; yield its address.

    The copy keeps notebooks beside data_demo, and keeps the browser from writing into the repository.
    """
    for name in ("notebooks", "data_demo"):
        shutil.copytree(REPOSITORY / name, Path(folder) / name, dirs_exist_ok=True)
    address = f"http://127.0.0.1:{free_port()}"
    # A user's own settings must not change what a test sees; the news pop-up would ask the network.
    settings = Path(folder) / ".jupyter"
    (settings / "labconfig").mkdir(parents=True)
    (settings / "labconfig" / "page_config.json").write_text(
        '{"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": true}}'
    )
    private = {"JUPYTER_CONFIG_DIR": str(settings), "IPYTHONDIR": str(Path(folder) / ".ipython")}
    command = [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root"),
        *("--ServerApp.ip=127.0.0.1", f"--ServerApp.port={urlsplit(address).port}", "--ServerApp.port_retries=0"),
        *("--IdentityProvider.token=", "--ServerApp.disable_check_xsrf=True"),
        *(f"--ServerApp.root_dir={folder}", "--LabApp.expose_app_in_browser=True"),
    ]
    log_path = Path(folder) / "server.log"
    with log_path.open("w") as log:
        server = subprocess.Popen(command, env={**os.environ, **private}, stdout=log, stderr=subprocess.STDOUT)
    try:
        wait_for_server(server, address, log_path)
        yield address
    finally:
        server.terminate()
        try:
            server.wait(timeout=20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def wait_for_server(server, address, log_path, patience_s=60):
    """Return once the server answers; raise RuntimeError with its log when it dies or stays silent."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline and server.poll() is None:
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{address}/api", timeout=2):
            return
        time.sleep(0.2)
    raise RuntimeError(f"JupyterLab did not start:\n{log_path.read_text()}")


@contextlib.contextmanager
def browser_page(playwright, width=1280, height=900):
    """Yield a page of an installed Chromium that can reach this machine only.

    The page's `refused` attribute lists the addresses elsewhere that it asked for, `lines` all that it opened a
    websocket to: no route sees those.
    """
    browser = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_OPTIONS)
    try:
        page = browser.new_page(viewport={"width": width, "height": height})
        page.refused, page.lines = [], []

        def only_this_machine(route):
            address = route.request.url
            if urlsplit(address).hostname in LOOPBACK:
                route.continue_()
            else:
                page.refused.append(address)
                route.abort()

        def listed(line):
            page.lines.append(line.url)
            if urlsplit(line.url).hostname not in LOOPBACK:
                page.refused.append(line.url)

        page.route(re.compile("^https?://"), only_this_machine)
        page.on("websocket", listed)
        yield page
    finally:
        browser.close()


def open_notebook(page, address, name, patience_s=120):
    """Open a notebook (path below the server's folder), run every cell and wait until the kernel rests.

    Raises AssertionError when a cell shows an error.
    """
    patience_ms = 1000 * patience_s
    page.goto(f"{address}/lab/tree/{name}?reset", timeout=patience_ms)
    idle = page.locator("#jp-bottom-panel, #jp-main-statusbar").get_by_text("| Idle")
    idle.first.wait_for(timeout=patience_ms)
    page.evaluate("jupyterapp.commands.execute('notebook:run-all-cells')")
    idle.first.wait_for(timeout=patience_ms)
    errors = page.locator("[data-mime-type='application/vnd.jupyter.stderr'], .jp-RenderedText[data-mime-type*=error]")
    assert errors.count() == 0, errors.all_inner_texts()


FIGURE_DATA = """() => {
  // What the plot draws: plotly keeps it decoded in _fullData, whereas gd.data may still hold base64.
  const list = a => Array.from(a ?? [], v => typeof v === 'number' && !isFinite(v) ? null : v ?? null);
  return [...document.querySelectorAll('.js-plotly-plot')].map(
    gd => gd._fullData.map(t => ({name: t.name, x: list(t.x), y: list(t.y)})));
}"""


def write_notebook(path, cells):
    """Write a notebook of code cells, without outputs."""
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    notebook = nbformat.v4.new_notebook(metadata={"kernelspec": kernel})
    notebook.cells = [nbformat.v4.new_code_cell(code) for code in cells]
    nbformat.write(notebook, path)


def settled(page, quiet_ms=400, patience_s=20):
    """Return `figure_data` once it has not changed for a while."""
    deadline = time.monotonic() + patience_s
    before = None
    while time.monotonic() < deadline:
        now = figure_data(page)
        if now == before:
            return now
        before = now
        page.wait_for_timeout(quiet_ms)
    raise AssertionError("the plots never came to rest")


def figure_data(page):
    """Return what every plot on the page draws: [plot][trace] -> {"name", "x", "y"}, gaps as None."""
    return page.evaluate(FIGURE_DATA)


def number(page, name):
    """What the typed field of a control shows."""
    return float(page.get_by_role("textbox", name=name).first.input_value())


# What each row draws, in the axis's unit: pixels against those between the first tick and the last.
BARS_DRAWN = """() => {
  const chart = document.querySelector('.pourprint-bars.marked');
  const box = e => e.getBoundingClientRect(), centre = e => (box(e).left + box(e).right) / 2;
  const ticks = [...chart.querySelectorAll('i > span')], zero = centre(ticks[0]), last = ticks.at(-1);
  const end = Number(last.textContent.replaceAll(',', '')), amount = x => (x - zero) * end / (centre(last) - zero);
  const rows = [...chart.querySelectorAll('u')].map(bar => {
    const [name, drawn, number] = bar.closest('div').children;
    return [name.textContent, number.textContent, [...bar.querySelectorAll('s')].map(piece => amount(box(piece).right)),
      amount(centre(drawn.querySelector('em')))];
  });
  return [end, rows];
}"""


def bars_drawn(page):
    """(end of the axis, [(name, number written, ends of the pieces, place of the stroke)]) of bars with strokes."""
    return page.evaluate(BARS_DRAWN)


def check_bars(page, now, first):
    """Bars and strokes that the page draws are the amounts {name: amount} `now` and at `first`, each in its row."""
    end, rows = bars_drawn(page)
    names, numbers, ends, strokes = (list(column) for column in zip(*rows, strict=True))
    assert names == list(now) == list(first)
    assert numbers == [f"{amount:,.1f}" for amount in now.values()]
    # A browser lays boxes out to 1/64 of a pixel on an axis of some 400: 1e-4 of the axis leaves room for two of them.
    near = {"rel": 0, "abs": 1e-4 * end}
    assert [sum(pieces) for pieces in ends] == pytest.approx(list(now.values()), **near)
    assert strokes == pytest.approx(list(first.values()), **near)


def press(page, locator, key, times=1):
    """Focus an element and press a key on it."""
    for _ in range(times):
        locator.press(key)


def serious_findings(page, selector):
    """What axe-core finds wrong, seriously or critically, inside the elements of a selector: [(rule, help, HTML)]."""
    from axe_playwright_python.sync_playwright import Axe

    assert page.locator(selector).count() > 0, f"nothing on the page is {selector}"
    found = Axe().run(page, context={"include": [[selector]]}).response["violations"]
    serious = [finding for finding in found if finding["impact"] in ("serious", "critical")]
    return [(finding["id"], finding["help"], finding["nodes"][0]["html"][:200]) for finding in serious]
