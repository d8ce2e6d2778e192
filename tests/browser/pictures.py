"""The pictures of README and gallery, taken from the real notebooks, and the gallery's page:

    uv run --group test python tests/browser/pictures.py [06 10 …]

Without numbers all are taken. Each notebook runs up to the cell that is pictured, its exercises left out.
"""

import io
import json
import re
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from jupyter_browser import REPOSITORY, browser_page, jupyter_server, open_notebook, write_notebook

IMAGES = REPOSITORY / "notebooks" / "images"
GALLERY = REPOSITORY / "notebooks" / "README.md"
WIDE, HIGHEST = 420, 0.75  # of a thumbnail: px, and its height over its width at most
# What is pictured of each notebook: what its cell says, and in words what there is to see.
SEEN = {
    "00": ("stage_matrix()", "the map of stages, one column a route"),
    "01": ("part_picture(part)", "a node to turn, with its measures"),
    "02": ("cluster_picture(sizes", "patterns round a runner"),
    "03": ("opened_mould(mould)", "an opened mould with casting, cores and feeder"),
    "04": ("plate_picture(job", "nodes nested on a plate"),
    "05": ("compare_panel(", "sliders beside the cost of a kit against the kits wanted"),
    "06": ("risk_panel(", "the chance that a date is kept"),
    "07": ("frame_picture(frame", "a loaded frame of tubes"),
    "08": ("beam_picture(design)", "metal where the load needs it"),
    "09": ("workshop_chart(first_come)", "three orders in one workshop, on a calendar"),
    "10": ("bridge_chart(piers", "what each change between two decisions is worth"),
}


@dataclass(frozen=True)
class Notebook:
    """What a notebook says of itself in its first cell."""

    path: Path

    @property
    def cells(self):
        """[(kind, text)] of its cells."""
        found = json.loads(self.path.read_text(encoding="utf-8"))["cells"]
        return [(cell["cell_type"], "".join(cell["source"])) for cell in found]

    def said(self, pattern):
        """The first group of a pattern in the opening."""
        return re.search(pattern, self.cells[0][1])[1]

    @property
    def number(self):
        return self.path.name[:2]

    def row(self):
        """Its row in the gallery."""
        title, what = self.said(r"# (.+)"), SEEN[self.number][1]
        minutes, short = self.said(r"About (\d+) minutes"), self.said(r"takes about (\d+);")
        needs = self.said(r"\*\*What you need\.\*\* (.+)")
        doing = self.said(r"\*\*What you'll do\.\*\* (.+)")
        picture = f"[![{what}](images/{self.number}.png)]({self.path.name})"
        return (
            f"| {picture} | **[{self.number} {title}]({self.path.name})**<br>{doing} | {minutes} ({short}) | {needs} |"
        )

    def up_to_the_picture(self):
        """Its code cells up to the pictured one."""
        code = [text for kind, text in self.cells if kind == "code" and "lessons.ask" not in text]
        last = next(i for i, text in enumerate(code) if SEEN[self.number][0] in text)
        return code[: last + 1]


def notebooks():
    """The student notebooks in order."""
    return [Notebook(path) for path in sorted((REPOSITORY / "notebooks").glob("[0-9][0-9]_*.ipynb"))]


def gallery():
    """The text of the gallery's page."""
    rows = "\n".join(notebook.row() for notebook in notebooks())
    return (
        "# The notebooks\n\nIn the order in which they are read. Minutes are for the whole notebook, in brackets for "
        "the short path. Instructors go on to [instructor](instructor); panels without code are in [pages](pages).\n\n"
        f"| | what you do | minutes | what you need |\n|---|---|---|---|\n{rows}\n\n"
        "Pictures and page are made by `tests/browser/pictures.py`.\n"
    )


def take(page, address, folder, notebook):
    """Run a notebook up to its picture; the pictured output as PNG, at full size."""
    write_notebook(Path(folder) / "notebooks" / "pictured.ipynb", notebook.up_to_the_picture())
    open_notebook(page, address, "notebooks/pictured.ipynb", patience_s=400)
    page.evaluate("jupyterapp.shell.collapseLeft()")
    output = page.locator(".jp-CodeCell").last.locator(".jp-OutputArea-output").first
    output.scroll_into_view_if_needed()
    page.wait_for_timeout(4000)  # solids are drawn, panels complete
    return output.screenshot()


def smaller(png, wide, colours, highest):
    """A picture as PNG of some width and few colours, its upper part where it is higher than `highest` times that."""
    from PIL import Image

    image, made = Image.open(io.BytesIO(png)).convert("RGB"), io.BytesIO()
    image = image.crop((0, 0, image.width, min(image.height, round(highest * image.width))))
    image = image.resize((wide, round(image.height * wide / image.width)), Image.Resampling.LANCZOS)
    image.quantize(colours).save(made, "png", optimize=True)
    return made.getvalue()


def main(numbers):
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, jupyter_server(folder) as address, sync_playwright() as driver:
        for notebook in (each for each in notebooks() if not numbers or each.number in numbers):
            with browser_page(driver, 1280, 1700) as page:
                png = take(page, address, folder, notebook)
            (IMAGES / f"{notebook.number}.png").write_bytes(smaller(png, WIDE, 96, HIGHEST))
            if notebook.number == "05":
                (IMAGES / "compare_panel.png").write_bytes(smaller(png, 1200, 200, 0.505))
            print(notebook.path.name, flush=True)
    GALLERY.write_text(gallery(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
