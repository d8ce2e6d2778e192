"""A plate of printed nodes with their supports, as a picture to turn."""

import numpy as np

from pourprint.figures.look import LOOKS, Chart, counted, tint
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, lines_trace, picture, solid_trace
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.geometry import facets
from pourprint.process.packing import shelves
from pourprint.process.powder import nesting, supports
from pourprint.routes import printed_metal as route

MOST_POSTS = 3000  # lines drawn for supports


def plate_picture(job, rates, plate=1):
    """The first batch of a job nested on plates, with supports, as a picture to turn; all parts need a mesh.

    Parameters: `plate` which plate to show, from 1. Meshes and supports are drawn coarser than they are computed.
    Returns: Chart. Raises: InputError; Infeasible.
    """
    layout = route.lay_out(job, rates)
    for piece in layout.pieces:
        piece.item.part.needed_mesh("drawn on a plate")
    m = rates.section(route.NAME)
    kits, kinds = int(np.minimum(job.quantity, job.batch_size)), range(len(layout.pieces))
    pieces = [kind for kind in kinds for _ in range(kits * layout.pieces[kind].item.count)]
    if len(pieces) > 4 * nesting.MOST_PIECES:
        raise InputError(f"the batch has {len(pieces)} pieces, a picture nests {4 * nesting.MOST_PIECES}: fewer kits.")
    shadows = [_scaled_shadow(piece) for piece in layout.pieces]
    room, gap = (m("plate_x"), m("plate_y")), m("plate_gap")
    places = nesting.nest(shadows, pieces, room, gap)
    plates = 1 + max(place.plate for place in places)
    if not 1 <= plate <= plates:
        raise InputError(f"plate={plate!r} must be from 1 to {plates}: so many plates hold this batch.")
    shown = [place for place in places if place.plate == plate - 1]
    traces, posts = [solid_trace(box([(0, 0, -8), (*room, 0)]), "#C9CED4", 1.0, "plate")], []
    for kind in sorted({place.piece for place in shown}):
        piece, mine = layout.pieces[kind], [place for place in shown if place.piece == kind]
        vertices, faces, held = _on_its_foot(piece, shadows[kind], m("lift"), MOST_FACETS // (len(shown) + 1))
        put = [(np.c_[place.put(vertices[:, :2]), vertices[:, 2]], faces) for place in mine]
        shade = tint(LOOKS[route.NAME].colour, 0.25 + 0.5 * kind / max(1, len(layout.pieces) - 1))
        traces.append(solid_trace(joined(put), shade, 1.0, piece.item.part.name))
        few = held[:: max(1, len(held) * len(shown) // MOST_POSTS)]
        posts += [np.c_[place.put(few[:, :2]), few[:, 2:]] for place in mine]
    upright = np.concatenate(posts)[:, [0, 1, 2, 0, 1, 3]].reshape(-1, 2, 3)
    traces.append(lines_trace(upright, "#8A6D3B", 2, "supports"))
    title = f"Plate {plate} of {plates} holds {len(shown)} of {counted(len(pieces), 'piece')}; drag to turn"
    table = layout.table()
    table.insert(0, "pieces here", [sum(place.piece == kind for place in shown) for kind in kinds])
    boxes = [(piece.standing.length_mm, piece.standing.width_mm) for piece in layout.pieces]
    by_boxes, planned = shelves([boxes[kind] for kind in pieces], room, gap), layout.plates.per_batch(kits)
    return Chart(
        picture(title, traces, (1.3, -1.5, 1.1), 520),
        f"{counted(len(pieces), 'piece')} on {counted(plates, 'plate')}; laid out as rectangles in rows, "
        f"{by_boxes}; the plan counts {int(planned)}.",
        f"A plate of {room[0]:.0f} × {room[1]:.0f} mm with {len(shown)} nodes standing on thin brown "
        f"lines, which are their supports; the tallest reaches {float(np.max(layout.height_mm)):.0f} mm.",
        table,
    )


def _scaled_shadow(piece):
    """The chosen shadow at the part's size."""
    shadow, part = piece.orientations.shadows[piece.index], piece.item.part
    factor = float(np.cbrt(part.volume_cm3 / part.shape.volume_cm3))
    return shadow.scaled(factor)


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
