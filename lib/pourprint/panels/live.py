"""The one live figure of the course, and where a bad input becomes one sentence.

A live figure always holds its whole picture: what it draws as text, with the columns of numbers beside it in one
piece. Each change is one message and one drawing, so that a view opened later, a second one or one after a reload of
the page, shows what the others show.
"""

import asyncio
import html
import json
from pathlib import Path

import anywidget
import ipywidgets as widgets
import numpy as np
import plotly
import plotly.graph_objects as go
import traitlets

from pourprint.ledger.errors import InputError

REST_S = 0.3  # so long without a change, a slider has come to rest


class Told(widgets.Widget):
    """What the view of another widget is told: its `news`, and messages.

    An anywidget drops all that comes to it later where a busy page took over two seconds to load its module (0.11), as
    one that draws solids may. A plain widget hears it.
    """

    news = traitlets.Any().tag(sync=True)


class Hearing(anywidget.AnyWidget):
    """A widget with a view of its own that hears what it is `told`."""

    told = traitlets.Instance(Told, ()).tag(sync=True, **widgets.widget_serialization)


class LiveFigure(Hearing):
    """A plotly figure that is shown in a notebook and changed in place by `draw` and `redraw`."""

    _esm = Path(__file__).parent / "live.js"

    def __init__(self, figure):
        super().__init__()
        self.told.on_msg(self._bring_library)
        self.draw(figure)

    @property
    def figure(self):
        """What is drawn now: go.Figure."""
        return go.Figure({"data": self._traces, "layout": self._layout})

    def draw(self, figure):
        """Draw another figure, of any traces."""
        self._traces = [trace.to_plotly_json() for trace in figure.data]
        self._layout = figure.layout.to_plotly_json()
        self.told.news = self._whole()

    def redraw(self, traces, **layout):
        """Change what traces show, in one message and one drawing.

        Parameters: `traces` one dict per trace, in the figure's order, of new properties such as {"y": array}; what a
        trace leaves out stays; `layout` {part: properties} such as yaxis={"range": [0, 3]}.
        Raises InputError if the number of traces differs: `draw` takes another figure.
        """
        if len(traces) != len(self._traces):
            raise InputError(f"traces: {len(traces)} given, the figure has {len(self._traces)}; give a dict per trace.")
        self._traces = [old | new for old, new in zip(self._traces, traces, strict=True)]
        self._layout |= {part: self._layout.get(part, {}) | changes for part, changes in layout.items()}
        self.told.news = self._whole()

    def _whole(self):
        """The picture: numbers of x and y as {"column": [first, last + 1]} of one array, the rest as text."""
        columns, size, data = [], 0, []
        for trace in self._traces:
            data.append(dict(trace))
            for axis in {"x", "y"} & trace.keys():
                column = np.asarray(trace[axis])
                if column.dtype.kind in "iuf":
                    columns.append(column)
                    data[-1][axis] = {"column": [size, size + column.size]}
                    size += column.size
        # A browser reads no nan: better an error here than a chart that stays blank there.
        text = json.dumps({"data": data, "layout": self._layout}, default=np.ndarray.tolist, allow_nan=False)
        numbers = np.concatenate([np.zeros(0), *columns]).astype(float)
        return {"text": text, "numbers": numbers.tobytes()}

    def _bring_library(self, widget, message, buffers):
        """Send plotly's own script to a page that asks for it: once a page, however many figures it shows."""
        script = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
        self.told.send({"bring": "library"}, [script.read_bytes()])


def at_rest(callback):
    """Return a function that calls `callback` once its calls have come to rest; at once where no notebook runs."""
    timer = None

    def soon():
        nonlocal timer
        if timer is not None:
            timer.cancel()
        try:
            timer = asyncio.get_running_loop().call_later(REST_S, callback)
        except RuntimeError:  # no notebook around: nobody is dragging
            callback()

    return soon


def status_line():
    """Return an empty HTML widget for `guarded` to write in."""
    return widgets.HTML(_status(""))


def guarded(callback, status):
    """Return `callback` made safe for controls: an InputError shows as its sentence in `status`.

    The last good picture stays, since the figure is changed only after the model has answered.
    """

    def safe(*args, **kwargs):
        try:
            result = callback(*args, **kwargs)
        except InputError as error:
            status.value = _status(str(error))
            return None
        status.value = _status("")
        return result

    return safe


def _status(message):
    # role=status: a screen reader speaks the sentence when it changes, without stealing the focus.
    return f"<div role='status'>{html.escape(message)}</div>"
