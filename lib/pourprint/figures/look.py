"""How every chart of the course looks, and what it carries besides its picture.

Each route keeps one colour (Okabe–Ito), dash, marker and hatch; hands-on, machine and waiting time, and closed hours
that hold work up, keep one hatch each. Nothing needs a legend: lines are labelled at their ends, bars in place.
"""

from dataclasses import dataclass
from html import escape

import plotly.graph_objects as go

from pourprint.routes import ROUTES


@dataclass(frozen=True)
class Chart:
    """A figure with its takeaway, a description for those who do not see it, and its data as a table."""

    figure: go.Figure
    takeaway: str
    alt: str
    table: object

    def __post_init__(self):
        self.figure.update_xaxes(title_standoff=8)  # a title keeps to its axis, not to the words below

    def _ipython_display_(self):
        from IPython.display import HTML, display

        display(self.figure)
        display(HTML(self.words()))

    def words(self):
        """Takeaway, description and folded data table as HTML."""
        return (
            f"<p><b>{escape(self.takeaway)}</b></p><p><i>In words:</i> {escape(self.alt)}</p>"
            f"<details><summary>Data table</summary>{self.table.to_html(float_format='{:,.2f}'.format)}</details>"
        )


@dataclass(frozen=True)
class Look:
    """How a route is drawn in every chart of the course."""

    colour: str
    dash: str
    marker: str


LOOKS = {
    "printed_pattern": Look("#0072B2", "solid", "circle"),
    "printed_mould": Look("#D55E00", "dash", "square"),
    "printed_metal": Look("#009E73", "dot", "diamond"),
    "tooled_pattern": Look("#AA4499", "dashdot", "triangle-up"),
}
INK = "#222222"
KINDS = ("hands-on", "machine", "waiting")
CLOSED = "closed"
HATCH = {"hands-on": "", CLOSED: "-", "machine": "/", "waiting": "."}
SHADE = {"hands-on": 0.0, CLOSED: 0.9, "machine": 0.45, "waiting": 0.8}  # share of white in the colour


def title_of(route):
    return ROUTES[route].TITLE


def counted(number, one, many="s"):
    """A count with its noun: "3 plates", "1 plate" or "no plate"; `many` is what the plural adds."""
    number = int(number)
    return f"{number} {one}{'' if number == 1 else many}" if number else f"no {one}"


def tint(colour, share):
    """The colour mixed with white: `share` of white [-]."""
    parts = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(c + (255 - c) * share):02x}" for c in parts)


def styled(figure, height):
    """The course's plain look."""
    figure.update_layout(
        template="none",
        autosize=True,
        height=height,
        barmode="stack",
        showlegend=False,
        margin={"l": 90, "r": 20, "t": 50, "b": 65},
        font={"size": 13, "color": INK},
        hovermode="closest",
    )
    figure.update_annotations(font={"size": 14}, x=0, xanchor="left")
    figure.update_xaxes(gridcolor="#E6E6E6", zeroline=False)
    figure.update_yaxes(gridcolor="#E6E6E6", zeroline=False)
    return figure
