"""Boxes, cylinders and meshes as traces of pictures to turn: plain solids are (vertices (n, 3), faces (m, 3))."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK

MOST_FACETS = 20_000  # of one picture: more make turning it slow
# Without the two zeros plotly takes small facets for none, and leaves them dark.
LIGHT = {"ambient": 0.55, "diffuse": 0.7, "facenormalsepsilon": 0, "vertexnormalsepsilon": 0}
CORNERS = 28  # of a drawn circle
QUADS = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
BOX_FACES = np.array([t for a, b, c, d in QUADS for t in ((a, c, b), (a, d, c))])


def box(ends):
    """A box from its low and high corner (2, 3): (vertices, faces)."""
    ends = np.asarray(ends, dtype=float)
    pick = np.array([(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    return np.take_along_axis(ends, pick, axis=0), BOX_FACES


def cylinder(foot, base_d, top_d, height):
    """A frustum on foot (3,): (vertices, faces)."""
    turn = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(CORNERS)])
    vertices = np.vstack([ring * base_d / 2, ring * top_d / 2 + [0, 0, height], [[0, 0, 0], [0, 0, height]]]) + foot
    i, j = np.arange(CORNERS), np.roll(np.arange(CORNERS), -1)
    n = CORNERS
    sides = np.vstack([np.column_stack([i, j, j + n]), np.column_stack([i, j + n, i + n])])
    ends = np.vstack(
        [np.column_stack([j, i, np.full(n, 2 * n)]), np.column_stack([i + n, j + n, np.full(n, 2 * n + 1)])]
    )
    return vertices, np.vstack([sides, ends])


def joined(solids):
    """Several solids as one: (vertices, faces)."""
    if not solids:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=int)
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in solids[:-1])])
    return (
        np.vstack([vertices for vertices, _ in solids]),
        np.vstack([faces + start for (_, faces), start in zip(solids, starts, strict=True)]),
    )


def solid_trace(solid, colour, opacity, name):
    vertices, faces = solid
    x, y, z = vertices.T
    i, j, k = faces.T
    return go.Mesh3d(
        x=x, y=y, z=z, i=i, j=j, k=k, color=colour, opacity=opacity, flatshading=True, lighting=LIGHT,
        lightposition={"x": 4000, "y": 1000, "z": 3000}, name=name, hoverinfo="name",
    )  # fmt: skip


def edges_trace(boxes, colour):
    """The edges of boxes (2, 3) as one line trace."""
    path = np.array([0, 1, 3, 2, 0, 4, 5, 7, 6, 4, 5, 1, 3, 7, 6, 2])
    lines = [np.vstack([box(ends)[0][path], [[np.nan] * 3]]) for ends in boxes]
    x, y, z = np.vstack(lines).T
    return go.Scatter3d(x=x, y=y, z=z, mode="lines", line={"color": colour, "width": 3}, hoverinfo="skip")


def names_trace(names):
    """Names at places (3,) as one text trace."""
    x, y, z = np.array([place for _, place in names], dtype=float).T
    return go.Scatter3d(
        x=x,
        y=y,
        z=z,
        mode="text",
        text=[text for text, _ in names],
        textfont={"size": 13, "color": INK},
        hoverinfo="skip",
    )


def coarser(vertices, faces, most_facets):
    """A mesh to look at, of at most so many facets: vertices gathered in growing cells. Never compute on it.

    Returns: vertices (n, 3) [mm], faces (m, 3).
    """
    size = np.ptp(vertices, axis=0).max()
    for cells in (400, 200, 120, 80, 60, 45, 35, 25, 18, 12, 8, 5):
        if len(faces) <= most_facets:
            break
        corner = np.round((vertices - vertices.min(axis=0)) / size * cells).astype(np.int64)
        _, group = np.unique(corner @ [1, 1000, 1_000_000], return_inverse=True)
        number = np.bincount(group)
        vertices = np.stack([np.bincount(group, axis) / number for axis in vertices.T], axis=1)
        faces = group[faces]
        faces = faces[(np.diff(np.sort(faces, axis=1)) > 0).all(axis=1)]
        faces = np.unique(faces, axis=0)
    return vertices, faces
