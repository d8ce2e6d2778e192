"""Boxes, cylinders and meshes, and pictures of them to turn: plain solids are (vertices (n, 3), faces (m, 3))."""

import numpy as np
import plotly.graph_objects as go

from pourprint.decide.inputs import rounded_up
from pourprint.figures.look import GREY, GROUND, INK
from pourprint.figures.strokes import canvas, plain
from pourprint.parts.meshes import simplified

MOST_FACETS = 20_000  # of one picture: more make turning it slow
# Without the two zeros plotly takes small facets for none, and leaves them dark.
LIGHT = {"ambient": 0.55, "diffuse": 0.7, "facenormalsepsilon": 0, "vertexnormalsepsilon": 0}
QUADS = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
BOX_FACES = np.array([t for a, b, c, d in QUADS for t in ((a, c, b), (a, d, c))])
WIDTH_PX = 475  # of a narrow page, without the names of axes
HALF_VIEW = np.tan(np.radians(22.5))  # plotly's camera sees 45° from top to bottom
LEAST_TALL = 0.5  # of the height asked for: what is flat takes less of the page
ROOM = 0.1  # of the longest side, on every side of what is drawn: for numbers and names of the axes


def box(ends):
    """A box from its low and high corner (2, 3): (vertices, faces)."""
    ends = np.asarray(ends, dtype=float)
    pick = np.array([(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    return np.take_along_axis(ends, pick, axis=0), BOX_FACES


def tube(ends, radii, sides=28):
    """A closed round bar between two points (2, 3) of a radius, or of one at each end (2,): (vertices, faces)."""
    from trimesh.creation import revolve
    from trimesh.geometry import align_vectors

    (foot, top), (low, high) = np.asarray(ends, dtype=float), np.broadcast_to(radii, 2)
    long = np.linalg.norm(top - foot)
    upright = revolve([(0, 0), (low, 0), (high, long), (0, long)], sections=sides)
    return upright.vertices @ align_vectors((0, 0, 1), top - foot)[:3, :3].T + foot, upright.faces


def joined(solids):
    """Several solids as one: (vertices, faces)."""
    from trimesh.util import append_faces

    if not solids:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=int)
    return append_faces(*zip(*solids, strict=True))


def solid_trace(solid, colour, opacity, name):
    """A solid as a trace."""
    vertices, faces = solid
    (x, y, z), (i, j, k) = np.transpose(vertices), np.transpose(faces)
    return go.Mesh3d(
        x=x, y=y, z=z, i=i, j=j, k=k, color=colour, opacity=opacity, flatshading=True, lighting=LIGHT,
        lightposition={"x": 4000, "y": 1000, "z": 3000}, name=plain(name), hoverinfo="name",
    )  # fmt: skip


def lines_trace(lines, colour, width=3, name="", dash="solid"):
    """Lines, each of points (n, 3), as one trace."""
    points = np.vstack([np.vstack([line, [[np.nan] * 3]]) for line in lines])
    x, y, z = points.T
    look = {"color": colour, "width": width, "dash": dash}
    return go.Scatter3d(x=x, y=y, z=z, mode="lines", line=look, name=name, hoverinfo="skip")


def edges_trace(boxes, colour):
    """The edges of boxes (2, 3) as one trace."""
    path = np.array([0, 1, 3, 2, 0, 4, 5, 7, 6, 4, 5, 1, 3, 7, 6, 2])
    return lines_trace([box(ends)[0][path] for ends in boxes], colour)


def picture(title, traces, way, height=480, names=(), axes="xyz"):
    """A picture to turn that fills its box; its solids and lines are named below the message, by their colours.

    Parameters: `title` the message; `traces` of solids and lines; `way` (3,) from which one looks; `height` at most
    [px]; `names` [(text, place (3,), (right, down) [px] of the words from it, or None)]; `axes` what they are called.
    Returns: go.Figure.
    """
    looks = {t.name: ("■", t.color) if t.type == "mesh3d" else ("━", t.line.color) for t in traces if t.name}
    shown = [f"<span style='color:{colour}'>{sign}</span> {name}" for name, (sign, colour) in looks.items()]
    lines = ["   ".join(shown[i : i + 4]) for i in range(0, len(shown), 4)]
    figure = canvas(title, height=height, key="<br>".join(lines) * (len(shown) > 1), l=0, r=0, b=0)
    figure.add_traces(traces)
    drawn = np.concatenate([np.c_[trace.x, trace.y, trace.z].astype(float) for trace in traces])
    low, high = np.nanmin(drawn, axis=0), np.nanmax(drawn, axis=0)
    size = np.maximum(high - low, 1e-9) / (high - low).max()
    room = box([[-0.5] * 3, [0.5] * 3])[0] * (size + np.array([2 * ROOM, 2 * ROOM, 0]))
    points = np.concatenate([((drawn - low) / np.maximum(high - low, 1e-9) - 0.5) * size, room])
    way, tall = np.asarray(way) / np.linalg.norm(way), height - figure.layout.margin.t
    tall *= max(_fitted(points, way, WIDTH_PX / tall)[2], LEAST_TALL)
    eye, centre, _ = _fitted(points, way, WIDTH_PX / tall)
    ticks = {"color": GREY, "gridcolor": "#B4B4B4", "showspikes": False}
    scene = {
        f"{axis}axis": {"title": {"text": f"{name} [mm]"}, "tickvals": _ticks(*ends, 2 + round(5 * length))} | ticks
        for axis, name, length, *ends in zip("xyz", axes, size, low, high, strict=True)
    }
    labels = []
    for text, place, off in names:
        pointer = {"showarrow": False} if off is None else {"ax": off[0], "ay": off[1], "arrowcolor": INK}
        look = {"text": text, "font": {"color": INK}, "bgcolor": GROUND} | pointer
        labels.append(dict(zip("xyz", map(float, place), strict=True)) | look)
    camera = {name: dict(zip("xyz", at, strict=True)) for name, at in (("eye", eye), ("center", centre))}
    scene |= {"aspectmode": "manual", "aspectratio": dict(zip("xyz", size, strict=True)), "camera": camera}
    return figure.update_layout(scene=scene | {"annotations": labels}, height=tall + figure.layout.margin.t)


def _ticks(low, high, most):
    """At most so many round numbers between two ends, clear of the corners, where two axes' numbers would meet."""
    step = rounded_up(max((high - low) / most, 0.01))
    clear = 0.08 * (high - low)
    return (step * np.arange(np.ceil((low + clear) / step), np.floor((high - clear) / step) + 1)).tolist()


def _fitted(points, way, wide):
    """Where plotly's camera stands (3,) and looks at (3,) so that points (n, 3) fill a box `wide` times its height, and
    the share of that height which they take."""
    right = np.cross((0, 0, 1), way) / np.hypot(*way[:2])
    frame, far, centre = np.array([right / wide, np.cross(way, right), way]), 3.0, np.zeros(3)
    for _ in range(8):
        across, up, near = frame @ (points - centre).T
        seen = np.stack([across, up]) / (far - near)
        ends = np.nanmin(seen, axis=1), np.nanmax(seen, axis=1)
        off = far * (ends[0] + ends[1]) / 2
        centre = centre + off[0] * wide * right + off[1] * frame[1]
        far *= np.max(ends[1] - ends[0]) / (2 * HALF_VIEW)
    return centre + far * way, centre, (ends[1] - ends[0])[1] / np.max(ends[1] - ends[0])


def coarser(vertices, faces, most_facets):
    """A mesh to look at, of at most so many facets if it is closed, simplified by growing steps. Never compute on it.

    Returns: vertices (n, 3) [mm], faces (m, 3).
    """
    for within_mm in np.ptp(vertices, axis=0).max() * np.geomspace(3e-4, 0.3, 16):
        if len(faces) <= most_facets:
            break
        fewer = simplified(vertices, faces, within_mm)
        if not len(fewer[1]):  # what does not close is drawn as it is
            break
        vertices, faces = fewer
    return vertices, faces
