"""Plain data to plotly figures: one message a chart, said in its title.

Each route keeps one colour (Okabe–Ito), dash, marker and hatch; hands-on, machine and waiting time keep one
hatch each. Nothing needs a legend: lines are labelled at their ends, bars in place. Every figure that is
updated in place is built from, and later fed with, the same arrays.
"""

from dataclasses import dataclass
from functools import cache
from html import escape
from itertools import pairwise

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pourprint.compare import DELAY, LATER
from pourprint.errors import InputError
from pourprint.parts import facts
from pourprint.routes import ROUTES, plan_all
from pourprint.steps import Stage


@dataclass(frozen=True)
class Chart:
    """A figure with its takeaway, a description for those who do not see it, and its data as a table."""

    figure: go.Figure
    takeaway: str
    alt: str
    table: object

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
HATCH = {"hands-on": "", "machine": "/", "waiting": "."}
SHORT = {  # stage names that fit into a bar
    Stage.DESIGN.title: "design",
    Stage.TOOLING.title: "tooling",
    Stage.SIMULATE.title: "simulate",
    Stage.DIE.title: "die",
    Stage.PATTERN.title: "patterns",
    Stage.ASSEMBLE.title: "cluster",
    Stage.MOULD.title: "mould or print",
    Stage.FIRE.title: "fire",
    Stage.POUR.title: "pour",
    Stage.BREAK_OUT.title: "break out",
    Stage.FINISH.title: "finish",
    DELAY: "price of days",
}
MOST_MARKS = 24  # break-even marks that the chart can hold; the sentence counts them all
NAME_HEIGHT = 0.07  # of the cost axis: what the name of a line takes
NAMED_SHARE = 0.045  # of the highest bar: a lower piece cannot hold its name
# The clock chart draws stages that follow each other at one place as one phase: fewer bars redraw faster.
PHASES = {
    "at the desk": (Stage.DESIGN, Stage.TOOLING, Stage.SIMULATE, Stage.DIE),
    "patterns": (Stage.PATTERN,),
    "mould or print": (Stage.ASSEMBLE, Stage.MOULD),
    "fire": (Stage.FIRE,),
    "pour": (Stage.POUR,),
    "break out and finish": (Stage.BREAK_OUT, Stage.FINISH),
}
PHASE_OF = {stage.title: phase for phase, stages in PHASES.items() for stage in stages} | {LATER: [*PHASES][-1]}


def _title(route):
    return ROUTES[route].TITLE


def _tint(colour, share):
    """The colour mixed with white: `share` of white [-]."""
    parts = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(c + (255 - c) * share):02x}" for c in parts)


def stage_matrix(here=None):
    """The course's map as an HTML table: routes across, the eleven stages down, each route's steps counted.

    Parameters: `here` a Stage to mark as "you are here", or None. Returns: HTML text.
    """
    plans = _example_plans()
    head = "".join(f'<th scope="col">{plan.title}</th>' for plan in plans)
    rows = []
    for stage in Stage:
        cells = "".join(f"<td>{'<br>'.join(s.name for s in plan.steps if s.stage == stage)}</td>" for plan in plans)
        mark = "▶ you are here: " if stage is here else ""
        style = ' style="outline:2px solid currentColor"' if stage is here else ""
        rows.append(
            f'<tr{style}><th scope="row" style="text-align:left">{mark}{stage.value} {stage.title}</th>{cells}</tr>'
        )
    counts = "".join(f"<td>{len(p.stages)} stages, {len(p.steps)} steps</td>" for p in plans)
    return (
        '<table><caption style="text-align:left">Stages of each route; an empty cell is a stage that the route '
        f'does without.</caption><thead><tr><th scope="col">stage</th>{head}</tr></thead><tbody>{"".join(rows)}'
        f'<tr><th scope="row" style="text-align:left">together</th>{counts}</tr></tbody></table>'
    )


def _example_plans():
    """Feasible plans of all routes for a small example part, to read stages and steps from."""
    from pourprint.jobs import Job
    from pourprint.parts import Part

    part = Part.from_numbers("example", volume_cm3=60, area_cm2=210, box_mm=(90, 70, 60))
    return [plan for plan in plan_all(Job(part, "AlSi7Mg")).values() if plan.feasible]


COMPARISON_IN_WORDS = (
    "<p><i>In words:</i> the first chart draws the cost of one kit, with the price of the days, against the number "
    "of kits wanted, one line a route, both axes logarithmic; a cross marks each quantity from which another route "
    "is cheapest, a ring the chosen quantity. The second stacks the cost of one kit by stage, first stage lowest. "
    "The third lays the days of the first batch and of all that follow end to end: plain is hands-on (nights and "
    "weekends within a task included), strokes are machines running alone, dots are waiting. The table below holds "
    "the same answer in numbers.</p>"
)

# The comparison: three charts in one figure ---------------------------------------------------------------


@cache
def _stage_slots():
    """{route: stages that may cost something, the days last} of every route, read from an example's steps."""
    return {plan.route: (*(stage.title for stage in plan.stages), DELAY) for plan in _example_plans()}


@cache
def _clock_slots():
    """{route: ((phase, kind), …)} of every route: what may take time, in order."""
    slots = {}
    for plan in _example_plans():
        slots[plan.route] = tuple(
            (phase, kind)
            for phase, stages in PHASES.items()
            for kind in KINDS
            if any(_may_take(step, kind) for step in plan.steps if step.stage in stages)
        )
    return slots


def _may_take(step, kind):
    if kind == "waiting":
        return True  # for closing time at least
    hours = "hands_on_h" if kind == "hands-on" else "machine_h"
    return any(np.any(getattr(work, hours) > 0) for work in step.work)


def _apart(lines):
    """Heights of the lines' names: at each line's end, or as far above the next lower name that both can be read.

    Parameters: `lines` of (n,) costs on a logarithmic axis. Returns: (len(lines),), nan for absent lines.
    """
    ends = np.array([line[-1] for line in lines])
    seen = [line[np.isfinite(line)] for line in lines if np.isfinite(line).any()]
    if not seen:
        return ends
    step = (max(line.max() for line in seen) / min(line.min() for line in seen)) ** NAME_HEIGHT
    for lower, upper in pairwise(np.argsort(ends)):  # nan comes last and stays
        ends[upper] = max(ends[upper], ends[lower] * step) if np.isfinite(ends[upper]) else np.nan
    return ends


def comparison_data(comparison):
    """What each trace of the comparison figure shows, in the order of its traces, as far as it ever changes.

    Returns: list of dicts of "x" and "y" arrays: a line over quantity for each route, their names, break-even
    marks, the chosen quantity, bars by stage, their names where the bar can hold one, bars by time. Traces and bars
    keep their places as long as the comparison has the same routes. An absent point is nan; an absent bar is zero,
    since plotly begins a stack anew after a nan.
    """
    grid, routes = comparison.quantities, [*comparison.plans]
    nothing = np.full(grid.shape, np.nan)
    lines = [comparison.unit_costs.get(route, nothing) for route in routes]
    lowest = np.nanmin(lines, axis=0) if comparison.unit_costs else nothing
    turns = np.full((2, MOST_MARKS), np.nan)
    found = np.searchsorted(grid, comparison.break_even.crossings)[:MOST_MARKS]
    turns[:, : len(found)] = grid[found], lowest[found]
    chosen = np.isin(grid, [plan.job.quantity for plan in comparison.plans.values() if plan.feasible])

    costs, clock = comparison.stage_costs(), comparison.clock()
    bars, middles, days = [], [], []
    highest = max((sum(cost.values()) for cost in costs.values()), default=0.0)
    for route in routes:
        heights = np.array([costs.get(route, {}).get(name, 0.0) for name in _stage_slots()[route]])
        bars.append(heights)
        middles.append(np.where(heights > NAMED_SHARE * highest, np.cumsum(heights) - heights / 2, np.nan))
        spent = dict.fromkeys(_clock_slots()[route], 0.0)
        for stage, *kinds in clock.get(route, ()):
            for kind, amount in zip(KINDS, kinds, strict=True):
                if amount:
                    spent[PHASE_OF[stage], kind] += amount
        days.append([*spent.values()])
    return [
        *({"y": line} for line in lines),
        {"y": _apart(lines)},
        {"x": turns[0], "y": turns[1]},
        {"x": grid[chosen][:1], "y": lowest[chosen][:1]},
        {"y": np.concatenate(bars)},
        {"y": np.concatenate(middles)},
        {"x": np.concatenate(days)},
    ]


def comparison_figure(comparison):
    """Three charts in one figure: unit cost over quantity, cost of a kit by stage, days from the start.

    Returns: go.Figure whose traces stand in the order of `comparison_data`.
    """
    figure = make_subplots(
        rows=3,
        cols=1,
        row_heights=[0.4, 0.34, 0.26],
        vertical_spacing=0.11,
        subplot_titles=(
            "Unit cost falls with quantity in steps: clusters, boxes and plates are paid whole",
            "Where the money of one kit goes, stage by stage",
            "Where the days go: plain = hands-on, strokes = machine, dots = waiting",
        ),
    )
    *lines, names, turns, chosen, costs, stage_names, days = comparison_data(comparison)
    grid, routes, money = comparison.quantities, [*comparison.plans], _currency(comparison)
    for route, line in zip(routes, lines, strict=True):
        look = LOOKS[route]
        figure.add_scatter(
            **line,
            x=grid,
            name=_title(route),
            mode="lines",
            line={"color": look.colour, "dash": look.dash, "width": 2.5, "shape": "hv"},
            hovertemplate=f"{_title(route)}<br>%{{x}} kits: %{{y:,.0f}} {money} a kit<extra></extra>",
        )
    # Names and marks are traces of a few points: text or markers at every point of a line redraw slowly.
    figure.add_scatter(
        **names,
        x=[grid[-1]] * len(routes),
        name="names of the routes",
        mode="text",
        text=[_title(route) for route in routes],
        textposition="top left",
        textfont={"color": [LOOKS[route].colour for route in routes]},
        hoverinfo="skip",
    )
    figure.add_scatter(
        **turns,
        name="break-even",
        mode="markers",
        marker={"symbol": "x-thin", "size": 13, "line": {"width": 2.5, "color": INK}},
        hovertemplate="break-even from %{x} kits on<extra></extra>",
    )
    figure.add_scatter(
        **chosen,
        name="chosen quantity",
        mode="markers",
        marker={"symbol": "circle-open", "size": 15, "color": INK, "line": {"width": 2.5}},
        hovertemplate=f"chosen: %{{x}} kits at %{{y:,.0f}} {money}<extra></extra>",
    )
    figure.add_trace(_stage_bars(routes, costs, money), row=2, col=1)
    figure.add_trace(_stage_names(routes, stage_names), row=2, col=1)
    figure.add_trace(_clock_bars(routes, days), row=3, col=1)
    figure.update_xaxes(
        title_text="kits wanted", type="log", tickvals=[1, 2, 5, 10, 20, 50, 100, 200, 400], row=1, col=1
    )
    figure.update_yaxes(title_text=f"{money} a kit", type="log", tickvals=_round_numbers(), row=1, col=1)
    figure.update_yaxes(title_text=f"{money} a kit", row=2, col=1)
    figure.update_xaxes(title_text="days from the start", row=3, col=1)
    figure.update_yaxes(autorange="reversed", row=3, col=1)
    # Plotly's check whether tick labels overflow the picture is dear, and there is room for all of them.
    figure.update_xaxes(automargin=False, ticklabeloverflow="allow")
    figure.update_yaxes(automargin=False, ticklabeloverflow="allow")
    return _styled(figure, height=1000)


def _round_numbers():
    """1, 2, 5, 10 … 5 million: ticks of a logarithmic axis of money."""
    return [digit * 10**power for power in range(7) for digit in (1, 2, 5)]


def _currency(comparison):
    return next((plan.rates.currency for plan in comparison.plans.values() if plan.feasible), "money")


def _stage_bars(routes, costs, money):
    """All stages of all routes as one stacked trace; tints tell neighbours apart, names stand inside."""
    pieces = [(route, i, name) for route in routes for i, name in enumerate(_stage_slots()[route])]
    return go.Bar(
        x=[_title(route) for route, _, _ in pieces],
        **costs,
        customdata=[SHORT[name] for _, _, name in pieces],
        marker={
            "color": [_tint(LOOKS[route].colour, 0.45 if i % 2 else 0.7) for route, i, _ in pieces],
            "line": {"color": "white", "width": 1},
        },
        hovertemplate="%{x}, %{customdata}: %{y:,.0f} " + money + " a kit<extra></extra>",
        name="cost by stage",
    )


def _stage_names(routes, heights):
    """The names of the stages in the middle of their bars; nan leaves a bar without."""
    pieces = [(route, name) for route in routes for name in _stage_slots()[route]]
    return go.Scatter(
        x=[_title(route) for route, _ in pieces],
        **heights,
        mode="text",
        text=[SHORT[name] for _, name in pieces],
        textfont={"size": 12},
        hoverinfo="skip",
        name="stage names",
    )


def _clock_bars(routes, days):
    """Hands-on, machine and waiting days of all phases of all routes as one stacked trace."""
    pieces = [(route, phase, kind) for route in routes for phase, kind in _clock_slots()[route]]
    tint = {"hands-on": 0.0, "machine": 0.4, "waiting": 0.8}
    return go.Bar(
        y=[_title(route) for route, _, _ in pieces],
        **days,
        orientation="h",
        marker={
            "color": [_tint(LOOKS[route].colour, tint[kind]) for route, _, kind in pieces],
            "pattern": {
                "shape": [HATCH[kind] for _, _, kind in pieces],
                "fillmode": "overlay",
                "fgcolor": INK,
                "solidity": 0.2,
            },
        },
        customdata=[f"{phase}, {kind}" for _, phase, kind in pieces],
        hovertemplate="%{y}, %{customdata}: %{x:.1f} days<extra></extra>",
        name="days by phase",
    )


def _styled(figure, height):
    """The course's plain look."""
    figure.update_layout(
        template="none",
        autosize=True,
        height=height,
        barmode="stack",
        showlegend=False,
        margin={"l": 90, "r": 20, "t": 50, "b": 50},
        font={"size": 13, "color": INK},
        hovermode="closest",
    )
    figure.update_annotations(font={"size": 14}, x=0, xanchor="left")
    figure.update_xaxes(gridcolor="#E6E6E6", zeroline=False)
    figure.update_yaxes(gridcolor="#E6E6E6", zeroline=False)
    return figure


# Single parts ---------------------------------------------------------------------------------------------

MOST_FACETS = 20_000  # more make a rotating picture slow


def part_picture(part):
    """The part as a picture to turn, with its sizes in words. Needs a part with a mesh of at most 20 000 facets.

    Returns: Chart. Raises: InputError for a part without a mesh, or with too many facets.
    """
    vertices, faces = part.needed_mesh("drawn")
    if len(faces) > MOST_FACETS:
        raise InputError(
            f"{part.name} has {len(faces)} facets, a picture can turn {MOST_FACETS}: export a coarser mesh to look at."
        )
    x, y, z = vertices.T
    i, j, k = faces.T
    figure = go.Figure(
        go.Mesh3d(x=x, y=y, z=z, i=i, j=j, k=k, color="#9AA5B1", flatshading=True, lighting={"ambient": 0.5})
    )
    axes = {f"{axis}axis": {"title": f"{axis} [mm]"} for axis in "xyz"}
    figure.update_layout(scene={"aspectmode": "data", **axes}, title=f"{part.name}: drag to turn, z points up")
    sizes = " × ".join(f"{side:.0f}" for side in part.box_mm)
    return Chart(
        _styled(figure, height=430),
        f"{part.name} fills {part.solidity:.0%} of its box of {sizes} mm.",
        f"The part drawn as a solid of {len(faces)} facets; {part.volume_cm3:.1f} cm³ of metal with "
        f"{part.area_cm2:.0f} cm² of surface in a box of {sizes} mm.",
        facts(part),
    )


def section_chart(part, layer_mm):
    """Area of the horizontal sections over height. Needs a part with a mesh; `layer_mm` [mm].

    Returns: Chart with a table of every tenth of the height. Raises: InputError.
    """
    import pandas as pd

    heights, areas, perimeters = part.sections(layer_mm)
    widest = int(np.argmax(areas))
    figure = go.Figure(go.Scatter(x=areas / 100, y=heights, mode="lines", line={"color": INK, "width": 2}))
    figure.update_xaxes(title_text="section area [cm²]", rangemode="tozero")
    figure.update_yaxes(title_text="height above the plate [mm]", rangemode="tozero")
    figure.update_layout(title=f"{part.name} is widest at {heights[widest]:.0f} mm")
    table = pd.DataFrame({"height_mm": heights, "area_cm2": areas / 100, "perimeter_mm": perimeters})
    return Chart(
        _styled(figure, height=380),
        f"{len(heights)} layers of {layer_mm:g} mm; the largest section is {areas[widest] / 100:.1f} cm² at "
        f"{heights[widest]:.0f} mm, the mean {areas.mean() / 100:.1f} cm².",
        f"Section area on the horizontal axis against height on the vertical, from 0 to {heights[-1]:.0f} mm.",
        table.iloc[:: max(1, len(table) // 10)].set_index("height_mm"),
    )
