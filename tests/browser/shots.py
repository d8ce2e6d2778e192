"""Pictures of whole notebooks, to be looked at: sizes of window, light and dark, 100% and 200%.

Run: python tests/browser/shots.py [notebook …] [--sizes 1280x800 …] [--themes light dark] [--zooms 1 2]
(default: all notebooks, of the panels' pages too, in JupyterLab). At 100% its file browser is open, at 200% closed.
Everything is pictured as it stands on the page: text, tables, charts, panels; columns go from left to right. Only in
height is the window not the screen's: what stays in view beside what is tested in `test_layout_in_browser`.
Besides, what a machine can see of a page's faults is printed: what is wider than its place, words of charts that are
cut or lie on each other.
"""

import argparse
import io
import tempfile
from pathlib import Path

from jupyter_browser import REPOSITORY, browser_page, jupyter_server, open_notebook
from PIL import Image
from playwright.sync_api import sync_playwright

SIZES = ("1280x800", "1366x768", "1440x900", "1920x1080")
HEIGHT_PX, OVERLAP_PX = 2600, 40  # of the window while it is pictured
COLUMN_PX, SHEET_PX = (560, 1500), 1600  # of a column on a sheet, and how wide a sheet may be
NOTEBOOKS = [f"{path.relative_to(REPOSITORY)}" for path in sorted(REPOSITORY.glob("notebooks/**/*.ipynb"))]

FAULTS = """() => {
  const pane = document.querySelector('.jp-WindowedPanel-outer'), found = new Set();
  const end = pane.getBoundingClientRect().left + pane.clientWidth;
  const say = (what, e) => found.add(`${what}: ${(e.innerText ?? e.textContent ?? '').trim().slice(0, 60)}`);
  for (const e of document.querySelectorAll('.jp-OutputArea-output'))
    if (e.scrollWidth > e.clientWidth + 1 && !e.querySelector('.pourprint-content')) say('scrolls sideways', e);
  for (const e of document.querySelectorAll('.jupyter-widgets, .pourprint-panel table'))
    if (e.getBoundingClientRect().width && e.getBoundingClientRect().right > end + 1) say('beyond the page', e);
  for (const plot of document.querySelectorAll('.js-plotly-plot')) {
    const box = plot.getBoundingClientRect();
    if (box.bottom < 0 || box.top > innerHeight || !plot.innerText.trim()) continue;  // drawn when it comes into view
    const texts = [...plot.querySelectorAll('svg.main-svg text')].map(e => [e.textContent, e.getBoundingClientRect()])
      .filter(([words, r]) => words.trim() && r.width);
    texts.forEach(([words, r], i) => {
      if (Math.max(box.left - r.left, r.right - box.right, box.top - r.top, r.bottom - box.bottom) > 2)
        say(`cut “${words}”`, plot);
      for (const [others, q] of texts.slice(0, i))
        if (others !== words && Math.min(r.right, q.right) - Math.max(r.left, q.left) > 2
            && Math.min(r.bottom, q.bottom) - Math.max(r.top, q.top) > 4) say(`“${words}” on “${others}”`, plot);
    });
  }
  return [...found];
}"""


def themed(page, theme):
    """Show JupyterLab in its light or dark theme."""
    name = f"JupyterLab {theme.title()}"
    page.evaluate("name => jupyterapp.commands.execute('apputils:change-theme', {theme: name})", name)
    page.wait_for_function("theme => document.body.dataset.jpThemeLight === String(theme === 'light')", arg=theme)


def zoomed(page, size, zoom):
    """The window as a browser shows it at a zoom: fewer pixels of the page, each larger."""
    page.evaluate(f"jupyterapp.shell.{'expandLeft' if zoom == 1 else 'collapseLeft'}()")
    page.set_viewport_size({"width": int(size.partition("x")[0]) // zoom, "height": HEIGHT_PX})
    page.wait_for_timeout(1200)


def pictures(page):
    """The notebook from top to foot: a picture for each height of the window, and the faults that were found."""
    pane, taken, faults, at = page.locator(".jp-WindowedPanel-outer").first, [], {}, -1
    box = pane.bounding_box()
    pane.evaluate("e => {e.scrollTop = 0}")
    while (now := pane.evaluate("e => e.scrollTop")) != at:
        page.wait_for_timeout(1200)  # charts come into view and are drawn
        taken.append(Image.open(io.BytesIO(page.screenshot(clip=box))).convert("RGB"))
        faults |= dict.fromkeys(page.evaluate(FAULTS))
        at = now
        pane.evaluate("(e, step) => {e.scrollTop += step}", box["height"] - OVERLAP_PX)
        page.wait_for_timeout(300)
    return taken, [*faults]


def sheets(taken, stem):
    """Pictures side by side in columns on sheets; saves them and returns their paths."""
    wide, tall = COLUMN_PX
    scale = min(1.0, wide / taken[0].width)
    small = [one.resize((round(one.width * scale), round(one.height * scale))) for one in taken]
    columns = [
        one.crop((0, top, one.width, min(top + tall, one.height)))
        for one in small
        for top in range(0, one.height, tall)
    ]
    across, paths = max(1, SHEET_PX // columns[0].width), []
    for first in range(0, len(columns), across):
        whole = Image.new("RGB", (across * (columns[0].width + 8), tall), "grey")
        for i, column in enumerate(columns[first : first + across]):
            whole.paste(column, (i * (column.width + 8), 0))
        paths.append(f"{stem}-{first // across}.png")
        whole.save(paths[-1])
    return paths


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", default=NOTEBOOKS, help="paths below the repository")
    parser.add_argument("--sizes", nargs="+", default=SIZES)
    parser.add_argument("--themes", nargs="+", default=("light", "dark"))
    parser.add_argument("--zooms", nargs="+", type=int, default=(1, 2))
    given, folder = parser.parse_args(), Path(tempfile.mkdtemp(prefix="shots-"))
    with (
        tempfile.TemporaryDirectory() as served,
        jupyter_server(served) as address,
        sync_playwright() as driver,
        browser_page(driver) as page,
    ):
        for name in given.names:
            page.set_viewport_size({"width": 1280, "height": 800})
            open_notebook(page, address, name, patience_s=400)
            for theme in given.themes:
                themed(page, theme)
                for size in given.sizes:
                    for zoom in given.zooms:
                        zoomed(page, size, zoom)
                        stem = folder / f"{Path(name).stem[:12]}-{theme}-{size}-{zoom}00"
                        taken, faults = pictures(page)
                        print(*sheets(taken, stem), *(f"  {one}" for one in faults), sep="\n", flush=True)


if __name__ == "__main__":
    main()
