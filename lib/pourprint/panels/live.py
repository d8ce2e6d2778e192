"""The one place where a shown figure is changed, and where a bad input becomes one sentence.

A plotly figure in a notebook has two memories: Python's and the browser's. They drift apart in silence when
a batch changes different properties of different traces: the message then has gaps, and a view can lose the
traces in the gaps while Python still looks right. Here every message is whole: each changed property is sent
for every trace. That also costs one redraw, the dear part of a key press.
"""

import asyncio
import gc
import html
import re
from functools import cache
from pathlib import Path

import ipywidgets as widgets
import numpy as np

from pourprint.ledger.errors import InputError

REST_S = 0.3  # so long without a change, a slider has come to rest


def live(figure):
    """Return a FigureWidget of a complete plotly figure, ready for `redraw`."""
    widget = _figure_widget()(figure)
    # What a view opened later (a second one, or after a page reload) starts from; plotly renews it only when the
    # figure itself is shown, and inside a box it is never shown by itself. While a slider moves it would cost a
    # second message as large as the first.
    widget._renew = at_rest(widget._repr_mimebundle_)
    return widget


def at_rest(callback):
    """Return a function that calls `callback` once its calls have come to rest; at once where no notebook runs."""
    timer = None

    def soon():
        nonlocal timer
        if timer is not None:
            timer.cancel()
        if _loop():
            timer = _loop().call_later(REST_S, callback)
        else:  # no notebook around: nobody is dragging
            callback()

    return soon


def _loop():
    """The event loop of the notebook's kernel, or None where there is none."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def _sort_memory():
    """Free what is garbage by now, and let Python's collector pass over the rest from here on.

    It would walk some million objects of libraries in the midst of a slider's move, and take half of its time.
    """
    gc.unfreeze()
    gc.collect()
    gc.freeze()


def redraw(widget, traces, layout=None):
    """Change data of a live figure in one whole message.

    Parameters: widget from `live`; traces: one dict per trace, in the figure's order, of new properties such
    as {"y": array}; what a trace leaves out keeps its present value, {} changes nothing; layout: {property: value}
    to change with them, such as {"yaxis.range": [0, 3]}.
    Raises InputError if the number of traces differs: traces are neither added nor removed.
    """
    if len(traces) != len(widget.data):
        raise InputError(f"traces: {len(traces)} given, the figure has {len(widget.data)}; give one dict per trace.")
    properties = sorted({name for new in traces for name in new})
    whole = {
        name: [_whole(new.get(name, old[name])) for old, new in zip(widget.data, traces, strict=True)]
        for name in properties
    }
    widget.plotly_update(restyle_data=whole, relayout_data=layout)
    widget._renew()


def _whole(values):
    """Arrays in one piece: a message takes no slices with gaps, and says so only inside a kernel."""
    return np.ascontiguousarray(values) if isinstance(values, np.ndarray) else values


def status_line():
    """Return an empty HTML widget for `guarded` to write in. Each panel has one; memory is sorted once it stands."""
    if _loop():
        _loop().call_later(REST_S, _sort_memory)
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


@cache
def _figure_widget():
    """plotly's FigureWidget, with a view that is gone kept from stopping the views that are there.

    When a cell is run again, plotly empties its old view but leaves it listening; the old view then fails on
    the next change, and the views after it never hear of the change (seen in the browser with plotly 7.1).
    The view also follows the width of its box.

    Nor does a view report its defaults (such as axis ranges it chose) back to Python after each change: panels
    never read them, and gathering them delays the paint. So `figure.layout` knows only what it was given, edits need
    no numbers, and a change is one message instead of four.
    """
    import plotly
    import plotly.graph_objects as go

    script = (Path(plotly.__file__).parent / "package_data" / "widgetbundle.js").read_text(encoding="utf-8")
    at = script.find(" as FigureView")  # five megabytes: quicker found than searched by a pattern
    view = re.search(r"(\w+)$", script[max(at - 100, 0) : max(at, 0)])
    if view is None:  # a plotly built in another way: its own widget is the best there is
        return go.FigureWidget
    patch = f"""
{{
  const view = {view[1]}.prototype, update = view.do_update;
  view.do_update = function () {{
    const layout = this.el.layout;
    if (!this.el._fullLayout) return;
    // Else plotly measures its box, for which the page is laid out anew; a box that changes tells it below.
    const own = layout.autosize;
    layout.autosize = false;
    update.call(this);
    layout.autosize = own;
  }};
  const render = view.perform_render;
  view.perform_render = function () {{
    render.call(this);
    // plotly draws before its box has a width, then keeps 700 pixels; follow the box instead.
    new ResizeObserver(() => {{ if (this.el._fullLayout) this.autosizeFigure(); }}).observe(this.el);
  }};
  view._sendTraceDeltas = view._sendLayoutDelta = () => {{}};
}}
"""

    def send(self, restyle_data, relayout_data, trace_indexes=None, source_view_id=None):
        traces = self._normalize_trace_indexes(trace_indexes)
        changes = {"style_data": restyle_data, "layout_data": relayout_data, "style_traces": traces}
        self._py2js_update = changes | {"source_view_id": source_view_id}

    return type("LiveFigure", (go.FigureWidget,), {"_esm": script + patch, "_send_update_msg": send})
