"""Charts from a few strokes: a canvas with its message, and on it bars, lines, marks and words.

Each stroke takes the figure first, and `panel` where it has several side by side, counted from 1.
"""

import re
import textwrap
from html import escape

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pourprint.figures.look import AXES, GROUND, INK, LAYOUT, ON_FILL, ROUND, SHADOW

LETTERS = 66  # of a line of a title that 525 px hold: a page of 1280 px at 200%, its side bar closed
AXIS_LETTERS, BESIDE_ROWS = 52, 34  # of a line of an axis's name, and of one beside the names of rows
HALF_NAME = 0.04, 0.1  # up and along of a region's name, as shares of a narrow chart's height and width
TALL = 0.07  # of words on a panel's chart: their height as a share of its own
ROW_PX = 26  # of a named row


def canvas(title, across="", up="", height=380, *, key="", log="", zero="", rows=None, row_px=ROW_PX, **margin):
    """An empty chart.

    Parameters: `title` the message; `across`, `up` what the axes carry, with their units (`across` a list: panels side
    by side that share what they carry upwards); `height` [px]; `key` what hatches mean; `log` which of "x" and "y" are
    logarithmic, `zero` which of them begin at zero (bars always do); `rows` names down the page, first on top, which
    give the height, of `row_px` each; `margin` l, r, t, b [px].
    """
    panels = (across,) if isinstance(across, str) else across
    spread = {"shared_yaxes": True, "horizontal_spacing": 0.1}
    figure = make_subplots(1, len(panels), **spread) if panels is across else go.Figure()
    figure.update_layout(LAYOUT, height=height)
    # A title keeps to its axis, not to the words below; numbers to theirs, not to the one in the corner.
    figure.update_xaxes(AXES, title_standoff=8, ticklabelstandoff=5).update_yaxes(AXES)
    message(figure, title, key)
    letters = (AXIS_LETTERS if rows is None else BESIDE_ROWS) // len(panels)
    names = [_wrapped(words, letters) for words in panels]
    for k, lines in enumerate(names, start=1):
        figure.update_layout({_axis("x", k): {"title": {"text": "<br>".join(lines)}}})
    more, low = 18 * (max(map(len, names)) - 1), figure.layout.margin.b
    figure.update_layout(yaxis={"title": {"text": up}}, margin={"b": low + more} | margin)
    for name, update in (("x", figure.update_xaxes), ("y", figure.update_yaxes)):
        if name in log:
            update(type="log", tickvals=ROUND, tickformat=",")  # 5,000, as 10,000, not 5000 beside 10k
        if name in zero:
            update(rangemode="tozero")
    if rows is not None:
        names = _along(list(rows))[::-1]
        figure.update_yaxes(categoryorder="array", categoryarray=names, automargin=True, ticksuffix="  ", dtick=1)
        figure.update_layout(margin={"l": 10, "r": 70} | margin).update_xaxes(tickangle=0)
    room = figure.layout.margin
    figure.layout.height = height + more if rows is None else room.t + room.b + row_px * (len(rows) + 0.5)
    return figure


def message(figure, title, key=""):
    """Write the message, on the left, with room for its lines above the chart; `key` says what hatches mean.

    What a file's names hold in the message is text, as in `plain`.
    """
    small = textwrap.wrap(key.replace(" ·", "\u00a0·"), LETTERS + 12) if "<" not in key else key.split("<br>")
    lines = _wrapped(plain(title), LETTERS)
    lines += [f'<span style="font-size:12px">{words}</span>' for words in small]
    pad = 20 if lines[1:] else 8  # plotly hangs one line from its top, several from the foot of the first
    place = {"x": 0.01, "xanchor": "left", "y": 1, "yanchor": "top", "yref": "container", "pad": {"t": pad}}
    title = {"text": "<br>".join(lines), "font": {"size": 15}, **place}
    return figure.update_layout(title=title, margin={"t": 28 + 19 * len(lines)})


def _wrapped(words, letters):
    """Lines of at most so many letters and of about the same length; no unit is parted from what it is of."""
    words = re.sub(r" (?=\[)|(?<=\d) (?=\S{1,3}\b)", "\u00a0", words)
    lines = textwrap.wrap(words, letters)
    even = textwrap.wrap(words, min(letters, len(words) // max(len(lines), 1) + 8))
    return [line.replace("\u00a0", " ") for line in (even if len(even) == len(lines) else lines)]


def plain(words):
    """A name, of a file or somebody's own, as text that plotly takes for no markup, without underscores.

    >>> plain("mast_foot <b>")
    'mast foot &lt;b&gt;'
    """
    return escape(words.replace("_", " "), quote=False)


def line(figure, x, y, colour=INK, dash="solid", width=2.5, hover="", shape="linear", mode="lines", **more):
    """A line through points; `hover` a template of what is said at a point."""
    look = {"color": colour, "dash": dash, "width": width, "shape": shape}
    figure.add_scatter(x=_along(x), y=_along(y), mode=mode, line=look, **_told(hover), **more)


def mark(figure, x, y, colour=INK, symbol="circle", size=12, hover="", panel=None, mode="markers", **more):
    """Marks at points."""
    look = {"symbol": symbol, "size": size, "color": colour, "line": {"width": 2.5, "color": colour}}
    look |= more.pop("marker", {})
    figure.add_scatter(x=_along(x), y=_along(y), mode=mode, marker=look, **_told(hover), **_at(panel), **more)


def names(figure, x, y, text, colours, **more):
    """Words at points as a trace of their own, which a live figure can move."""
    look = {"mode": "text", "cliponaxis": False, "hoverinfo": "skip"}
    figure.add_scatter(x=x, y=y, text=text, textfont={"color": colours}, **look, **more)


def bars(figure, amounts, names, colour, hatch="", said=None, hover="", panel=None, upright=False, ink=ON_FILL, **more):
    """Bars along the page, or `upright`; `said` is written at each: behind it, or where `textposition` says; hatches
    are drawn in `ink`; `rim_px` round a bar show one that is too short to be seen."""
    along, across = ("y", "x") if upright else ("x", "y")
    pattern = {"shape": hatch, "fillmode": "overlay", "fgcolor": ink, "fgopacity": 0.6, "size": 6, "solidity": 0.2}
    figure.add_bar(
        **{along: amounts, across: _along(names)},
        orientation="v" if upright else "h",
        marker={"color": colour, "line": {"width": more.pop("rim_px", 0), "color": colour}, "pattern": pattern},
        **{"text": said, "textposition": "outside", "cliponaxis": False} | more,
        insidetextfont={"color": ON_FILL},
        outsidetextfont={"color": INK},
        **_told(hover),
        **_at(panel),
    )


def box(figure, marks, name, colour, panel=None):
    """A box along the page in the row `name`, with whiskers: `marks` their low, the box's, its middle, high, high."""
    low, quarter, middle, three, high = ([float(mark)] for mark in marks)
    figure.add_box(
        lowerfence=low, q1=quarter, median=middle, q3=three, upperfence=high, y=[name], orientation="h",
        line={"color": INK, "width": 1.5}, fillcolor=colour, hoverinfo="x", **_at(panel),
    )  # fmt: skip


def write(figure, x, y, text, colour=INK, anchor="center", dx=0, dy=0, ground=False, arrow=None, panel=1, **more):
    """Words at a point of the chart.

    Parameters: `anchor` "left", "center" or "right" of the words that stands there; `dx`, `dy` [px] right and up of it;
    `ground` behind them where they cross lines; `arrow` (right, down) [px] from the point to words that stand off.
    """
    axes = [figure.layout[_axis(name, panel)] for name in "xy"]
    x, y = (np.log10(v) if axis.type == "log" else _along([v])[0] for v, axis in zip((x, y), axes, strict=True))
    pointer = {"showarrow": False} if arrow is None else {"ax": arrow[0], "ay": arrow[1], "arrowcolor": INK}
    figure.add_annotation(
        x=x, y=y, text=text, font={"color": colour}, xanchor=anchor, xshift=dx, yshift=dy, **pointer,
        **{"bgcolor": GROUND, "borderpad": 1} if ground else {}, **_at(panel if panel > 1 else None), **more,
    )  # fmt: skip


def roomiest(region):
    """Where in a region (rows, columns) of a chart a name has most room: row, column, and whether that is enough."""
    from scipy.ndimage import distance_transform_edt

    cell = 1 / (np.array(HALF_NAME) * region.shape)  # in halves of a name
    room = distance_transform_edt(np.pad(region, 1), cell)[1:-1, 1:-1]
    return *np.unravel_index(np.argmax(room), room.shape), room.max() >= 1


def band(figure, low, high, upright=False):
    """A grey band behind the chart between two values across, or `upright` between two heights."""
    ends = {"y0": low, "y1": high} if upright else {"x0": low, "x1": high}
    (figure.add_hrect if upright else figure.add_vrect)(**ends, fillcolor=SHADOW, line_width=0, layer="below")


def _axis(name, panel):
    return f"{name}axis{panel if panel > 1 else ''}"


def _along(values):
    """What stands along an axis: numbers and dates as they are, names as text."""
    named = np.asarray(values).dtype.kind in "UO"
    return [plain(value) if isinstance(value, str) else value for value in values] if named else values


def _at(panel):
    return {} if panel is None else {"row": 1, "col": panel}


def _told(hover):
    return {"hovertemplate": f"{hover}<extra></extra>"} if hover else {"hoverinfo": "skip"}
