"""Pictures of a casting as it freezes."""

import numpy as np

from pourprint.figures.look import METAL, SERIES, Chart
from pourprint.figures.solids import MOST_FACETS, picture, solid_trace
from pourprint.figures.strokes import canvas, line, mark, write
from pourprint.ledger.errors import InputError

SCALE = "Cividis"  # even steps to the eye, and to most colour-blind eyes
AXES = "xyz"
LATE = 0.9  # share of the metal that is solid when the rest is drawn as the last pool
SPOT, POOL = "#D55E00", "#E69F00"


def spots_table(freezing):
    """Hot spots as a pandas table, last to freeze first: place [mm], when frozen and cut off [s], pool [cm3]."""
    import pandas as pd

    rows = [(*spot.position_mm, spot.peak, spot.neck, spot.pool_cm3) for spot in freezing.spots]
    columns = ["x_mm", "y_mm", "z_mm", "frozen_s", "cut_off_s", "pool_cm3"]
    return pd.DataFrame(rows, columns=columns, index=pd.RangeIndex(1, len(rows) + 1, name="spot"))


def _pools(freezing):
    """What the hot spots mean for feeding, as a sentence."""
    others = len(freezing.spots) - 1
    if not others:
        return "No other place is cut off from there while it freezes."
    places = "One other place is" if others == 1 else f"{others} other places are"
    return f"{places} cut off from there before freezing and may be porous unless fed or chilled."


def freezing_slices(freezing, name="the part"):
    """Three sections through the last metal to freeze, coloured by the time at which each cell became solid.

    freezing: a Freezing. Numbered rings mark the hot spots that lie on a section. Returns: Chart.
    """
    grid, spots = freezing.grid, freezing.spots
    said = f"{name} freezes last {_where(spots[0])}, after {freezing.latest_s:.0f} s"
    places = [spot.position_mm for spot in spots]
    figure = sections(said, freezing.time_s, grid, np.array(places[0]), "solid after [s]", places)
    return Chart(
        figure,
        _pools(freezing),
        f"Three sections through the place that freezes last, on cells of {grid.cell_mm:.1f} mm; dark is early "
        f"({np.nanmin(freezing.time_s):.0f} s), light is late ({freezing.latest_s:.0f} s). Numbered rings mark the hot "
        "spots near each section.",
        spots_table(freezing),
    )


def sections(said, field, grid, at_mm, key, places, axes=AXES):
    """Three sections through a place, coloured by a field; numbered rings mark places near a section.

    Parameters: `said` the message; `field` (nx, ny, nz) nan outside the metal, on `grid`; `at_mm` (3,); `key` what the
    colours mean; `places` [(3,)] [mm]; `axes` what they are called. Returns: go.Figure.
    """
    metal = np.argwhere(~np.isnan(field))
    low, high = metal.min(0), metal.max(0) + 1
    values = field[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    edges = [grid.origin_mm[axis] + (np.arange(low[axis], high[axis]) + 0.5) * grid.cell_mm for axis in range(3)]
    planes = [(0, 1, 2), (0, 2, 1), (1, 2, 0)]  # across, up, and the axis cut
    figure = canvas(said, [f"{axes[across]} [mm]" for across, _, _ in planes], height=380)
    for panel, (across, up, cut) in enumerate(planes, 1):
        at = int(np.argmin(np.abs(edges[cut] - at_mm[cut])))
        figure.add_heatmap(
            x=edges[across],
            y=edges[up],
            z=np.take(values, at, axis=cut).T,
            coloraxis="coloraxis",
            hovertemplate=f"{axes[across]} %{{x:.0f}}, {axes[up]} %{{y:.0f}} mm: %{{z:.1f}} s<extra></extra>",
            row=1,
            col=panel,
        )
        seen = [i for i, place in enumerate(places) if abs(place[cut] - at_mm[cut]) <= 2 * grid.cell_mm]
        rings = [[places[i][axis] for i in seen] for axis in (across, up)]
        numbers = {"text": [f"<b>{i + 1}</b>" for i in seen], "textfont": {"color": SPOT, "size": 15}}
        numbers |= {"mode": "markers+text", "textposition": "top right", "cliponaxis": False}
        mark(figure, *rings, SPOT, "circle-open", 13, "place %{text}", panel, **numbers)
        for axis, update in ((across, figure.update_xaxes), (up, figure.update_yaxes)):
            ends = [edges[axis][0] - 8, edges[axis][-1] + 8]  # room for the numbers
            update(range=ends, constrain="domain", row=1, col=panel, matches=None)
        left = (panel - 1) * 0.37
        ratio = {"scaleanchor": f"y{panel if panel > 1 else ''}", "domain": [left, left + 0.26]}
        figure.update_xaxes(**ratio, nticks=4, row=1, col=panel)
        figure.update_yaxes(title_text=f"{axes[up]} [mm]", title_standoff=2, showticklabels=True, row=1, col=panel)
        words, paper = f"cut at {axes[cut]} = {_whole(at_mm[cut])} mm", {"xref": "paper", "yref": "paper"}
        write(figure, left + 0.13, 1.02, words, yanchor="bottom", **paper)
    bar = {"orientation": "h", "y": -0.3, "yanchor": "top", "thickness": 12, "len": 0.6}
    return figure.update_layout(
        coloraxis={"colorscale": SCALE, "colorbar": bar | {"title": {"text": key, "font": {"size": 13}}}},
        margin={"l": 55, "t": figure.layout.margin.t + 20, "b": 110},
    )


def _where(spot):
    return f"at ({', '.join(map(_whole, spot.position_mm))}) mm"


def _whole(number):
    """A number without decimals, and without the sign of a zero."""
    return f"{round(float(number))}".replace("-", "−")


def freezing_picture(freezing, part):
    """The part to turn, with the metal that is still liquid when a share `LATE` of it is solid, and the hot spots.

    freezing: a Freezing of the part. Returns: Chart. Raises: InputError for a part without a mesh.
    """
    vertices, faces = part.needed_mesh("drawn")
    solid_s = float(np.nanquantile(freezing.time_s, LATE))
    inner = surface_round(np.nan_to_num(freezing.time_s) > solid_s, freezing.grid)
    if len(faces) + len(inner[1]) > MOST_FACETS:
        raise InputError(
            f"{part.name} has {len(faces)} facets and its last pool {len(inner[1])}; a picture can turn {MOST_FACETS}: "
            "export a coarser mesh, or take larger cells, to look at."
        )
    traces = [solid_trace((vertices, faces), METAL, 0.25, part.name), solid_trace(inner, POOL, 0.85, "last pool")]
    names = [(f"<b>{i}: {s.peak:.0f} s</b>", s.position_mm, (28, -28)) for i, s in enumerate(freezing.spots, 1)]
    title = f"The last tenth of {part.name} to freeze, still liquid at {solid_s:.0f} s"
    return Chart(
        picture(title, traces, (1.1, 1.3, 0.8), 480, names),
        f"The rest is solid after {freezing.latest_s:.0f} s. {_pools(freezing)}",
        f"The part drawn as a clear solid; inside it, in orange, the metal that is still liquid at {solid_s:.0f} s. "
        "Arrows point at the hot spots, with the time at which each became solid.",
        spots_table(freezing),
    )


def surface_round(inside, grid):
    """The surface round cells (nx, ny, nz) bool of a grid: vertices [mm], faces, at cell size."""
    from manifold3d import Manifold
    from scipy.ndimage import gaussian_filter

    late = np.pad(inside.astype(float), 1)
    level = gaussian_filter(late, 0.7) - 0.5  # rounds the cells' corners
    cells = np.argwhere(late > 0)
    corner = grid.origin_mm - grid.cell_mm / 2  # centre of the first padded cell
    least, most = ((corner + end * grid.cell_mm).tolist() for end in (cells.min(0) - 1, cells.max(0) + 1))
    top = np.array(level.shape) - 2

    def height(x, y, z):
        at = np.clip((np.array([x, y, z]) - corner) / grid.cell_mm, 0, top + 0.999)
        i, j, k = at.astype(int)
        u, v, w = at - (i, j, k)
        box = level[i : i + 2, j : j + 2, k : k + 2]
        box = box[0] * (1 - u) + box[1] * u
        box = box[0] * (1 - v) + box[1] * v
        return float(box[0] * (1 - w) + box[1] * w)

    mesh = Manifold.level_set(height, [*least, *most], grid.cell_mm).to_mesh()
    return mesh.vert_properties[:, :3], mesh.tri_verts


def freezing_curves(runs, rule_s=None):
    """How much metal is solid over time, one line a run.

    runs: {where, such as "in sand": Freezing}, at most four. rule_s: {the same names: time [s] by the rule of the thick
    mould}, drawn as marks at the top; or None. Returns: Chart with a table of the times of each.
    """
    import pandas as pd

    if not 1 <= len(runs) <= len(SERIES):
        raise InputError(f"runs must hold 1 to {len(SERIES)} freezings, not {len(runs)}.")
    shares = np.linspace(0, 100, 101)
    curves = {label: np.nanpercentile(run.time_s, shares) for label, run in runs.items()}
    rows = {label: {"first_s": times[0], "half_s": times[50], "last_s": times[-1]} for label, times in curves.items()}
    for label, row in rows.items():
        row |= {"rule_s": float(rule_s[label])} if rule_s else {}
    table = pd.DataFrame(rows).T.rename_axis("run")
    slowest, quickest = table["last_s"].idxmax(), table["last_s"].idxmin()
    said = f"The last metal is solid after {table['last_s'].max():.0f} s {slowest}"
    if len(runs) > 1:
        said += f", {table['last_s'].max() / table['last_s'].min():.1f} times as long as {quickest}"
    figure = canvas(said, "time after the pour [s]", "metal that is solid [%]", 400)
    for i, ((label, times), (colour, dash)) in enumerate(zip(curves.items(), SERIES, strict=False)):
        line(figure, times, shares, colour, dash, name=label, hover=label + ", %{x:.0f} s: %{y:.0f} %")
        height = 35 + 15 * i  # of its name, so that names of like curves stand apart
        write(figure, times[height], height, label, colour, "left", dx=8, ground=True)
        if rule_s:
            hover = "V/A rule of the thick mould: %{x:.0f} s"
            mark(figure, [rule_s[label]], [100], colour, "x-thin", 13, hover, name=f"rule, {label}")
            write(figure, rule_s[label], 100, "V/A rule", colour, dy=14 + 15 * i)
    figure.update_xaxes(range=[0, 1.15 * table.to_numpy().max()]).update_yaxes(range=[0, 118])
    crosses = " Crosses at the top: what the rule of the thick mould says for the mean V/A." if rule_s else ""
    halves = ", ".join(f"{label} after {row['half_s']:.0f} s" for label, row in rows.items())
    return Chart(
        figure,
        f"Half of it is solid {halves}.",
        "The share of metal that is solid, rising from 0 to 100 % over time, one line a run, named beside it."
        + crosses,
        table,
    )
