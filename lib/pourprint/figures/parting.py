"""In which direction a printed mould opens, and what that hides."""

import numpy as np
import pandas as pd

from pourprint.figures.look import LOOKS, SCALE, Chart
from pourprint.figures.strokes import canvas, line, mark, write
from pourprint.ledger.errors import InputError


def parting_map(mould):
    """Every direction in which the mould could open, and how much it would hide from both halves.

    Parameters: `mould` a Mould of a part with a mesh. Returns: Chart. Raises: InputError without a mesh.
    """
    study = mould.study
    if not study.known:
        raise InputError(
            f"part {mould.part.name!r} has no mesh, so no direction could be tried; load it with from_mesh."
        )
    tried, hides = study.tried, study.tried_cm3
    chosen, worst_at = int(np.abs(tried @ study.frame[2]).argmax()), int(hides.argmax())
    best, worst = hides[chosen], hides[worst_at]
    x, y = _flat(tried)
    title = f"{mould.part.name}: cores fill {best:.0f} cm³ as the mould opens, {worst:.0f} cm³ at worst"
    figure, ring = canvas(title, height=500, l=20, b=20), np.linspace(0, 2 * np.pi, 90)
    line(figure, np.cos(ring), np.sin(ring), "#999999")
    scale = {"color": hides, "colorscale": SCALE, "cmin": 0, "line": {"color": "#777777", "width": 0.5}}
    said = "opening along (%{customdata[0]}, %{customdata[1]}, %{customdata[2]}) hides %{customdata[3]:.1f} cm³"
    data = np.column_stack([tried.round(2), hides])
    mark(figure, x, y, size=6 + 22 * hides / max(worst, 1e-9), hover=said, customdata=data, marker=scale)
    mark(figure, x[[chosen]], y[[chosen]], LOOKS["printed_mould"].colour, "circle-open", 34)
    for at, text in ((chosen, f"chosen: {best:.0f} cm³"), (worst_at, f"worst: {worst:.0f} cm³")):
        inner, side = abs(x[at]) < 0.5, 1 if x[at] >= 0 else -1
        arrow = (110 * side, -34) if inner else (45 * side, -90)  # no further out than a narrow page
        write(figure, x[at], y[at], text, arrow=arrow, standoff=16, ground=True)
    for name, *at in (("x", 1.2, 0), ("y", 0, 1.2), ("−x", -1.2, 0), ("−y", 0, -1.2)):
        write(figure, *at, name)
    write(figure, 0, 0, "z", arrow=(-40, 110), standoff=4)
    figure.update_xaxes(visible=False, range=[-1.3, 1.3])
    figure.update_yaxes(visible=False, range=[-1.3, 1.3], scaleanchor="x")
    way = ", ".join(f"{part:.2f}" for part in study.frame[2])
    table = pd.DataFrame(tried.round(3), columns=["x", "y", "z"]).assign(hidden_cm3=hides)
    return Chart(
        figure,
        f"It opens along ({way}), chosen among {len(tried)} directions tried.",
        "A map of half of all directions, seen from above: z in the middle, x to the right, y up, the horizon on the "
        "circle; a mould opens both ways, so the other half would repeat this one. Each dot is a direction tried, its "
        "size and shade the volume that metal would hide from both halves; the chosen one is ringed. Of "
        "directions that hide about the same, a straight one and then the lowest mould is taken.",
        table.sort_values("hidden_cm3").head(12),
    )


def _flat(directions):
    """Half a sphere on a disc of radius 1, areas kept: (x, y)."""
    w = np.clip(directions[:, 2], 0, 1)
    ring = np.hypot(directions[:, 0], directions[:, 1])
    scale = np.sqrt(1 - w) / np.where(ring > 0, ring, 1)
    return directions[:, 0] * scale, directions[:, 1] * scale
