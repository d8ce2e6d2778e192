"""Keep what a panel asks under a name, load it again, see what moved since, and take the tables along."""

import html
from base64 import b64encode

import ipywidgets as widgets

from pourprint import figures
from pourprint.decide.bridge import bridge, side_by_side
from pourprint.decide.settings import Setting, settings_in
from pourprint.ledger.errors import InputError
from pourprint.ledger.files import harmless_csv, workbook_of
from pourprint.panels.controls import folded
from pourprint.panels.live import LiveFigure, guarded, status_line
from pourprint.panels.panel import TEXTS

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def keep_box(setting, apply, tables):
    """A folded box in which settings are kept as files beside the notebook, loaded and compared: a widget.

    Parameters: `setting(name)` what is asked now, as a Setting; `apply(setting)` asks it; `tables()` {title: pandas
    table} of the answer now.
    """
    name, keep = widgets.Text(placeholder="a name"), widgets.Button(description="keep")
    menu = widgets.Dropdown(description="kept")
    load, compare = (widgets.Button(description=text) for text in ("load", "what moved?"))
    take, found, status = widgets.Button(description="tables as files"), widgets.VBox(), status_line()

    def chosen():
        if not menu.value:
            raise InputError("nothing is kept here yet: give what you see a name and keep it.")
        return Setting.load(menu.value)

    def kept():
        path = setting(name.value).save(replace=name.value == menu.label)  # the one that is chosen
        listed(path)
        return _text(f"Kept in {path.name}."), _link(path.name, path.read_bytes(), "application/toml")

    def loaded():
        apply(chosen())
        return (_text("Loaded."),)

    def moved():
        before, now = chosen(), setting("now")
        chart = figures.bridge_chart(bridge(before, now), now.rates.currency, now.kit.noun)
        told = {"sides": side_by_side(before, now), "bridge": chart.table}
        captioned = (figures.table_html(table, TEXTS["captions"][name]) for name, table in told.items())
        return LiveFigure(chart.figure), *map(widgets.HTML, captioned)

    def as_files():
        now = tables()
        links = [_link(f"{title}.csv", harmless_csv(t.reset_index()).encode(), "text/csv") for title, t in now.items()]
        return *links, _link("tables.xlsx", workbook_of(now), XLSX)

    def listed(path=None):
        menu.options = list(settings_in().items())
        menu.value = path or next((path for _, path in menu.options), None)

    for button, act in ((keep, kept), (load, loaded), (compare, moved), (take, as_files)):
        button.on_click(guarded(_working(act, found), status))
    listed()
    lines = [widgets.HBox(line).add_class("pourprint-keep") for line in ([name, keep], [menu, load, compare])]
    return folded("keep, load, compare", *lines, take, status, found).add_class("pourprint-screen")


def _working(act, found):
    """What a button does: it says that it works, then shows what `act` finds, or nothing where that is refused."""

    def pressed(button):
        found.children = [_text("working …")]
        try:
            found.children = act()
        except InputError:
            found.children = []
            raise

    return pressed


def _text(said):
    return widgets.HTML(html.escape(said))


def _link(name, content, kind):
    """A link that saves `content` bytes as a file of that name."""
    data = b64encode(content).decode()
    return widgets.HTML(
        f'<a download="{html.escape(name)}" style="text-decoration:underline" '
        f'href="data:{kind};base64,{data}">{html.escape(name)}</a>'
    )
