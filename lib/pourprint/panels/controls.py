"""Rows of controls (name, slider, typed field, unit), their groups, and the names that a browser speaks."""

import datetime as dt
import html
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import anywidget
import ipywidgets as widgets
import numpy as np
import traitlets

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number

RUNGS_PER_DECADE = 20


class Number(traitlets.HasTraits):
    """The number of a row, held within its limits."""

    value = traitlets.Float()

    def __init__(self, value, low, high):
        self.low, self.high = low, high
        super().__init__(value=value)

    def reach(self, value):
        """Take a value, and widen the limits where it lies beyond them."""
        self.low, self.high = min(self.low, value), max(self.high, value)
        self.value = value

    @traitlets.validate("value")
    def _within(self, proposal):
        return min(max(proposal["value"], self.low), self.high)


@dataclass(frozen=True)
class Row:
    """One control: the line to show, what holds its value, and `first()`, the value to which it leads back."""

    name: str
    widget: widgets.HBox
    source: traitlets.HasTraits
    first: Callable

    @property
    def value(self):
        """The value now: float of a number row, the chosen option of a choice row."""
        return self.source.value

    @property
    def said(self):
        """The value now in words, where it is no longer the first; else nothing."""
        now = getattr(self.source, "label", None) or self.value
        return "" if self.value == self.first() else f"{self.name} {written(now) if isinstance(now, float) else now}"

    def observe(self, callback: Callable):
        """Call `callback()` once after every change of the value."""
        self.source.observe(lambda change: callback(), "value")

    def back(self):
        """Set the value to which the row leads back."""
        self.source.value = self.first()


def number_row(name, value, low, high, step, unit, log=False, first=None):
    """A number with slider, typed field and unit in one line; what cannot be read or is beyond the limits is said.

    Parameters: name shown and spoken; value, low, high, step [unit]; unit shown; log: spread the slider
    over the decades from low to high, about 20 places a decade, each a multiple of step; `first` as of Row, where that
    is not always the value.
    Returns a Row. Raises InputError if the limits, step or value do not fit together.
    """
    if not (low < high and step > 0 and low <= value <= high and (low > 0 or not log)):
        raise InputError(
            f"{name}: low={low:g}, high={high:g}, step={step:g}, value={value:g} do not fit together; give "
            f"low <= value <= high with low < high, step > 0{' and low > 0 for a log slider' if log else ''}."
        )
    source, field = Number(value, low, high), widgets.Text(written(value), continuous_update=False)
    field.add_class("pourprint-field")
    slider, rungs, to_slider, to_number = _log_slider(value, low, high, step) if log else _slider(low, high, step)
    slider.value = to_slider(value)
    row = _row(name, source, slider, field, tail=_tail(unit_of(unit, value)), rungs=rungs, first=first)

    def say(fault=""):
        row.widget.children[3].value = _tail(unit_of(unit, source.value), fault)

    # A number may lie between the slider's places: the slider goes to the nearest and leaves it alone.
    def slider_moved(change):
        if to_slider(source.value) != change["new"]:
            source.value = to_number(change["new"])

    def typed(change):
        if change["new"] == written(source.value):
            return
        try:
            number = source.value = read_number(change["new"])
            fault = "" if number == source.value else f"{written(number)} is beyond {written(low)} to {written(high)}."
        except InputError as error:
            fault = f"{error} It stays {written(source.value)}."
        field.value = written(source.value)
        say(fault)

    # What the slider itself has moved goes not back to it: in the browser it would undo the key presses since.
    def changed(change):
        if to_number(slider.value) != change["new"]:
            slider.value = to_slider(change["new"])
        field.value = written(change["new"])
        say()

    slider.observe(slider_moved, "value")
    field.observe(typed, "value")
    source.observe(changed, "value")
    return row


def _slider(low, high, step):
    """A slider, the places that it has (none of its own), and what leads from a number to its value and back."""
    slider = widgets.FloatSlider(min=low, max=high, step=step, readout=False)
    return slider, None, float, lambda number: round(number, 9)  # 0.1 + 0.2 must not show as 0.30000000000000004


def _log_slider(value, low, high, step):
    """As `_slider`, over places, not exponents: each key press must reach a new value, even at 1, 2, 3; the first value
    is a place too, so that a student can come back to it."""
    rungs = np.union1d(log_rungs(low, high, step), [value])
    slider = widgets.IntSlider(min=0, max=len(rungs) - 1, readout=False)
    return slider, rungs, lambda number: int(np.abs(np.log(rungs / number)).argmin()), lambda place: float(rungs[place])


def choice_row(name, options, first=None):
    """A choice of one of `options` (values, or (label, value) pairs) in one line, `first` of them at first, or else the
    first; returns a Row. Raises: InputError where `first` is none of them."""
    values = [option[1] if isinstance(option, tuple) else option for option in options]
    if first is not None and first not in values:
        raise InputError(f"{name} must be one of {', '.join(map(str, values))}, not {first!r}.")
    menu = widgets.Dropdown(options=options, value=values[0] if first is None else first)
    return _row(name, menu, menu)


def date_row(name, first=None):
    """A date in one line, with a button for today; `first` a date or None, for none; returns a Row."""
    picker = widgets.DatePicker(value=first)
    today = widgets.Button(description="today", tooltip=f"{name}: today").add_class("pourprint-today")
    today.on_click(lambda button: setattr(picker, "value", dt.date.today()))
    return _row(name, picker, today, picker)


def group(title, rows):
    """A captioned box of rows."""
    caption = widgets.HTML(f"<h4>{html.escape(title)}</h4>")
    return widgets.VBox([caption, *(row.widget for row in rows)])


def folded(title, *content, rows=()):
    """Widgets and rows below each other that are shown on demand; the button that opens them has a title and says
    which of the rows have been changed."""
    button = widgets.ToggleButton().add_class("pourprint-fold")
    box = widgets.VBox([*content, *(row.widget for row in rows)])

    def tell(change=None):
        changed = ", ".join(filter(None, (row.said for row in rows)))
        button.description = f"{'▾' if button.value else '▸'} {title}{': ' if changed else ''}{changed}"
        box.layout.display = None if button.value else "none"

    for row in rows:
        row.observe(tell)
    button.observe(tell, "value")
    tell()
    return widgets.VBox([button, box])


def named(tree):
    """Put `tree` in a box that gives its sliders, fields and menus the name of their row in the browser.

    ipywidgets leaves a slider without an accessible name, so a screen reader could not tell one from another.
    """
    return widgets.VBox([tree, Names()]).add_class("pourprint-panel")


class Names(anywidget.AnyWidget):
    """What names the controls of the box that it stands in, and gives panels their looks."""

    _esm = Path(__file__).parent / "panel.js"
    _css = Path(__file__).parent / "panel.css"


def written(number):
    """A number as a field shows it: 40, 0.15, 1200000."""
    return f"{number:.12g}"


def unit_of(unit, number):
    """The unit as it is said of a number: one kit, two kits; symbols such as s or mm stay."""
    return unit[:-1] if number == 1 and unit.isalpha() and len(unit) > 2 and unit.endswith("s") else unit


def log_rungs(low, high, step):
    """Places of a log slider from low to high: multiples of step between, about 20 a decade, (n,)."""
    count = max(2, int(np.ceil(RUNGS_PER_DECADE * np.log10(high / low))) + 1)
    inner = step * np.round(np.geomspace(low, high, count) / step)
    return np.unique(np.round([low, *inner[(inner > low) & (inner < high)], high], 9))


def _row(name, source, *inputs, tail="", rungs=None, first=None):
    """A Row: name with the places of a log slider, inputs, unit with what is to be said, and a way back to the first
    value, which is seen while the value is another."""
    places = "" if rungs is None else f" data-rungs='{json.dumps(rungs.tolist())}'"
    label = widgets.HTML(f"<span class='pourprint-name'{places}>{html.escape(name)}</span>")
    back = widgets.Button(description="↺", tooltip=f"{name}: back to the first value").add_class("pourprint-back")
    line = widgets.HBox([label, *inputs, widgets.HTML(tail), back]).add_class("pourprint-row")
    row = Row(name, line, source, first or partial(lambda value: value, source.value))
    back.on_click(lambda button: row.back())
    row.observe(lambda: (line.add_class if row.said else line.remove_class)("pourprint-changed"))
    return row


def _tail(unit, fault=""):
    """A row's unit, and below the row what is wrong with a typed number."""
    said = f"<span class='pourprint-fault' role='status'>{html.escape(fault)}</span>" if fault else ""
    return f"<span class='pourprint-unit'>{html.escape(unit)}</span>{said}"
