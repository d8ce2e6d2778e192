"""Pictures of every panel and chart, to be looked at: sizes of window, light and dark, 100 % and 200 %.

Run: python tests/browser/shots.py [notebook or page …] [--sizes 1280x800 …] [--themes light dark] [--zooms 1 2]
(default: notebooks 02 to 09 and all pages). JupyterLab is shown with its file browser open; pages come from Voilà.
Each panel and each chart is one picture; a sheet a notebook holds its small copies. Prints the folder of the pictures.
"""

import argparse
import tempfile
from pathlib import Path

from jupyter_browser import REPOSITORY, browser_page, jupyter_server, open_notebook
from playwright.sync_api import sync_playwright

SIZES = ("1280x800", "1366x768", "1440x900", "1920x1080")
SHOWN = ".pourprint-panel, .js-plotly-plot, .jp-RenderedHTMLCommon .pourprint-bars, svg.pourprint"
NOTEBOOKS = [f"notebooks/{path.name}" for path in sorted(REPOSITORY.glob("notebooks/0[2-9]*.ipynb"))]


def themed(page, theme):
    """Show JupyterLab in its light or dark theme."""
    name = f"JupyterLab {theme.title()}"
    page.evaluate("name => jupyterapp.commands.execute('apputils:change-theme', {theme: name})", name)
    page.wait_for_function("theme => document.body.dataset.jpThemeLight === String(theme === 'light')", arg=theme)


def zoomed(page, size, zoom):
    """The window as a browser shows it at a zoom: fewer pixels of the page, each larger."""
    width, height = map(int, size.split("x"))
    page.set_viewport_size({"width": int(width / zoom), "height": int(height / zoom)})
    page.wait_for_timeout(600)


# Scrolls an element's part at `above` px to the top of what scrolls it; returns the px that are seen of it at once.
SCROLL = """(e, above) => {
  const outer = e.closest('.jp-WindowedPanel-outer') ?? document.scrollingElement;
  const top = outer === document.scrollingElement ? 0 : outer.getBoundingClientRect().top;
  outer.scrollTop += e.getBoundingClientRect().top + above - top - 8;
  return outer.clientHeight;
}"""


def pictures(page, folder, stem):
    """Save the window with every panel and chart in it, in as many pictures as its height takes: [path]."""
    saved = []
    for i, shown in enumerate(page.locator(SHOWN).all()):
        if not shown.is_visible() or shown.evaluate("e => !!e.parentElement.closest('.pourprint-panel')"):
            continue
        above, height = 0, shown.bounding_box()["height"]
        while above < height - 20:
            above += shown.evaluate(SCROLL, above) - 16
            page.wait_for_timeout(250)
            saved.append(folder / f"{stem}-{i:02d}-{above:.0f}.png")
            page.screenshot(path=saved[-1])
    return saved


def sheet(paths, path, width=640, across=3):
    """Small copies of pictures on one sheet."""
    from PIL import Image, ImageDraw

    images = [Image.open(one).convert("RGB") for one in paths]
    small = [image.resize((width, image.height * width // image.width)) for image in images]
    rows = [small[i : i + across] for i in range(0, len(small), across)]
    heights = [max(image.height for image in row) + 16 for row in rows]
    whole = Image.new("RGB", (width * across, sum(heights)), "white")
    top = 0
    for r, (row, height) in enumerate(zip(rows, heights, strict=True)):
        for c, image in enumerate(row):
            whole.paste(image, (c * width, top + 16))
            ImageDraw.Draw(whole).text((c * width + 4, top + 2), paths[r * across + c].name, fill="black")
        top += height
    whole.save(path)
    return path


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", default=NOTEBOOKS, help="paths below the repository")
    parser.add_argument("--sizes", nargs="+", default=SIZES)
    parser.add_argument("--themes", nargs="+", default=("light", "dark"))
    parser.add_argument("--zooms", nargs="+", type=int, default=(1, 2))
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="shots-"))
    print(folder, flush=True)
    with (
        tempfile.TemporaryDirectory() as served,
        jupyter_server(served) as address,
        sync_playwright() as driver,
        browser_page(driver) as page,
    ):
        for name in given.names:
            page.set_viewport_size({"width": 1280, "height": 800})
            open_notebook(page, address, name)
            page.wait_for_timeout(1500)
            for theme in given.themes:
                themed(page, theme)
                for size in given.sizes:
                    for zoom in given.zooms:
                        zoomed(page, size, zoom)
                        stem = f"{Path(name).stem[:12]}-{theme}-{size}-{zoom}00"
                        if saved := pictures(page, folder, stem):
                            print(sheet(saved, folder / f"sheet-{stem}.png"), flush=True)


if __name__ == "__main__":
    main()
