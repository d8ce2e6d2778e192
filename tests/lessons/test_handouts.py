"""Handouts: one page that needs no network, with charts and stills of panels, code hidden on request."""

import html
import re
import shutil
import subprocess
from pathlib import Path

import nbformat
import pytest

import pourprint as pp
from pourprint.lessons.handouts import still, write_handout
from pourprint.lessons.widget import AnswerBox
from pourprint.panels import compare_panel
from scenes import demo_kit, demo_rates

CELLS = [
    "import pourprint as pp, plotly.graph_objects as go",
    "go.Figure(go.Scatter(x=[1, 2, 3], y=[4, 1, 7]), {'title': 'three points'})",
    "kit = pp.Kit('k', (pp.KitPart(pp.Part.from_numbers('bracket', 60, 210, (90, 70, 60))),))\n"
    "pp.panels.compare_panel(kit, pp.RateCard.default(), '2026-11-25T08:00')",
]


def notebook(folder, cells, name="one.ipynb"):
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    made = nbformat.v4.new_notebook(metadata={"kernelspec": kernel})
    made.cells = [nbformat.v4.new_markdown_cell("# A title"), *map(nbformat.v4.new_code_cell, cells)]
    nbformat.write(made, folder / name)
    return folder / name


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("handout")
    path = write_handout(notebook(folder, CELLS), folder / "one.html", code=False)
    return path.read_text(encoding="utf-8")


def test_the_page_asks_for_nothing_elsewhere(page):
    # Addresses inside plotly's own script are of maps that no chart here draws: only what a page loads counts.
    assert re.findall(r"<(?:script|link|img|iframe)[^>]+(?:src|href)=[\"']?https?:", page) == []
    outside_scripts = re.sub(r"<script>.*?</script>", "", page, flags=re.S)
    assert "cdn" not in outside_scripts.lower()


def test_no_heading_of_a_table_is_left_alone_at_the_foot_of_a_page(page):
    """Tables of a dozen rows stay whole, and of longer ones the first row stays with its heading."""
    assert "table:not(:has(tr:nth-child(13))) { break-inside: avoid }" in page
    assert "caption, thead, tbody tr:first-child { break-after: avoid }" in page


def test_charts_and_panel_are_drawn_by_the_one_script_of_the_page(page):
    assert page.count("Plotly.newPlot(") >= 2 and "three points" in page
    assert "pourprint-bars" in page and "cheapest" in page
    assert "pieces a kit" not in page and "kept" not in page, "no paper takes a file or keeps a setting"
    assert "application/vnd.jupyter.widget-view+json" not in page


def test_an_image_beside_the_notebook_becomes_part_of_the_page(tmp_path):
    (tmp_path / "dot.png").write_bytes((Path(__file__).parents[2] / "notebooks/images/04.png").read_bytes())
    path = notebook(tmp_path, [])
    made = nbformat.read(path, 4)
    made.cells[0].source = "![a plate](dot.png)"
    nbformat.write(made, path)
    page = write_handout(path, tmp_path / "one.html").read_text(encoding="utf-8")
    assert 'src="data:image/png;base64,' in page and "dot.png" not in page


def test_code_is_hidden_on_request(page, tmp_path):
    assert "import pourprint" not in re.sub(r"<[^>]+>", "", page)
    shown = write_handout(notebook(tmp_path, CELLS[:2]), tmp_path / "code.html").read_text(encoding="utf-8")
    assert "import" in shown and "pourprint" in re.sub(r"<[^>]+>", "", shown)


@pytest.mark.skipif(not shutil.which("chromium"), reason="a PDF is printed by Chromium")
def test_a_pdf_is_printed(tmp_path):
    path = write_handout(notebook(tmp_path, CELLS[:2]), tmp_path / "one.pdf")
    assert path.read_bytes()[:5] == b"%PDF-" and path.stat().st_size > 10_000


@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdftotext")), reason="needs Chromium, pdftotext")
def test_every_chart_is_on_the_printed_pages(tmp_path):
    # Cells that show nothing stand before the first chart: once they were chained to it, and it was torn.
    foot = "'xaxis_title_text': 'foot {0}'"
    plots = [f"go.Figure(layout={{'title': 'chart {n}', {foot.format(n)}}})" for n in range(8)]
    plots = ["import plotly.graph_objects as go", *["silent = 0"] * 14, *plots]
    folded = (
        "import pandas as pd, pourprint as pp\n"
        "pp.figures.Chart(go.Figure(), 'To take away.', 'Said in words.', pd.DataFrame({'seen': [17.25]}))"
    )
    path = write_handout(notebook(tmp_path, [*plots, folded]), tmp_path / "one.pdf", code=False)
    text = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True).stdout
    pages = text.split("\f")
    assert [n for n in range(8) if not any(f"chart {n}" in page and f"foot {n}" in page for page in pages)] == []
    assert "Said in words." in text and "17.25" in text, "paper cannot be unfolded"


def test_a_still_holds_settings_sentence_and_table_but_no_control():
    text = still(compare_panel(demo_kit(), demo_rates(), "2026-11-25T08:00").widget)
    assert "quantity wanted" in text and "<b>4</b>" in text and "pourprint-table" in text
    assert "<input" not in text and "noUi" not in text


@pytest.mark.parametrize("name", ["unit-cost", "stages-in-order", "refused-alloy", "saw-tooth"])
def test_an_exercise_is_printed_as_its_question_with_named_room_and_without_what_was_answered(name, tmp_path):
    box = AnswerBox(name, Path(__file__).parents[2] / "data_demo" / "class.toml", tmp_path)
    box.press("hint")
    box.press("check", box.question.worked)
    assert box.hints.value and box.after.value, "the screen shows a hint, and how the answer comes about"
    text = html.unescape(still(box.widget))
    assert box.question.text in text and "pourprint-room" in text
    for part in box.question.fields:
        assert part.later or part.label in text
    assert box.question.working not in text and box.question.hints[0] not in text
    assert "choose …" not in text


@pytest.mark.parametrize(
    ("notebooks", "path", "says"),
    [("none.ipynb", "x.html", "exist"), ([], "x.html", "one or more"), (None, "x.doc", ".html or .pdf")],
)
def test_what_cannot_be_written_is_refused(tmp_path, notebooks, path, says):
    given = notebook(tmp_path, CELLS[:1]) if notebooks is None else notebooks
    with pytest.raises(pp.InputError, match=says):
        write_handout(given, tmp_path / path)


def test_a_cell_that_fails_is_told_with_its_error(tmp_path):
    with pytest.raises(pp.InputError, match="ZeroDivisionError"):
        write_handout(notebook(tmp_path, ["1 / 0"]), tmp_path / "x.html")
