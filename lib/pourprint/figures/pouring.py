"""Pictures of a mould as it fills and freezes: sections, the body to turn, and how the metal stands at a time."""

import numpy as np
import pandas as pd

from pourprint.figures.look import METAL, PARTS, SAND, SCALE, Chart, counted
from pourprint.figures.printed_mould import feeder_tube
from pourprint.figures.solids import MOST_FACETS, coarser, picture, solid_trace, tube
from pourprint.figures.strokes import canvas, mark, write
from pourprint.routes.looks import OTHER_CELLS, look
from pourprint.routes.pouring import FINE_CELLS, NOT_MODELLED

AIR, PORE = "#56B4E9", "#D55E00"
DIGITS = dict.fromkeys(("u_mm", "v_mm", "w_mm", "within_mm"), 0) | {"at_s": 1, "volume_cm3": 2}  # no more is known
AXES, PLANES = "uvw", ((0, 1, 2), (0, 2, 1), (1, 2, 0))  # of the mould; across, up, and the axis cut
GAP = 0.11  # between sections, as a share of the picture
STATES = {"empty": "#E6E6E6", "liquid": "#E69F00", "stiff": "#CC79A7", "solid": METAL}  # of a cell, in order of time
BAR_MM = np.cbrt(1000 / (2 * np.pi))  # half height and radius of a bar of 1 cm3
STILL = "One section of the mould at five times, from empty to solid; the table has the shares of its area."


def pour_table(run):
    """Pores and caught air as a pandas table: place in the mould, give or take [mm]; when [s]; how much [cm3]."""
    rows = [(what, *one.place_mm, one.within_mm, at_s, cm3) for what, one, at_s, cm3 in _found(run)]
    columns = ["what", "u_mm", "v_mm", "w_mm", "within_mm", "at_s", "volume_cm3"]
    return pd.DataFrame(rows, columns=columns, index=pd.RangeIndex(1, len(rows) + 1, name="place")).round(DIGITS)


def _found(run):
    """Pores, then caught air, in the order of their numbers: [(what, where it is, when [s], how much [cm3])]."""
    pores = [("pore", pore, pore.frozen_s, pore.pore_cm3) for pore in run.feeding.pores]
    return pores + [("caught air", trap, trap.cut_off_s, trap.volume_cm3) for trap in run.filling.traps]


def look_table(kit, alloy):
    """Where each part of a Kit fills last, what air and what pores it keeps as planned, and with a vent instead of its
    feeders, on two grids, by the default card: pandas table. Places (x, y, z) of the largest, on the part as drawn,
    give or take how far it may be from there [mm]."""

    def said(found, size, unit):
        return f"{size} {unit} at {_spot(found[0].place_mm, found[0].within_mm)}" if found else "none"

    rows = {}
    for item in kit.parts:
        looks = [look(item.part, alloy, cells) for cells in (FINE_CELLS, OTHER_CELLS)]
        if looks[0] is None or any(one.bare is None for one in looks):
            continue
        for how, kind in (("as planned", "planned"), ("no feeder", "bare")):
            rows[item.part.name, how] = row = {}
            for grid, one in zip(("", ", coarser"), (getattr(each, kind) for each in looks), strict=True):
                air, pores = sum(each.volume_cm3 for each in one.traps), sum(each.pore_cm3 for each in one.pores)
                row[f"fills last at{grid}"] = _spot(one.last_at, one.last_within_mm)
                row[f"air{grid}"] = said(one.traps, f"{air:.1f}", "cm³")
                row[f"pores{grid}"] = said(one.pores, f"{pores:.2g}", "cm³")
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis(["part", "feeding"])
    return table[sorted(table, key=lambda name: ("last" not in name, name))]


def _spot(place, within):
    place = "({:.0f},\N{NO-BREAK SPACE}{:.0f},\N{NO-BREAK SPACE}{:.0f})".format(*np.round(place) + 0.0)
    return f"{place} ±\N{NO-BREAK SPACE}{within:.0f}"


def said_of(run):
    """What came of a Pour, in one sentence."""
    pores, traps = run.feeding.pores, run.filling.traps
    left = f"{counted(len(pores), 'place')} left unfed, {run.feeding.pore_cm3:.2g} cm³ of pores"
    caught = f"{counted(len(traps), 'pocket')} of air caught"
    full = f"Full after {run.filling.filled_s:.1f} s ({run.band}), {caught}"
    return f"{full}; solid after {run.feeding.part_s:.0f} s, {left}"


def worst_mm(run):
    """Where to cut: at the largest pore, else the largest caught air, else the part's last metal (3,) [mm]."""
    if places := _rings(run):
        return np.array(places[0])
    part = np.where(run.filling.cavity.part, run.feeding.solid_s, -1.0)
    return run.filling.cavity.grid.centres_mm(np.unravel_index(np.argmax(part), part.shape))


def _rings(run):
    """Numbered places as in `pour_table`."""
    return [one.place_mm for _, one, *_ in _found(run)]


def filling_slices(run):
    """Three sections through the worst place, coloured by when each cell is full. Returns: Chart."""
    said = f"{run.mould.part.name} fills in {run.filling.filled_s:.1f} s; where it is worst: {run.band}"
    return _slices(run, said, _finite(run.filling.time_s), "full", said_of(run))


def feeding_slices(run):
    """Three sections through the worst place, coloured by when each cell is solid. Returns: Chart."""
    pores, (takes, gives) = run.feeding.pores, run.feeding.enough(run.efficiency)
    said = f"{run.mould.part.name} is solid after {run.feeding.part_s:.0f} s: "
    said += f"{counted(len(pores), 'place')} cut off from the feeder before" if pores else "all of it is fed"
    fed = f"Freezing takes {takes:.1f} cm³ of metal; the feeder can give {gives:.1f} cm³"
    return _slices(run, said, _solid_s(run), "solid", fed, "; lightest: then or later")


def _slices(run, said, times, state, takeaway, last=""):
    """Sections coloured by when each cell comes to a state, with the message and the takeaway: Chart."""
    return Chart(
        _sections(run, said, times, f"{state} after [s]{last}"),
        f"{takeaway}. {NOT_MODELLED}",
        f"Three sections through part, feeder and gate; dark is {state} early, light late. Numbered rings mark pores "
        "and caught air near each section, as in the table.",
        pour_table(run),
    )


def pour_section(run):
    """One section through the worst place by when each cell is solid, with its pores and caught air: go.Figure."""
    said = f"{run.mould.part.title}: solid after {run.feeding.part_s:.0f} s"
    figure = _sections(run, said, _solid_s(run), "solid after [s]", PLANES[1:2])
    # Beside a panel's controls there is more height than width below the section: its colours stand at its side.
    bar = {"orientation": "v", "y": 0.5, "yanchor": "middle", "len": 1.0, "title": {"text": "solid<br>after [s]"}}
    return figure.update_layout(coloraxis={"colorbar": bar}, margin={"b": 50})


def _sections(run, said, field, key, planes=PLANES):
    """Sections through the worst place, coloured by a field; numbered rings mark pores and caught air near a section.

    Parameters: `said` the message; `field` (nx, ny, nz) nan outside the metal; `key` what the colours mean; `planes`
    axes across, up and cut of each section. Returns: go.Figure.
    """
    grid, at_mm, places = run.filling.cavity.grid, worst_mm(run), _rings(run)
    metal = np.argwhere(~np.isnan(field))
    low, high = metal.min(0), metal.max(0) + 1
    values = field[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    edges = [grid.origin_mm[axis] + (np.arange(low[axis], high[axis]) + 0.5) * grid.cell_mm for axis in range(3)]
    figure = canvas(said, [f"{AXES[across]} [mm]" for across, _, _ in planes])
    wide = (1 - GAP * (len(planes) - 1)) / len(planes)
    # One scale for all of them, with room for the numbers.
    wide_mm, tall_mm = (max(np.ptp(edges[plane[i]]) for plane in planes) / 2 + 8 for i in (0, 1))
    for panel, (across, up, cut) in enumerate(planes, 1):
        at = int(np.argmin(np.abs(edges[cut] - at_mm[cut])))
        said = f"{AXES[across]} %{{x:.0f}}, {AXES[up]} %{{y:.0f}} mm: %{{z:.1f}} s<extra></extra>"
        cells, place = np.take(values, at, axis=cut).T, {"row": 1, "col": panel}
        cells = np.where(np.isnan(cells), None, cells)  # a live chart is sent as JSON, which knows no nan
        figure.add_heatmap(x=edges[across], y=edges[up], z=cells, coloraxis="coloraxis", hovertemplate=said, **place)
        near = [i for i, spot in enumerate(places) if abs(spot[cut] - at_mm[cut]) <= 2 * grid.cell_mm]
        rings = [[places[i][axis] for i in near] for axis in (across, up)]
        numbers = {"text": [f"<b>{i + 1}</b>" for i in near]}
        # Numbers stand away from each other.
        sides = np.array(rings) >= np.sum(rings, axis=1, keepdims=True) / max(len(near), 1)
        words = [f"{('bottom', 'top')[up]} {('left', 'right')[right]}" for right, up in sides.T.astype(int)]
        numbers |= {"mode": "markers+text", "textposition": words, "cliponaxis": False}
        colours = [PORE if i < len(run.feeding.pores) else AIR for i in near]  # pores come first
        numbers["textfont"] = {"color": colours, "size": 15}
        mark(figure, *rings, colours, "circle-open", 13, "place %{text}", panel, **numbers)
        for axis, half, update in ((across, wide_mm, figure.update_xaxes), (up, tall_mm, figure.update_yaxes)):
            middle = (edges[axis][0] + edges[axis][-1]) / 2
            update(range=[middle - half, middle + half], constrain="domain", matches=None, **place)
        left = (panel - 1) * (wide + GAP)
        ratio = {"scaleanchor": f"y{panel if panel > 1 else ''}", "domain": [left, left + wide]}
        figure.update_xaxes(**ratio, nticks=4, **place)
        figure.update_yaxes(title_text=f"{AXES[up]} [mm]", title_standoff=2, showticklabels=True, **place)
        words = f"cut at {AXES[cut]} = {round(float(at_mm[cut]))} mm".replace("-", "−")
        write(figure, left + wide / 2, 1.02, words, yanchor="bottom", xref="paper", yref="paper")
    title = {"text": key, "font": {"size": 13}, "side": "top"}
    bar = {"title": title, "orientation": "h", "y": -0.3, "yanchor": "top", "thickness": 12, "len": 0.6}
    figure.update_layout(margin={"l": 55, "t": figure.layout.margin.t + 20, "b": 110})
    return figure.update_layout(coloraxis={"colorscale": SCALE, "colorbar": bar})


def _finite(values):
    return np.where(np.isfinite(values), values, np.nan)


def _solid_s(run):
    """When each cell is solid [s], nan outside the metal; what never is while time is counted, as the last."""
    times = _finite(run.feeding.solid_s)
    return np.where(run.filling.cavity.metal, np.nan_to_num(times, nan=np.nanmax(times)), np.nan)


def pour_picture(run):
    """The part in its mould to turn, with feeders, pockets that freeze unfed and air that is caught. Returns: Chart."""
    one, cavity = run.mould, run.filling.cavity
    vertices, faces = coarser(one.part.mesh[0] @ one.study.frame.T, one.part.mesh[1], MOST_FACETS // 2)
    traces = [solid_trace((vertices, faces), METAL, 0.3, one.part.name)]
    for stand in run.rigging.feeders:
        traces.append(solid_trace(feeder_tube(stand, stand.foot_mm), SAND, 0.35, "feeder"))
    gate = cavity.metal & ~cavity.part & ~cavity.feeder
    for cells, colour, name in ((gate, PARTS[2], "gate"), (cavity.chill, PARTS[0], "chill")):
        if cells.any():
            traces.append(solid_trace(surface_round(cells, cavity.grid), colour, 0.9, name))
    for what, one, _, cm3 in _found(run):
        radius, (u, v, w) = max(np.cbrt(cm3) * BAR_MM, 1.5), one.place_mm
        bar = tube([(u, v, w - radius), (u, v, w + radius)], radius, 16)
        traces.append(solid_trace(bar, PORE if what == "pore" else AIR, 1.0, what))
    names = [(f"<b>{i}</b>", place, (24, -24)) for i, place in enumerate(_rings(run), start=1)]
    pores, pockets = counted(len(run.feeding.pores), "pore"), counted(len(run.filling.traps), "pocket")
    title = f"{run.mould.part.name} keeps {pores} and {pockets} of caught air"
    return Chart(
        picture(title, traces, (1.1, 1.3, 0.8), 480, names, AXES),
        f"{said_of(run)}. Orange: pores in their true volume, as short bars; blue: caught air. {NOT_MODELLED}",
        f"The part as a clear solid under {counted(len(run.rigging.feeders), 'feeder')}; numbered arrows point at "
        f"{pores} and {pockets} of caught air.",
        pour_table(run),
    )


def pour_frames(run):
    """The section across the worst place as it fills and freezes, for pictures that move.

    Returns: times [s] (n,); when each cell is full, stiff and solid [s], (3, nw, nu), the lowest row first, nan outside
    the metal; cell [mm]; words.
    """
    grid, at = run.filling.cavity.grid, worst_mm(run)
    cut = int((at[1] - grid.origin_mm[1]) // grid.cell_mm)
    cells = np.argwhere(run.filling.cavity.metal)
    (i, _, k), (past_i, _, past_k) = cells.min(0), cells.max(0)
    fields = np.stack([run.filling.time_s, run.feeding.stops_s, run.feeding.solid_s])
    fields = np.swapaxes(fields[:, i : past_i + 1, cut, k : past_k + 1], 1, 2)
    full, solid = run.filling.filled_s, run.feeding.part_s
    times = np.concatenate([np.linspace(0, full, 30, endpoint=False), np.linspace(full, solid, 60)])
    words = f"{run.mould.part.title}, cut at v = {at[1]:.0f} mm through the worst place"
    return times, fields, grid.cell_mm, words


def states(arrivals, time_s):
    """What each cell is at a time: 0 empty, 1 liquid, 2 stiff (it feeds no more), 3 solid, nan outside the metal."""
    known = ~np.isnan(arrivals[0])
    return np.where(known, sum((arrival <= time_s).astype(int) for arrival in arrivals), np.nan)


def pour_still(run):
    """The same section at a few times, for paper: while it fills, and while it freezes. Returns: Chart."""
    _, arrivals, cell, words = pour_frames(run)
    whole, late = run.filling.filled_s, run.feeding.part_s
    times = [0.15 * whole, 0.5 * whole, *(whole + share * (late - whole) for share in (0.15, 0.5, 0.85))]
    shown = ", ".join(f"{name} <span style='color:{colour}'>■</span>" for name, colour in STATES.items())
    title = f"How {run.mould.part.name} fills and freezes"
    figure = canvas(title, [f"{t:.1f} s" for t in times], height=300, key=shown, l=20)
    scale = [[i / 4 + edge / 4, colour] for i, colour in enumerate(STATES.values()) for edge in (0, 1)]
    for panel, t in enumerate(times, start=1):
        figure.add_heatmap(
            z=states(arrivals, t), dx=cell, dy=cell, zmin=-0.5, zmax=3.5, colorscale=scale, showscale=False,
            hoverinfo="skip", row=1, col=panel,
        )  # fmt: skip
        anchor = f"x{panel if panel > 1 else ''}"
        figure.update_yaxes(scaleanchor=anchor, showticklabels=False, showgrid=False, row=1, col=panel)
    figure.update_xaxes(showticklabels=False, showgrid=False, constrain="domain")
    counts = [np.bincount(states(arrivals, t)[~np.isnan(arrivals[0])].astype(int), minlength=4) for t in times]
    table = pd.DataFrame(counts, columns=list(STATES), index=pd.Index(np.round(times, 1), name="time_s"))
    share = (table.div(table.sum(axis=1), axis=0) * 100).round(0)
    return Chart(figure, f"{words}. {NOT_MODELLED}", STILL, share)


def surface_round(inside, grid):
    """The surface round cells (nx, ny, nz) bool of a grid: vertices [mm], faces, at cell size."""
    from manifold3d import Manifold
    from scipy.ndimage import gaussian_filter, map_coordinates

    late = np.pad(inside.astype(float), 1)
    level = gaussian_filter(late, 0.7) - 0.5  # rounds the cells' corners
    cells = np.argwhere(late > 0)
    corner = grid.origin_mm - grid.cell_mm / 2  # centre of the first padded cell
    least, most = ((corner + end * grid.cell_mm).tolist() for end in (cells.min(0) - 1, cells.max(0) + 1))

    def height(*place):
        at = (np.array(place) - corner) / grid.cell_mm
        return float(map_coordinates(level, at[:, None], order=1, mode="nearest")[0])

    mesh = Manifold.level_set(height, [*least, *most], grid.cell_mm).to_mesh()
    return mesh.vert_properties[:, :3], mesh.tri_verts
