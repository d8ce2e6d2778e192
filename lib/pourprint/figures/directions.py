"""A map of the directions in which something may stand or open, coloured by what each would cost."""

import numpy as np

from pourprint.figures.look import LOOKS, SCALE
from pourprint.figures.strokes import canvas, mark, write


def direction_map(title, directions, amounts, what, unit, chosen, lowest=-90):
    """All directions as dots at their angles, light where the amount is small; some of them marked and named.

    Parameters: `directions` (n, 3); `amounts` (n,) of `what` [`unit`]; `chosen` {name: (direction (3,), amount)}, the
    first drawn as a star; `lowest` angle [°] that is tried. Returns: go.Figure.
    """
    figure = canvas(title, "direction: round the part's z-axis [°]", "above its x-y plane [°]", 445)
    bar = {"title": {"text": what, "font": {"size": 13}}, "thickness": 14}
    scale = {"color": amounts, "colorscale": SCALE, "reversescale": True, "line": {"width": 0}, "colorbar": bar}
    said = f"%{{x:.0f}}° round, %{{y:.0f}}° above: %{{marker.color:.1f}} {unit}"
    mark(figure, *_angles(directions), size=13, hover=said, marker=scale)
    across, up = _angles([direction for direction, _ in chosen.values()])
    for (name, (_, amount)), x, y, symbol in zip(chosen.items(), across, up, ("star", "x-thin"), strict=True):
        mark(figure, [x], [y], LOOKS["printed_mould"].colour, symbol, 17, cliponaxis=False)
        # Words stand clear of the dots, above or below the map; of two neighbours the one goes left, the other right.
        edge = 118 if y > (lowest + 90) / 2 else lowest - 24
        side, dx = ("left", 15) if across.mean() <= x < 60 or x < -90 else ("right", -15)
        place = {"anchor": side, "arrow": (x + dx, edge), "axref": "x", "ayref": "y", "arrowhead": 0, "standoff": 8}
        write(figure, x, y, f"<b>{name} {amount:.1f} {unit}</b>", **place)
    figure.update_yaxes(range=[lowest - 34, 128], tickvals=np.arange(lowest, 91, 30))
    return figure.update_xaxes(range=[-190, 190], dtick=90)


def _angles(directions):
    """Angle round z and above the x-y plane [°] of directions (n, 3)."""
    x, y, z = np.asarray(directions).T
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arcsin(np.clip(z, -1, 1)))
