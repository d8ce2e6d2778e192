"""Rows of controls (name, slider, typed field, unit), their groups, and the page that holds them."""

import html
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import ipywidgets as widgets
import numpy as np

from pourprint.ledger.errors import InputError

# Widths that keep name, slider, field and unit in one line of the controls column.
NAME_WIDTH, SLIDER_WIDTH, FIELD_WIDTH, UNIT_WIDTH = "130px", "110px", "80px", "70px"
MENU_WIDTH = "230px"
RUNGS_PER_DECADE = 20


@dataclass(frozen=True)
class Row:
    """One control: the line to show, and the widget that holds its value."""

    name: str
    widget: widgets.HBox
    source: widgets.Widget

    @property
    def value(self):
        """The value now: float of a number row, the chosen option of a choice row."""
        return self.source.value

    def observe(self, callback: Callable):
        """Call `callback()` once after every change of the value."""
        self.source.observe(lambda change: callback(), "value")


def number_row(name, value, low, high, step, unit, log=False):
    """A number with slider, typed field and unit in one line; what is typed beyond the limits is clamped.

    Parameters: name shown and spoken; value, low, high, step [unit]; unit shown; log: spread the slider
    over the decades from low to high, about 20 places a decade, each a multiple of step.
    Returns a Row. Raises InputError if the limits, step or value do not fit together.
    """
    if not (low < high and step > 0 and low <= value <= high and (low > 0 or not log)):
        raise InputError(
            f"{name}: low={low:g}, high={high:g}, step={step:g}, value={value:g} do not fit together; give "
            f"low <= value <= high with low < high, step > 0{' and low > 0 for a log slider' if log else ''}."
        )
    field = widgets.BoundedFloatText(
        value=value, min=low, max=high, step=step, layout=widgets.Layout(width=FIELD_WIDTH)
    )
    look = {"readout": False, "continuous_update": True, "layout": widgets.Layout(width=SLIDER_WIDTH)}
    if log:
        # A slider over places, not exponents: each key press must reach a new value, even at 1, 2, 3.
        # The first value is a place too, so that a student can come back to it.
        rungs = np.union1d(log_rungs(low, high, step), [value])
        slider = widgets.IntSlider(min=0, max=len(rungs) - 1, **look)

        def to_slider(number):
            return int(np.abs(np.log(rungs / number)).argmin())

        def to_number(place):
            return float(rungs[place])
    else:
        rungs = None
        slider = widgets.FloatSlider(min=low, max=high, step=step, **look)

        def to_slider(number):
            return number

        def to_number(number):
            return round(number, 9)  # 0.1 + 0.2 must not show as 0.30000000000000004

    slider.value = to_slider(value)

    line = _line(name, unit_of(unit, value), rungs, slider, field)

    # A typed number may lie between the slider's places: the slider goes to the nearest and leaves it alone.
    def slider_moved(change):
        if to_slider(field.value) != change["new"]:
            field.value = to_number(change["new"])

    # What the slider itself has moved goes not back to it: in the browser it would undo the key presses since.
    def field_changed(change):
        if to_number(slider.value) != change["new"]:
            slider.value = to_slider(change["new"])
        line.children[-1].value = _unit_html(unit_of(unit, change["new"]))

    slider.observe(slider_moved, "value")
    field.observe(field_changed, "value")
    return Row(name, line, field)


def choice_row(name, options):
    """A choice of one of `options` (values, or (label, value) pairs) in one line; returns a Row."""
    menu = widgets.Dropdown(options=options, layout=widgets.Layout(width=MENU_WIDTH))
    return Row(name, _line(name, "", None, menu), menu)


def group(title, rows):
    """A captioned box of rows."""
    caption = widgets.HTML(f"<h4 style='margin:0.4em 0 0'>{html.escape(title)}</h4>")
    rows = [row.widget for row in rows]
    return widgets.VBox([caption, *rows], layout=widgets.Layout(flex="0 0 410px", overflow="visible"))


def named(tree):
    """Put `tree` in a box that gives its sliders, fields and menus the name of their row in the browser.

    ipywidgets leaves a slider without an accessible name, so a screen reader could not tell one from another.
    """
    return widgets.VBox([tree, _names_widget()()]).add_class("pourprint-panel")


def columns(groups):
    """Groups one below the other where there is room for one column, side by side where there is more."""
    return widgets.HBox(groups, layout=widgets.Layout(flex_flow="row wrap", overflow="visible"))


def page(controls, content):
    """Controls beside the content on a wide screen, above it on a narrow one."""
    column = {"min_width": "0", "overflow": "visible"}
    # The content grows a thousand times as fast: beside it the controls keep one column, alone they take the line.
    controls = widgets.VBox([controls], layout=widgets.Layout(flex="1 1 420px", **column))
    content = widgets.VBox([content], layout=widgets.Layout(flex="1000 1 640px", **column))
    return widgets.HBox([controls, content], layout=widgets.Layout(flex_flow="row wrap", width="100%"))


def unit_of(unit, number):
    """The unit as it is said of a number: one kit, two kits; symbols such as s or mm stay."""
    return unit[:-1] if number == 1 and unit.isalpha() and len(unit) > 2 and unit.endswith("s") else unit


def log_rungs(low, high, step):
    """Places of a log slider from low to high: multiples of step between, about 20 a decade, (n,)."""
    count = max(2, int(np.ceil(RUNGS_PER_DECADE * np.log10(high / low))) + 1)
    inner = step * np.round(np.geomspace(low, high, count) / step)
    return np.unique(np.round([low, *inner[(inner > low) & (inner < high)], high], 9))


def _line(name, unit, rungs, *inputs):
    """One row: name, inputs and unit; the browser reads the places of a log slider from the name's data."""
    places = "" if rungs is None else f" data-rungs='{json.dumps(rungs.tolist())}'"
    label = widgets.HTML(
        f"<span class='pourprint-name'{places}>{html.escape(name)}</span>",
        layout=widgets.Layout(flex=f"0 0 {NAME_WIDTH}"),
    )
    tail = widgets.HTML(_unit_html(unit), layout=widgets.Layout(min_width=UNIT_WIDTH))
    line = widgets.HBox([label, *inputs, tail], layout=widgets.Layout(align_items="center"))
    return line.add_class("pourprint-row")


def _unit_html(unit):
    return f"<span class='pourprint-unit'>{html.escape(unit)}</span>"


NAMES_SCRIPT = """
function render({ el }) {
  const set = (node, key, text) => { if (node.getAttribute(key) !== text) node.setAttribute(key, text); };
  const name = box => box.querySelectorAll(".pourprint-row").forEach(row => {
    const label = row.querySelector(".pourprint-name"), unit = row.querySelector(".pourprint-unit");
    if (!label || !unit) return;
    const spoken = [label.textContent, unit.textContent].filter(Boolean).join(", ");
    row.querySelectorAll(".noUi-handle, input, select").forEach(node => set(node, "aria-label", spoken));
    // JupyterLab takes arrow keys from a menu that has the focus, unless the menu itself says no.
    row.querySelectorAll("select").forEach(node => set(node, "data-lm-suppress-shortcuts", "true"));
    // A log slider counts places, and a plain one says every digit of 0.1 + 0.2: say the number of the field.
    const handle = row.querySelector(".noUi-handle[aria-valuetext]"), rungs = label.dataset.rungs;
    if (!handle) return;
    const number = rungs ? JSON.parse(rungs)[Math.round(Number(handle.getAttribute("aria-valuenow")))]
      : Number(parseFloat(handle.getAttribute("aria-valuetext")).toFixed(9));
    set(handle, "aria-valuetext", [number, unit.textContent].join(" ").trim());
  });
  // Rows may be drawn after this, and the slider rewrites its own text on every move.
  // What plots and live text change is none of it, and they change much.
  const theirs = record => record.target.closest?.(".js-plotly-plot, .pourprint-live");
  const watch = new MutationObserver(records => { if (!records.every(theirs)) name(box); });
  let box;
  const start = requestAnimationFrame(function attach() {
    box = el.closest(".widget-vbox, .widget-box");
    if (!box) return requestAnimationFrame(attach);
    name(box);
    watch.observe(box, { subtree: true, childList: true, attributeFilter: ["aria-valuenow", "aria-valuetext"] });
  });
  return () => { cancelAnimationFrame(start); watch.disconnect(); };
}
export default { render };
"""


@cache
def _names_widget():
    # anywidget is imported only when a panel is built, to keep `import pourprint` quick.
    import anywidget

    return type("Names", (anywidget.AnyWidget,), {"_esm": NAMES_SCRIPT})
