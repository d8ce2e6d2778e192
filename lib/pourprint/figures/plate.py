"""A plate of printed nodes with their supports, as a picture to turn."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import LOOKS, Chart, counted, styled, tint
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, solid_trace
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.geometry import facets
from pourprint.process.packing import shelves
from pourprint.process.powder import nesting, supports
from pourprint.routes import printed_metal as route

COLOUR = LOOKS[route.NAME].colour
MOST_POSTS = 3000  # lines drawn for supports
VIEW = {"x": 1.3, "y": -1.5, "z": 1.1}


def plate_picture(job, rates, plate=1):
    """The first batch of a job nested on plates, with supports, as a picture to turn; all parts need a mesh.

    Parameters: `plate` which plate to show, from 1. Meshes and supports are drawn coarser than they are computed.
    Returns: Chart. Raises: InputError; Infeasible.
    """
    layout = route.lay_out(job, rates)
    for piece in layout.pieces:
        piece.item.part.needed_mesh("drawn on a plate")
    m = rates.section(route.NAME)
    kits = int(np.minimum(job.quantity, job.batch_size))
    pieces = [kind for kind, piece in enumerate(layout.pieces) for _ in range(kits * piece.item.count)]
    if len(pieces) > 4 * nesting.MOST_PIECES:
        raise InputError(f"the batch has {len(pieces)} pieces, a picture nests {4 * nesting.MOST_PIECES}: fewer kits.")
    shadows = [_scaled_shadow(piece) for piece in layout.pieces]
    places = nesting.nest(shadows, pieces, (m("plate_x"), m("plate_y")), m("plate_gap"))
    plates = 1 + max(place.plate for place in places)
    if not 1 <= plate <= plates:
        raise InputError(f"plate={plate!r} must be from 1 to {plates}: so many plates hold this batch.")
    shown = [place for place in places if place.plate == plate - 1]
    plain_plate = box([(0, 0, -8), (m("plate_x"), m("plate_y"), 0)])
    figure = go.Figure(solid_trace(plain_plate, "#C9CED4", 1.0, "plate"))
    lines = []
    for kind in sorted({place.piece for place in shown}):
        piece, mine = layout.pieces[kind], [place for place in shown if place.piece == kind]
        vertices, faces, held = _on_its_foot(piece, shadows[kind], m("lift"), MOST_FACETS // (len(shown) + 1))
        put = [(np.c_[place.put(vertices[:, :2]), vertices[:, 2]], faces) for place in mine]
        shade = tint(COLOUR, 0.25 + 0.5 * kind / max(1, len(layout.pieces) - 1))
        figure.add_trace(solid_trace(joined(put), shade, 1.0, piece.item.part.name))
        few = held[:: max(1, len(held) * len(shown) // MOST_POSTS)]
        lines += [np.c_[place.put(few[:, :2]), few[:, 2:]] for place in mine]
    posts = np.concatenate(lines)
    gap = np.full(len(posts), np.nan)
    u, v, low, high = posts.T
    x, y, z = (np.stack(ends, axis=1).ravel() for ends in ((u, u, gap), (v, v, gap), (low, high, gap)))
    figure.add_scatter3d(
        x=x,
        y=y,
        z=z,
        mode="lines",
        line={"color": "#8A6D3B", "width": 2},
        name="supports",
        hoverinfo="skip",
    )
    axes = {f"{axis}axis": {"title": f"{axis} [mm]", "nticks": 5} for axis in "xyz"}
    figure.update_layout(
        scene={"aspectmode": "data", **axes, "camera": {"eye": VIEW, "center": {"x": 0, "y": 0, "z": -0.12}}},
        title=f"Plate {plate} of {plates} holds {len(shown)} of {counted(len(pieces), 'piece')}; drag to turn",
    )
    table = layout.table()
    table.insert(0, "pieces here", [sum(place.piece == kind for place in shown) for kind in range(len(layout.pieces))])
    boxes = [(piece.standing.length_mm, piece.standing.width_mm) for piece in layout.pieces]
    by_boxes = shelves([boxes[kind] for kind in pieces], (m("plate_x"), m("plate_y")), m("plate_gap"))
    planned = int(layout.plates.per_batch(kits))
    return Chart(
        styled(figure, height=520),
        f"{counted(len(pieces), 'piece')} on {counted(plates, 'plate')}; laid out as rectangles in rows, "
        f"{by_boxes}; the plan counts {planned}.",
        f"A plate of {m('plate_x'):.0f} × {m('plate_y'):.0f} mm with {len(shown)} nodes standing on thin brown "
        f"lines, which are their supports; the tallest reaches {float(np.max(layout.height_mm)):.0f} mm.",
        table,
    )


def _scaled_shadow(piece):
    """The chosen shadow at the part's size."""
    shadow, part = piece.orientations.shadows[piece.index], piece.item.part
    factor = float(np.cbrt(part.volume_cm3 / part.shape.volume_cm3))
    return supports.Shadow(shadow.points_mm * factor, shadow.spacing_mm * factor, shadow.frame)


def _on_its_foot(piece, shadow, lift_mm, most_facets):
    """(vertices, faces, posts (n, 4) as u, v, from, to [mm]) of a piece as it stands, lifted over the plate."""
    vertices, faces = piece.item.part.mesh
    found = columns(vertices, faces, 2 * shadow.spacing_mm, shadow.frame[2])
    held, _ = supports.posts(facets(vertices, faces), found)
    points = np.asarray(vertices) @ shadow.frame.T
    up = lift_mm - points[:, 2].min()
    # Posts stand in the columns' own frame: through the part's axes into the shadow's.
    uv = (held.top_mm @ found.frame) @ shadow.frame.T
    foot = np.where(held.inner, held.foot_mm + up, 0.0)
    posts = np.c_[uv[:, :2], foot, uv[:, 2] + up]
    points, faces = coarser(np.add(points, (0, 0, up)), faces, most_facets)
    return points, faces, posts
