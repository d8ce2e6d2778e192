"""Pictures of a casting as it freezes."""

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pourprint.figures.look import INK, Chart, styled
from pourprint.figures.solids import MOST_FACETS
from pourprint.ledger.errors import InputError

SCALE = "Cividis"  # even steps to the eye, and to most colour-blind eyes
AXES = "xyz"
LATE = 0.9  # share of the metal that is solid when the rest is drawn as the last pool
SPOT = "#D55E00"
DASHES = ("solid", "dash", "dot", "dashdot")
INKS = ("#0072B2", "#D55E00", "#009E73", "#AA4499")


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
        return "no other place is cut off from there while it freezes."
    places = "one other place is" if others == 1 else f"{others} other places are"
    return f"{places} cut off from there before freezing and may be porous unless fed or chilled."


def freezing_slices(freezing, name="the part"):
    """Three sections through the last metal to freeze, coloured by the time at which each cell became solid.

    freezing: a Freezing. Numbered rings mark the hot spots that lie on a section. Returns: Chart.
    """
    grid, spots = freezing.grid, freezing.spots
    metal = np.argwhere(~np.isnan(freezing.time_s))
    low, high = metal.min(0), metal.max(0) + 1
    times = freezing.time_s[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    edges = [grid.origin_mm[axis] + (np.arange(low[axis], high[axis]) + 0.5) * grid.cell_mm for axis in range(3)]
    last = np.array(spots[0].position_mm)
    planes = [(0, 1, 2), (0, 2, 1), (1, 2, 0)]  # across, up, and the axis cut
    titles = [f"cut at {AXES[cut]} = {_whole(last[cut])} mm" for _, _, cut in planes]
    gap = 0.15  # room for the axis titles on a narrow page
    figure = make_subplots(rows=1, cols=3, subplot_titles=titles, horizontal_spacing=gap)
    for column, (across, up, cut) in enumerate(planes, 1):
        at = int(np.argmin(np.abs(edges[cut] - last[cut])))
        section = np.take(times, at, axis=cut)
        figure.add_heatmap(
            x=edges[across],
            y=edges[up],
            z=section.T,
            coloraxis="coloraxis",
            hovertemplate=f"{AXES[across]} %{{x:.0f}}, {AXES[up]} %{{y:.0f}} mm: %{{z:.1f}} s<extra></extra>",
            row=1,
            col=column,
        )
        seen = [i for i, spot in enumerate(spots) if abs(spot.position_mm[cut] - last[cut]) <= 2 * grid.cell_mm]
        figure.add_scatter(
            x=[spots[i].position_mm[across] for i in seen],
            y=[spots[i].position_mm[up] for i in seen],
            mode="markers+text",
            text=[f"<b>{i + 1}</b>" for i in seen],
            textposition="top right",
            textfont={"color": SPOT, "size": 15},
            marker={"symbol": "circle-open", "size": 13, "color": SPOT, "line": {"width": 3}},
            hovertemplate="hot spot %{text}<extra></extra>",
            cliponaxis=False,
            row=1,
            col=column,
        )
        for axis, update in ((across, figure.update_xaxes), (up, figure.update_yaxes)):
            ends = [edges[axis][0] - 8, edges[axis][-1] + 8]  # room for the numbers
            update(title_text=f"{AXES[axis]} [mm]", range=ends, constrain="domain", row=1, col=column)
        figure.update_xaxes(scaleanchor="y" if column == 1 else f"y{column}", row=1, col=column)
        figure.update_yaxes(title_standoff=4, row=1, col=column)
    styled(figure, height=400)
    figure.update_annotations(font={"size": 13}, xanchor="center")
    centre = (1 - 2 * gap) / 6
    for annotation, x in zip(figure.layout.annotations, (centre, 0.5, 1 - centre), strict=True):
        annotation.x = x
    figure.update_layout(
        title=f"{name} freezes last {_where(spots[0])}, after {freezing.latest_s:.0f} s",
        coloraxis={"colorscale": SCALE, "colorbar": {"title": "solid<br>after [s]", "thickness": 14, "len": 0.9}},
        margin={"l": 60, "r": 20, "t": 90},
    )
    return Chart(
        figure,
        f"{name} is solid after {freezing.latest_s:.0f} s, last {_where(spots[0])}; {_pools(freezing)}",
        f"Three sections through the place that freezes last, on cells of {grid.cell_mm:.1f} mm; dark is early "
        f"({np.nanmin(times):.0f} s), light is late ({freezing.latest_s:.0f} s). Numbered rings mark the hot spots "
        "near each section.",
        spots_table(freezing),
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
    inner = _surface(freezing, solid_s)
    if len(faces) + len(inner[1]) > MOST_FACETS:
        raise InputError(
            f"{part.name} has {len(faces)} facets and its last pool {len(inner[1])}; a picture can turn {MOST_FACETS}: "
            "export a coarser mesh, or take larger cells, to look at."
        )
    figure = go.Figure()
    figure.add_trace(_mesh(vertices, faces, color="#9AA5B1", opacity=0.25))
    figure.add_trace(_mesh(*inner, color="#E69F00", opacity=0.85))
    spots = freezing.spots
    x, y, z = np.array([spot.position_mm for spot in spots]).T
    marker = {"size": 6, "color": SPOT, "symbol": "diamond"}
    figure.add_scatter3d(x=x, y=y, z=z, mode="markers", marker=marker, hoverinfo="skip")
    # Annotations stay readable where the drawing of the part would cover text in the scene.
    labels = [
        {"x": x, "y": y, "z": z, "text": f"<b>{i}: {spot.peak:.0f} s</b>", "ax": 28, "ay": -28, "arrowcolor": INK}
        for i, (x, y, z, spot) in enumerate(zip(x, y, z, spots, strict=True), 1)
    ]
    axes = {f"{axis}axis": {"title": f"{axis} [mm]"} for axis in AXES}
    figure.update_layout(
        scene={"aspectmode": "data", "camera": {"eye": {"x": 1.1, "y": 1.3, "z": 0.8}}, "annotations": labels, **axes},
        title=f"The last tenth of {part.name} to freeze, still liquid at {solid_s:.0f} s",
    )
    styled(figure, height=480).update_layout(margin={"l": 0, "r": 0, "t": 50, "b": 0})
    return Chart(
        figure,
        f"At {solid_s:.0f} s nine tenths of {part.name} are solid; the rest follows until {freezing.latest_s:.0f} s; "
        + _pools(freezing),
        f"The part drawn as a clear solid; inside it, in orange, the metal that is still liquid at {solid_s:.0f} s. "
        "Diamonds mark the hot spots, with the time at which each became solid.",
        spots_table(freezing),
    )


def _mesh(vertices, faces, **look):
    x, y, z = vertices.T
    i, j, k = faces.T
    lighting = {"ambient": 0.8, "diffuse": 0.6, "specular": 0.1}
    return go.Mesh3d(x=x, y=y, z=z, i=i, j=j, k=k, flatshading=True, lighting=lighting, hoverinfo="skip", **look)


def _surface(freezing, time_s):
    """The surface around all metal that is solid later than time_s [s]: vertices [mm], faces, at cell size."""
    from manifold3d import Manifold
    from scipy.ndimage import gaussian_filter

    grid = freezing.grid
    late = np.pad((np.nan_to_num(freezing.time_s) > time_s).astype(float), 1)
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

    if not 1 <= len(runs) <= len(DASHES):
        raise InputError(f"runs must hold 1 to {len(DASHES)} freezings, not {len(runs)}.")
    shares = np.linspace(0, 100, 101)
    figure, rows = go.Figure(), {}
    for (label, run), dash, ink in zip(runs.items(), DASHES, INKS, strict=False):
        times = np.nanpercentile(run.time_s, shares)
        figure.add_scatter(x=times, y=shares, mode="lines", line={"color": ink, "dash": dash, "width": 2.5}, name=label)
        figure.add_scatter(
            x=[times[50]],
            y=[50],
            mode="text",
            text=[f"  {label}"],
            textposition="middle right",
            textfont={"color": ink},
            hoverinfo="skip",
            cliponaxis=False,
        )
        rows[label] = {"first_s": times[0], "half_s": times[50], "last_s": times[-1]}
        if rule_s:
            rows[label]["rule_s"] = float(rule_s[label])
            figure.add_scatter(
                x=[rule_s[label]],
                y=[100],
                mode="markers+text",
                text=["  V/A rule"],
                textposition="middle right",
                textfont={"color": ink},
                marker={"symbol": "x-thin", "size": 13, "line": {"width": 3, "color": ink}},
                name=f"rule, {label}",
                hovertemplate="V/A rule of the thick mould: %{x:.0f} s<extra></extra>",
            )
    table = pd.DataFrame(rows).T.rename_axis("run")
    slowest, quickest = table["last_s"].idxmax(), table["last_s"].idxmin()
    most = table.to_numpy().max()
    figure.update_xaxes(title_text="time after the pour [s]", range=[0, 1.15 * most])
    figure.update_yaxes(title_text="metal that is solid [%]", range=[0, 105])
    said = f"The last metal is solid after {table['last_s'].max():.0f} s {slowest}"
    if len(runs) > 1:
        said += f", {table['last_s'].max() / table['last_s'].min():.1f} times as long as {quickest}"
    figure.update_layout(title=said)
    crosses = " Crosses at the top: what the rule of the thick mould says for the mean V/A." if rule_s else ""
    return Chart(
        styled(figure, height=380),
        said + ".",
        "The share of metal that is solid, rising from 0 to 100 % over time, one line a run, named at its middle."
        + crosses,
        table,
    )
