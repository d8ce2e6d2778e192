"""How every chart of the course looks, and what it carries besides its picture.

Each route keeps one colour (Okabe–Ito), dash, marker and hatch; hands-on, machine and waiting time, and hours in which
work rests, keep one hatch each. Nothing needs a legend: lines are labelled at their ends, bars in place.
Charts have no ground of their own, and THEME gives what is drawn in ink the colour of the page's text: they follow
JupyterLab's light and dark theme.
"""

from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np
import plotly.graph_objects as go
from plotly.colors import hex_to_rgb, sample_colorscale

from pourprint.figures.tables import table_html
from pourprint.routes import ROUTES

INK, ON_FILL = "#222222", "#1A1A1A"  # of words and lines on the page, which follow its theme; and on a coloured fill
GROUND, GRID = "rgba(254,254,254,0.8)", "#E6E6E6"  # behind words that cross lines; both follow the theme
SHADOW = "rgba(128,128,128,0.2)"  # a band behind a chart, on any ground
GREY = "#767676"  # of what knows no theme or is of no route: seen on white and on black
METAL, SAND = "#9AA5B1", "#C9B37E"
# Of numbers: even steps to most eyes, without the darkest, which a dark page swallows.
SCALE = sample_colorscale("Cividis", [0.2 + 0.1 * i for i in range(9)])
LAYOUT = {  # the course's plain look
    "template": "none", "autosize": True, "barmode": "stack", "showlegend": False, "hovermode": "closest",
    "margin": {"l": 80, "r": 20, "t": 50, "b": 54}, "font": {"size": 13, "color": INK},
    "hoverlabel": {"bgcolor": "white", "bordercolor": "#777777", "font": {"color": "#333333"}},
    "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
}  # fmt: skip
AXES = {"gridcolor": GRID, "zeroline": False, "separatethousands": True}
# Ticks of a logarithmic axis: 0.0001, 0.0002, 0.0005, … 500 million.
ROUND = np.array([digit * 10.0**power for power in range(-4, 9) for digit in (1, 2, 5)])
THEME = f"<style>{Path(__file__).with_suffix('.css').read_text(encoding='utf-8')}</style>"
FIT = f"<script>{Path(__file__).with_suffix('.js').read_text(encoding='utf-8')}</script>"


@dataclass(frozen=True)
class Chart:
    """A figure with its takeaway, a description for those who do not see it, and its data as a table."""

    figure: go.Figure
    takeaway: str
    alt: str
    table: object

    def _ipython_display_(self):
        from IPython.display import HTML, display

        self.figure.show(config={"responsive": True})  # to the window's size, of which FIT tells it
        display(HTML(self.words() + FIT))

    def words(self):
        """Takeaway, and description with data table folded, as HTML."""
        return (
            f"{THEME}<p><b>{escape(self.takeaway)}</b></p><details><summary>In words and numbers</summary>"
            f"<p>{escape(self.alt)}</p>{table_html(self.table)}</details>"
        )


@dataclass(frozen=True)
class Look:
    """How a route is drawn in every chart of the course."""

    colour: str
    dash: str
    marker: str
    hatch: str


LOOKS = {
    "printed_pattern": Look("#0072B2", "solid", "circle", ""),
    "printed_mould": Look("#D55E00", "dash", "square", "/"),
    "printed_metal": Look("#009E73", "dot", "diamond", "."),
    "tooled_pattern": Look("#AA4499", "dashdot", "triangle-up", "x"),
}
SERIES = [(look.colour, look.dash) for look in LOOKS.values()]  # of curves that are no routes
PARTS = ("#0072B2", "#56B4E9", "#009E73", "#E69F00", "#CC79A7", "#F0E442", "#D55E00", "#999999")  # Okabe–Ito
FILL = 0.6  # share of white in a route's colour where text stands on it
RESTS = "at rest"  # work that waits: nobody is there, it was laid down, or a machine is not free
HATCH = {"hands-on": "", RESTS: "-", "machine": "/", "waiting": "."}
SHADE = {"hands-on": 0.0, RESTS: 0.9, "machine": 0.45, "waiting": 0.8}  # share of white in the colour


def title_of(route):
    return ROUTES[route].TITLE


def counted(number, one, many="s"):
    """A count with its noun: "3 plates", "1 plate" or "no plate"; `many` is what the plural adds."""
    number = int(number)
    return f"{number} {one}{'' if number == 1 else many}" if number else f"no {one}"


def tint(colour, share):
    """The colour mixed with white: `share` of white [-]."""
    return "#" + "".join(f"{round(c + (255 - c) * share):02x}" for c in hex_to_rgb(colour))


def sheer(colour, share):
    """The colour let through: as `tint` on white, and as faint on a dark page; `share` of the ground [-]."""
    return "rgba({},{},{},{:.2f})".format(*hex_to_rgb(colour), 1 - share)


def sampled(table):
    """About ten rows of a long table, evenly spread."""
    return table.iloc[:: max(1, len(table) // 10)]
