"""Sections through cells, and the surface round some of them: of a casting that fills and freezes."""

import numpy as np

from pourprint.figures.look import SCALE
from pourprint.figures.strokes import canvas, mark, write

SPOT, AXES = "#D55E00", "uvw"  # across and up in the mould


def sections(said, field, grid, at_mm, key, places):
    """Three sections through a place, coloured by a field; numbered rings mark places near a section.

    Parameters: `said` the message; `field` (nx, ny, nz) nan outside the metal, on `grid`; `at_mm` (3,); `key` what the
    colours mean; `places` [(3,)] [mm]. Returns: go.Figure.
    """
    metal = np.argwhere(~np.isnan(field))
    low, high = metal.min(0), metal.max(0) + 1
    values = field[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    edges = [grid.origin_mm[axis] + (np.arange(low[axis], high[axis]) + 0.5) * grid.cell_mm for axis in range(3)]
    planes = [(0, 1, 2), (0, 2, 1), (1, 2, 0)]  # across, up, and the axis cut
    figure = canvas(said, [f"{AXES[across]} [mm]" for across, _, _ in planes], height=380)
    for panel, (across, up, cut) in enumerate(planes, 1):
        at = int(np.argmin(np.abs(edges[cut] - at_mm[cut])))
        said = f"{AXES[across]} %{{x:.0f}}, {AXES[up]} %{{y:.0f}} mm: %{{z:.1f}} s<extra></extra>"
        cells, place = np.take(values, at, axis=cut).T, {"row": 1, "col": panel}
        figure.add_heatmap(x=edges[across], y=edges[up], z=cells, coloraxis="coloraxis", hovertemplate=said, **place)
        ring(figure, places, (across, up, cut), at_mm[cut], 2 * grid.cell_mm, panel)
        for axis, update in ((across, figure.update_xaxes), (up, figure.update_yaxes)):
            ends = [edges[axis][0] - 8, edges[axis][-1] + 8]  # room for the numbers
            update(range=ends, constrain="domain", row=1, col=panel, matches=None)
        left = (panel - 1) * 0.37
        ratio = {"scaleanchor": f"y{panel if panel > 1 else ''}", "domain": [left, left + 0.26]}
        figure.update_xaxes(**ratio, nticks=4, row=1, col=panel)
        figure.update_yaxes(title_text=f"{AXES[up]} [mm]", title_standoff=2, showticklabels=True, row=1, col=panel)
        words, paper = f"cut at {AXES[cut]} = {_whole(at_mm[cut])} mm", {"xref": "paper", "yref": "paper"}
        write(figure, left + 0.13, 1.02, words, yanchor="bottom", **paper)
    bar = {"orientation": "h", "y": -0.3, "yanchor": "top", "thickness": 12, "len": 0.6}
    return figure.update_layout(
        coloraxis={"colorscale": SCALE, "colorbar": bar | {"title": {"text": key, "font": {"size": 13}}}},
        margin={"l": 55, "t": figure.layout.margin.t + 20, "b": 110},
    )


def ring(figure, places, axes, at_mm, reach_mm, panel=None):
    """Numbered rings at places [(3,)] [mm] near a section: `axes` across, up and cut, the last at `at_mm`."""
    across, up, cut = axes
    seen = [i for i, place in enumerate(places) if abs(place[cut] - at_mm) <= reach_mm]
    rings = [[places[i][axis] for i in seen] for axis in (across, up)]
    numbers = {"text": [f"<b>{i + 1}</b>" for i in seen], "textfont": {"color": SPOT, "size": 15}}
    numbers |= {"mode": "markers+text", "textposition": "top right", "cliponaxis": False}
    mark(figure, *rings, SPOT, "circle-open", 13, "place %{text}", panel, **numbers)


def _whole(number):
    """A number without decimals, and without the sign of a zero."""
    return f"{round(float(number))}".replace("-", "−")


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
