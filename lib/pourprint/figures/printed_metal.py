"""Printed metal in pictures and charts: directions, the plate, layers, hours and roughness."""

import numpy as np
import pandas as pd

from pourprint.figures.directions import direction_map
from pourprint.figures.look import LOOKS, ON_FILL, PARTS, Chart, counted, sampled, tint
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, lines_trace, picture, solid_trace
from pourprint.figures.strokes import band, canvas, line, mark, write
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.geometry import facets
from pourprint.process.packing import shelves
from pourprint.process.powder import nesting, supports
from pourprint.process.powder.bed import layer_seconds
from pourprint.routes import printed_metal as route

COLOUR = LOOKS[route.NAME].colour
MOST_POINTS = 400  # of a curve
MOST_POSTS = 3000  # lines drawn for supports
HOURS = {  # of a kit: what is done → key of a Piece's hours
    "spread powder": "recoat", "melt the inside": "hatch", "run round the outlines": "contour",
    "saw from the plate": "cut", "take off supports": "removal",
}  # fmt: skip


# Directions -----------------------------------------------------------------------------------------------


def orientation_map(job, rates):
    """Hours of one piece of a job's first part over all directions that may point up, the chosen one marked.

    Returns: Chart. Raises: InputError.
    """
    piece = route.lay_out(job, rates).pieces[0]
    part, m, found = piece.item.part, rates.section(route.NAME), piece.orientations
    part.needed_mesh("turned to every direction")
    part_cm3 = part.volume_cm3 + piece.machining.stock_cm3
    scan = found.scan.scaled(_growth(part))
    hours, measured = (route.hours_of(stood, part_cm3, job, m).total for stood in (scan, found.standing))
    title = f"{part.name} takes {measured[piece.index]:.1f} h as chosen, {measured[0]:.1f} h as drawn, up to "
    title += f"{hours.max():.1f} h where blue"
    marked = {name: (found.directions[i], measured[i]) for name, i in (("chosen", piece.index), ("as drawn", 0))}
    figure = direction_map(title, found.tried, hours, "hours<br>a piece", "h", marked)
    stood = found.standing
    columns = {"height_mm": stood.height_mm, "support_cm3": stood.support_cm3, "on the plate [cm2]": stood.plate_cm2}
    ways = pd.Index([str(tuple(d.round(2).tolist())) for d in found.directions], name="up")
    table = pd.DataFrame({**columns, "inside [cm2]": stood.inner_cm2, "hours": measured}, index=ways)
    return Chart(
        figure,
        f"The chosen way up saves {measured[0] - measured[piece.index]:.1f} hours a piece against the part as drawn; "
        f"{len(hours)} directions were scanned.",
        "A map of all directions that may point up, coloured by hours a piece: printer (its share of spreading powder, "
        "and the laser), saw, and hands that take off supports, each hour counted alike. The map's hours are first "
        "estimates by projection, which sees no difference between supports on the plate and inside a bore; those of "
        "the marked directions come from ray columns, which do.",
        table.sort_values("hours"),
    )


# The plate -----------------------------------------------------------------------------------------------


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
    shadows = [piece.orientations.shadows[piece.index].scaled(_growth(piece.item.part)) for piece in layout.pieces]
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
        traces.append(solid_trace(joined(put), PARTS[kind % len(PARTS)], 1.0, piece.item.part.name))
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
        picture(title, traces, (0.7, -1.3, 2.2), 520),
        f"{counted(len(pieces), 'piece')} on {counted(plates, 'plate')}; as rectangles in rows they would "
        f"need {by_boxes}; the plan counts {int(planned)}.",
        f"A plate of {room[0]:.0f} × {room[1]:.0f} mm with {len(shown)} nodes standing on thin brown "
        f"lines, which are their supports; the tallest reaches {float(np.max(layout.height_mm)):.0f} mm.",
        table,
    )


def _growth(part):
    """How many times as long a part is as its shape was studied."""
    return float(np.cbrt(part.volume_cm3 / part.shape.volume_cm3))


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


# Layers and hours -----------------------------------------------------------------------------------------


def layer_times(job, rates):
    """Height [mm] and seconds for hatching, outline and spreading of every layer of a job's first part as printed.

    Supports are left out. Returns: four arrays (n,). Raises: InputError.
    """
    piece, m = route.lay_out(job, rates).pieces[0], rates.section(route.NAME)
    layer = route.layer_mm(job, m)
    heights, areas, outlines = piece.item.part.turned(piece.up).sections(layer)
    rate = job.alloy["laser_rate"] * m("layer_scale") / (1 + m("jump_share"))
    return heights, *layer_seconds(areas, outlines, layer, rate, m("contour_speed"), m("recoat"))


def layer_chart(job, rates):
    """What the seconds of each layer of a job's first part go to, over its height: Chart. Raises: InputError."""
    heights, hatch, outline, spread = layer_times(job, rates)
    name = job.kit.parts[0].part.name
    step, share = -(-len(heights) // MOST_POINTS), spread.sum() / (spread + hatch + outline).sum()
    title = f"Alone on a plate, {name} spends {share:.0%} of its time on spreading powder"
    figure = canvas(title, "height [mm]", "seconds a layer, one piece alone [s]", 395, zero="xy")
    bands = ("spread powder", spread, 0.75, "dot"), ("outline", outline, 0.5, "dash"), ("inside", hatch, 0.15, "solid")
    for word, seconds, white, dash in bands:
        area = {"stackgroup": "one", "fillcolor": tint(COLOUR, white), "name": word}
        said = f"{word}: %{{y:.1f}} s at %{{x:.1f}} mm"
        line(figure, heights[::step], seconds[::step], COLOUR, dash, 1.5, said, **area)
    low, widest = float(spread[0]), int(np.argmax(hatch))
    write(figure, heights[len(heights) // 2], low / 2, "spread powder", ON_FILL)
    write(figure, heights[widest], low + outline[widest] + hatch[widest] / 2, "melt the inside", ON_FILL)
    write(figure, heights[0], low, "thin band: outlines", ON_FILL, "left", dx=4, dy=-9)
    table = pd.DataFrame({"height_mm": heights, "inside_s": hatch, "outline_s": outline, "spread_s": spread})
    return Chart(
        figure,
        f"{len(heights)} layers: {spread.sum() / 3600:.1f} h of spreading, {hatch.sum() / 3600:.1f} h inside, "
        f"{outline.sum() / 3600:.1f} h of outlines. More pieces on the plate share the spreading.",
        f"Three bands over the height from 0 to {heights[-1]:.0f} mm, stacked: the lowest, spreading powder, is the "
        "same for every layer; outlines are a thin band on it; the uppermost follows the area of each section.",
        sampled(table).set_index("height_mm"),
    )


def hours_of_a_kit(plan):
    """{what: hours a kit [h]} of a Plan of this route, in the order of work."""
    layout = route.lay_out(plan.job, plan.rates)
    return {
        words: sum(piece.item.count * float(getattr(piece.hours, key)) for piece in layout.pieces)
        for words, key in HOURS.items()
    }


# Roughness ------------------------------------------------------------------------------------------------


def roughness_chart(job, rates):
    """Roughness of a printed surface by its slope, with the share of stairs. Returns: Chart. Raises: InputError."""
    layer_um = 1000 * route.layer_mm(job, rates.section(route.NAME))
    slope = np.arange(-90.0, 91.0, 5.0)
    added = (rates["roughness.particles"], rates["roughness.dross"])
    ra, stairs = supports.roughness_um(slope, layer_um, *added), supports.roughness_um(slope, layer_um, 0.0, 0.0)
    title = f"Surfaces that look down come out roughest ({layer_um:.0f} µm layers)"
    axes = ("looking down ← slope against the plate [°] → looking up", "roughness Ra [µm]")
    figure = canvas(title, *axes, 395)
    band(figure, -45, 0)
    down = float(supports.roughness_um(-1e-9, layer_um, *added))  # at 0° what looks down ends, and what looks up begins
    broken = [np.insert(values, 18, ends) for values, ends in ((slope, (0, 0)), (ra, (down, np.nan)))]
    line(figure, *broken, COLOUR, width=3, hover="%{x:.0f}°: %{y:.0f} µm")
    line(figure, slope, stairs, COLOUR, "dash", 2)
    mark(figure, [0], [added[0]], COLOUR, "circle-open", 10, "flat, looking up: %{y:.0f} µm")
    write(figure, 0, added[0], "a flat top<br>has no stairs", anchor="left", dx=10, align="left")
    write(figure, -97, ra.max(), "stairs, sintered powder<br>and sagging", anchor="left", align="left")
    write(figure, 20, ra[22], "stairs and<br>sintered powder", anchor="left", dx=20, dy=20)
    write(figure, -22.5, stairs[13], "stairs of the<br>layers alone", dy=-26)
    write(figure, -22.5, 2, "needs<br>supports", dy=8)
    figure.update_xaxes(tickvals=[-90, -45, 0, 45, 90], ticktext=["90, upright", "45", "flat", "45", "90, upright"])
    figure.update_xaxes(range=[-100, 100])
    return Chart(
        figure.update_yaxes(range=[0, 1.15 * ra.max()]),
        f"An upright wall comes out at about {ra[0]:.0f} µm Ra, a slope of 45° looking up at {ra[-10]:.0f}, looking "
        f"down at {ra[9]:.0f}.",
        "A curve of roughness over the slope of the surface: lowest for upright walls at both ends, rising to the "
        "middle, and higher on the side that looks down; a ring at 0° is a flat top, which has no "
        "stairs. Stairs are exact for sharp steps; the rest is from memory.",
        pd.DataFrame({"slope_deg": slope, "Ra_um": ra, "stairs_um": stairs}).iloc[::3].set_index("slope_deg"),
    )
