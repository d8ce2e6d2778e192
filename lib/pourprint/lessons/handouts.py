"""Handouts: notebooks run and written as one self-contained page, HTML or PDF, that needs no network.

A panel becomes a still: its sentence, charts and table at the values it starts with; an exercise becomes its
question with room for an answer. Charts in HTML keep their hover. PDF is printed by an installed Chromium.
"""

import html
import shutil
import subprocess
import tempfile
from pathlib import Path

import ipywidgets

from pourprint.ledger.errors import InputError
from pourprint.ledger.files import check_free, write_whole

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def write_handout(notebooks, path, code=True, title=None, replace=False):
    """Run notebooks, in their folders, and write them as one handout.

    Parameters: `notebooks` a path or a list of paths; `path` ends in .html or .pdf; `code` shows the code cells;
    `title` of the page (default: the first notebook's name); `replace` lets it take the place of a file that is there.
    Returns: the Path written. Raises: InputError for a missing notebook, another ending, a file that is there, a cell
    that fails, or a PDF without a browser.
    """
    paths = [Path(p) for p in ([notebooks] if isinstance(notebooks, str | Path) else notebooks)]
    path = Path(path)
    if not paths or any(not p.is_file() or p.suffix != ".ipynb" for p in paths):
        raise InputError(f"notebooks={notebooks!r} must be one or more .ipynb files that exist.")
    if path.suffix not in (".html", ".pdf") or not path.parent.is_dir():
        raise InputError(f"path={str(path)!r} must end in .html or .pdf, in an existing folder.")
    check_free(path, replace=replace)  # before the work, and again when it is written
    if path.suffix == ".pdf":
        needed_browser()
    page = _page([(_run(p), p.parent) for p in paths], title or paths[0].stem.replace("_", " "), code)
    unfolded = page.replace("<details>", "<details open>")  # paper cannot be unfolded
    return write_whole(path, page.encode() if path.suffix == ".html" else printed(unfolded), replace)


def needed_browser():
    """The path of an installed Chromium, which prints. Raises: InputError where there is none."""
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        raise InputError("a PDF needs Chromium or Chrome installed; write .html and print it from your browser.")
    return browser


def printed(page):
    """A page of HTML printed by an installed Chromium: the PDF's bytes; its charts are drawn in virtual time.

    Raises: InputError.
    """
    with tempfile.TemporaryDirectory() as folder:
        source, path = Path(folder, "page.html"), Path(folder, "page.pdf")
        source.write_text(page, encoding="utf-8")
        command = [
            *(needed_browser(), "--headless", "--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader"),
            *("--enable-unsafe-swiftshader", "--disable-background-networking", "--no-first-run"),
            *(f"--user-data-dir={folder}/profile", "--virtual-time-budget=20000", "--no-pdf-header-footer"),
            *(f"--print-to-pdf={path}", source.as_uri()),
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=180)
        if done.returncode or not path.is_file():
            told = f"the browser could not print the PDF: {done.stderr.strip()[-300:]}."
            raise InputError(f"{told} Write .html instead and print it from your browser.")
        return path.read_bytes()


def _run(path):
    """A notebook with the outputs of a fresh run in which widgets show as stills."""
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    notebook = nbformat.read(path, as_version=4)
    stills = "from pourprint.lessons.handouts import show_stills\nshow_stills()"
    notebook.cells.insert(0, nbformat.v4.new_code_cell(stills))
    client = NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(path.parent)}})
    try:
        client.execute()
    except CellExecutionError as error:
        told = f"{path.name} does not run to its end: {error.ename}: {error.evalue}."
        raise InputError(f"{told} Run it in JupyterLab, mend that cell, and write the handout again.") from None
    del notebook.cells[0]
    return notebook


def _page(runs, title, code):
    """The page of [(notebook that was run, its folder)], with plotly's script once if there is a plot."""
    from nbconvert import HTMLExporter

    from_elsewhere = ("require_js", "mathjax", "jquery", "widget_renderer", "jupyter_widgets_base")
    # A page without a network must not ask for them.
    urls = {f"{script}_url": "" for script in (*from_elsewhere, "mermaid_js", "mermaid_layout_elk_js")}
    hidden = {"exclude_input": not code, "exclude_input_prompt": True, "exclude_output_prompt": True}
    exporter = HTMLExporter(embed_images=True, **hidden, **urls)
    bodies, head = [], ""
    for notebook, folder in runs:
        for output in (output for cell in notebook.cells for output in cell.get("outputs", ())):
            _still_plot(output)
        notebook.metadata.pop("widgets", None)  # their script would be fetched
        text, _ = exporter.from_notebook_node(notebook, {"metadata": {"path": str(folder)}})  # where its images are
        head = head or text[text.index("<head>") + 6 : text.index("</head>")]
        bodies.append(text[text.index("<main>") : text.index("</main>") + 7])
    before, after = head[: head.index("<title>")], head[head.index("</title>") + 8 :]
    look = Path(__file__).with_name("handout.css").read_text(encoding="utf-8")
    head = f"{before}<title>{html.escape(title)}</title>{after}<style>\n{look}</style>"
    script = f"<script>{plotly_script()}</script>" if any("plotly-graph-div" in body for body in bodies) else ""
    joined = "".join(f'<div class="pourprint-notebook">{body}</div>' for body in bodies)
    return f'<!DOCTYPE html><html lang="en"><head>{head}{script}</head><body>{joined}</body></html>'


def _still_plot(output):
    """Turn an output that holds a plotly figure into HTML that draws it from the page's own script."""
    import plotly.io

    data = output.get("data", {})
    figure = data.pop("application/vnd.plotly.v1+json", None)
    if figure is not None:
        figure.pop("config", None)
        data["text/html"] = plot_html(plotly.io.from_json(plotly.io.json.to_json_plotly(figure), skip_invalid=True))


def plotly_script():
    """Plotly's script for a page: two raw control characters in its strings, which HTML forbids, written as escapes."""
    from plotly.offline import get_plotlyjs

    return get_plotlyjs().translate({code: f"\\x{code:02x}" for code in range(32) if chr(code) not in "\t\n\r"})


def plot_html(figure):
    """A plotly figure as HTML that needs plotly's script on its page once."""
    config = {"displayModeBar": False, "responsive": True}
    return figure.to_html(full_html=False, include_plotlyjs=False, include_mathjax=False, config=config)


# Widgets as stills, inside the notebook's kernel -----------------------------------------------------------


def show_stills():
    """Let this kernel show every widget as a still: for handouts, where no kernel answers."""
    from IPython import get_ipython

    formatter = get_ipython().display_formatter.mimebundle_formatter
    formatter.for_type(ipywidgets.Widget, lambda widget: {"text/html": still(widget)})


def still(widget):
    """What a widget shows now, as HTML without a script of its own but plotly's."""
    from pourprint.figures.pouring import pour_still
    from pourprint.panels.live import LiveFigure
    from pourprint.panels.pouring import Film

    classes = getattr(widget, "_dom_classes", ())
    match widget:
        case LiveFigure():
            return plot_html(widget.figure)
        case Film():
            return plot_html(pour_still(widget.run).figure)
        case ipywidgets.HTML():
            return f"<div>{widget.value}</div>"
        case ipywidgets.Box() if "pourprint-row" in classes:
            return _setting(widget)
        case ipywidgets.Box() if "pourprint-exercise" in classes:  # as it is asked, not what was answered before
            return f"<div class='pourprint-exercise'>{_all(widget, 2)}<div class='pourprint-room'>working</div></div>"
        case ipywidgets.Box() if "pourprint-screen" not in classes:  # no paper takes a file or keeps a setting
            return f"<div>{_places(widget) or _all(widget, 2 if 'pourprint-sign-in' in classes else None)}</div>"
        case ipywidgets.Dropdown():
            return f"<div>{html.escape(widget.description)}: {_boxes(widget)}</div>"
        case ipywidgets.Text():
            return _blank(widget)
    return ""


def _all(box, first=None):
    return "".join(map(still, box.children[:first]))


def _blank(widget):
    return f"<div>{html.escape(widget.description)} <span class='pourprint-blank'></span></div>"


def _boxes(menu):
    """A menu's options as boxes to tick; only their letters where they are listed in full above the menu."""
    names = _offered(menu)
    if any(name.endswith(" …") for name in names):
        names = [name.partition(":")[0] for name in names]
    return "".join(f"<span class='pourprint-option'>☐ {html.escape(name)}</span>" for name in names)


def _offered(menu):
    """A menu's options but for the empty one, "choose …"."""
    pairs = (option if isinstance(option, tuple) else (option, option) for option in menu.options)
    return [str(name) for name, value in pairs if value != ""]


def _places(box):
    """Menus that offer the same, as places to put things in: what is offered once, then a blank for each place."""
    fields = box.children
    offered = {getattr(field, "options", None) for field in fields}
    if len(fields) < 3 or len(offered) > 1 or None in offered:
        return ""
    return f"<div>{html.escape(' · '.join(_offered(fields[0])))}</div>{''.join(map(_blank, fields))}"


def _setting(row):
    """A row of controls as its name, value and unit."""
    name, *_, source, unit, _ = row.children
    shown = html.escape(str(getattr(source, "label", None) or source.value or "none"))
    return f"<span class='pourprint-setting'>{name.value}: <b>{shown}</b> {unit.value}</span>"
