"""Pictures of the printed mould: opened, packed, how much sand stands round how much metal; how it opens and fills."""

import numpy as np
import pandas as pd

from pourprint.figures.directions import direction_map
from pourprint.figures.look import LOOKS, METAL, ON_FILL, PARTS, SAND, Chart, counted, tint
from pourprint.figures.solids import MOST_FACETS, box, edges_trace, joined, picture, solid_trace, tube
from pourprint.figures.strokes import bars, canvas, line, write
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.packing import packed
from pourprint.process.sand.parting import hidden_of
from pourprint.routes.pouring import plan_rigging
from pourprint.routes.printed_mould import job_box_mm, moulds_of

CORE, PLANE = (LOOKS[route].colour for route in ("printed_mould", "printed_metal"))  # green, of every such picture
OTHER_FACETS, BOX_FACETS = 400, 12  # feeder, sprue, sand; and one column of a core
CORE_BOXES = 700
NO_HEIGHTS = {"showticklabels": False, "title": {"text": "w, the upper half lifted"}}


def opened_mould(mould):
    """The mould with its upper half lifted: casting, cores, feeder, sprue and the parting plane.

    Parameters: `mould` a Mould of a part with a mesh. Returns: Chart. Raises: InputError without a mesh, or with too
    many facets to turn.
    """
    vertices, faces = mould.part.needed_mesh("drawn in its mould")
    study, block, (wall, top_d, base_d, gate, sprue_v) = mould.study, mould.block_mm, _sprue(mould)
    room = (MOST_FACETS - OTHER_FACETS - len(faces)) // BOX_FACETS
    if room < 50:
        raise InputError(
            f"{mould.part.name} has {len(faces)} facets, too many to turn: export a coarser mesh to look at."
        )
    feeders, u = plan_rigging(mould).feeders, mould.hot_mm[0]
    low, parting, lift = mould.room_mm[0] - wall, study.parting_mm, 0.45 * block[2]
    drag = np.array([low, [low[0] + block[0], low[1] + block[1], parting]])
    cope = np.array([[*low[:2], parting], low + block]) + np.array([0, 0, lift])
    roof, reach, split = study.high_mm[2] + lift, study.high_mm[1], parting + lift
    metal = [
        *(feeder_tube(one, roof) for one in feeders),
        tube([(u, sprue_v, split), (u, sprue_v, cope[1, 2])], (base_d / 2, top_d / 2)),
        box([[u - gate / 2, reach, split], [u + gate / 2, sprue_v, split + gate]]),
    ]
    traces = [
        solid_trace((vertices @ study.frame.T, faces), METAL, 0.45, "casting"),
        solid_trace(joined(metal), tint(METAL, 0.5), 1.0, "feeder, sprue and gate"),
        solid_trace(_core_boxes(mould, min(room, CORE_BOXES)), CORE, 1.0, "cores"),
        solid_trace(joined([box(drag), box(cope)]), SAND, 0.16, "sand"),
        solid_trace(box([[*drag[0, :2], parting - 0.2], [*drag[1, :2], parting]]), PLANE, 0.25, "parting plane"),
        edges_trace([drag, cope], "#7A6A3A"),
    ]
    names = [
        ("lower half", [*drag[0, :2], (low[2] + parting) / 2], None),
        ("upper half, lifted", [cope[1, 0], cope[0, 1], cope[0, 2]], None),
        *(("feeder", [*one.at_mm, roof + one.height_mm], (30, -20)) for one in feeders),
        ("sprue", [u, sprue_v, cope[1, 2]], (30, -20)),
        ("parting plane", [drag[1, 0], drag[0, 1], parting], None),
    ]
    many = counted(len(feeders), "feeder")
    title = f"{mould.part.name}: {counted(mould.cores, 'core')} (orange), {many}, one sprue; drag to turn"
    sizes = " × ".join(f"{side:.0f}" for side in block)
    return Chart(
        picture(title, traces, (-1.95, -1.85, 1.05), 560, names, axes="uvw").update_scenes(zaxis=NO_HEIGHTS),
        f"A sand block of {sizes} mm and {mould.mass_kg:.1f} kg with its metal makes a casting of "
        f"{mould.part.volume_cm3:.0f} cm³; what neither half shows, {mould.core_cm3:.0f} cm³, takes "
        f"{counted(mould.cores, 'core')}.",
        f"The lower half of the mould as a see-through box with the casting in it, its upper half lifted by "
        f"{lift:.0f} mm with {many} and the sprue; cores drawn as the rays see them, in small "
        "square columns. The green plane is the flat parting; where the casting's outline leaves it, the real "
        "parting steps up or down.",
        mould_table([mould]).T,
    )


def mould_table(moulds):
    """The sizes of moulds as a pandas table, one row a part: metal, feeder, gating, cores, block, sand."""
    rows = [
        {
            "part": m.part.name, "casting [cm³]": m.part.volume_cm3, "machining stock [cm³]": m.stock_cm3,
            "feeder diameter [mm]": m.feeder.diameter_mm, "feeder height [mm]": m.feeder.height_mm,
            "its modulus over the part's [-]": m.feeder.modulus_mm / m.modulus_mm,
            "head over the gate [mm]": m.gating.head_mm, "sprue top [mm²]": m.gating.top_mm2,
            "sprue foot [mm²]": m.gating.choke_mm2, "speed at the sprue's foot [m/s]": m.gating.base_m_s,
            "ingate [mm²]": m.gating.ingate_mm2,
            "speed in the ingate [m/s]": m.gating.flow_cm3_s / m.gating.ingate_mm2,
            "time to fill [s]": m.gating.pour_s, "feeders [-]": m.feeders, "feeders [cm³]": m.feeder_cm3,
            "necks [cm³]": m.neck_cm3, "cast solid, bored out [cm³]": m.hollow_cm3,
            "sprue and gate [cm³]": m.gating.volume_cm3, "metal poured [kg]": m.metal_kg,
            "casting yield [-]": m.casting_yield, "cores [-]": m.cores, "cores [cm³]": m.core_cm3,
            **{f"block {axis} [mm]": m.block_mm[..., i] for i, axis in enumerate("uvw")}, "sand [kg]": m.sand_kg,
            "sand to metal [-]": m.sand_kg / m.metal_kg,
        }
        for m in moulds
    ]  # fmt: skip
    return pd.DataFrame(rows).set_index("part").astype(float).round(2)


def sand_bars(moulds):
    """Sand, metal poured and casting of each part by mass, one bar each: the sand-to-metal ratio at a glance."""
    moulds = sorted(moulds, key=lambda m: -float(m.sand_kg))
    names = [m.part.name for m in moulds]
    rows = {
        "sand": ([float(m.sand_kg) for m in moulds], SAND, "/"),
        "metal poured": ([float(m.metal_kg) for m in moulds], METAL, ""),
        "casting": ([float(m.metal_kg * m.casting_yield) for m in moulds], tint("#222222", 0.5), "x"),
    }
    sand, metal, cast = (sum(kilograms) for kilograms, _, _ in rows.values())
    ratios = np.divide(rows["sand"][0], rows["metal poured"][0])
    title = f"A kilogram poured takes {ratios.min():.0f} to {ratios.max():.0f} kg of printed sand"
    figure = canvas(title, "one piece of each [kg]", rows=names, row_px=64, r=120)
    for name, (kilograms, colour, hatch) in rows.items():
        bars(figure, kilograms, names, colour, hatch, [f"{name} {kg:.2f}" for kg in kilograms], name=name)
    figure.update_layout(barmode="group", bargap=0.25)
    return Chart(
        figure,
        f"Sand to metal by mass is {sand / metal:.1f}, one of each; sand to finished casting is {sand / cast:.0f}.",
        "Three bars a part: bonded sand of its mould and cores, metal poured with feeder and gates, and the casting "
        "alone, in kilograms.",
        mould_table(moulds)[["metal poured [kg]", "sand [kg]", "sand to metal [-]", "casting yield [-]"]],
    )


def job_boxes(job, rates):
    """The job's mould blocks, all kits, as they lie in the printer's job boxes, box beside box.

    Parameters: `job` of a single quantity; `rates` RateCard. Returns: Chart. Raises: Infeasible.
    """
    moulds, pieces = moulds_of(job, rates), job.kit.counts * int(job.quantity)
    blocks_mm = np.repeat([one.block_mm for one in moulds], pieces, axis=0)
    names = np.repeat([one.part.name for one in moulds], pieces)
    space_mm, gap_mm = job_box_mm(rates), rates["printed_mould.block_gap"]
    found = packed(blocks_mm, space_mm, gap_mm)
    step, count, traces = np.array([1.15 * space_mm[0], 0, 0]), int(found.box.max()) + 1, []
    kinds = list(dict.fromkeys(names))
    for k, kind in enumerate(kinds):
        mine = names == kind
        low = found.corner_mm[mine] + found.box[mine, None] * step
        ends = np.stack([low, low + found.sides_mm[mine]], axis=1)
        traces.append(solid_trace(joined([*map(box, ends)]), PARTS[k % len(PARTS)], 1.0, kind))
        traces.append(edges_trace(ends, "#444444"))
    spaces = [np.array([n * step, n * step + space_mm]) for n in range(count)]
    traces.append(edges_trace(spaces, "#777777"))
    labels = [(f"box {n + 1}", [*space.mean(axis=0)[:2], space_mm[2]], None) for n, space in enumerate(spaces)]
    tall = found.corner_mm[..., 2] + found.sides_mm[..., 2]
    last, density = tall[found.box == count - 1].max(), np.prod(blocks_mm, axis=-1).sum() / found.filled
    boxed = counted(count, "job box", "es")
    along = {"showticklabels": False, "title": {"text": f"x, {space_mm[0]:.0f} mm a box"}}
    title = f"{counted(len(names), 'mould block')} in {boxed}; drag to turn"
    table = pd.DataFrame({"block": names, "box": found.box + 1})
    return Chart(
        picture(title, traces, (0.7, -2.5, 1.7), 380, labels).update_scenes(xaxis=along),
        f"Blocks fill {density / np.prod(space_mm):.0%} of the room used in boxes; the last box is printed up to "
        f"{last:.0f} of {space_mm[2]:.0f} mm.",
        f"{boxed}, side by side where there are more, as edges, with the mould blocks of "
        f"{', '.join(kinds)} as solid boxes, one colour a part.",
        pd.crosstab(table["box"], table["block"]),
    )


def _core_boxes(mould, most):
    """The cores as at most so many square columns, as rays see them, in the mould's frame: (vertices, faces)."""
    vertices, faces = mould.part.mesh
    frame, spacing = mould.study.frame, mould.part.box_mm.max() / 48
    while True:
        seen = columns(vertices, faces, spacing, frame[2])
        kept = hidden_of(seen)[0] < mould.cores  # the largest come first
        if kept.sum() <= most:
            break
        spacing *= 1.2
    column, start, end = (each[kept] for each in seen.gaps)
    corner = seen.origin_mm + np.column_stack(np.divmod(column, seen.shape[1])) * seen.spacing_mm
    low, high = np.column_stack([corner, start]), np.column_stack([corner + seen.spacing_mm, end])
    points, triangles = joined([box(ends) for ends in np.stack([low, high], axis=1)])
    return points @ seen.frame @ frame.T, triangles


# How it opens, and how the metal comes in -----------------------------------------------------------------


def parting_map(mould):
    """Every direction in which the mould could open, and how much it would hide from both halves.

    Parameters: `mould` a Mould of a part with a mesh. Returns: Chart. Raises: InputError without a mesh.
    """
    study = mould.study
    if not study.known:
        raise InputError(
            f"part {mould.part.name!r} has no mesh, so no direction could be tried; load it with from_mesh."
        )
    tried, hides = study.tried * np.where(study.tried[:, 2:] < 0, -1, 1), study.tried_cm3  # it opens both ways
    chosen, worst_at = int(np.abs(tried @ study.frame[2]).argmax()), int(hides.argmax())
    best, worst = hides[chosen], hides[worst_at]
    title = f"{mould.part.name}: {best:.0f} cm³ are hidden as the mould opens, {worst:.0f} cm³ at worst"
    marked = {"chosen": (tried[chosen], best), "worst": (tried[worst_at], worst)}
    figure = direction_map(title, tried, hides, "hidden<br>[cm³]", "cm³", marked, lowest=0)
    way = ", ".join(f"{part:.2f}" for part in study.frame[2])
    table = pd.DataFrame(tried.round(3), columns=["x", "y", "z"]).assign(hidden_cm3=hides)
    return Chart(
        figure,
        f"It opens along ({way}), of {len(tried)} directions tried. The least that one hides is {hides.min():.1f} cm³; "
        "of those that hide about as little a straight one is taken, for the lowest mould.",
        "A map of the upper half of all directions: a mould opens both ways, so the lower half would repeat it. Each "
        "dot is a direction tried, the darker the more metal would hide from both halves; a star marks the chosen one.",
        table.sort_values("hidden_cm3").head(12),
    )


def gating_sketch(mould):
    """Side view of sprue, ingate, cavity and feeder with their sizes, to scale but for the cavity's shape."""
    way, study, (wall, top_d, base_d, gate, sprue) = mould.gating, mould.study, _sprue(mould)
    below, above = (abs(float(end[2] - study.parting_mm)) for end in (study.low_mm, study.high_mm))
    head, feeders = float(way.head_mm), plan_rigging(mould).feeders
    depth = float(mould.rates["gating.basin_depth"])
    left, floor = float(mould.room_mm[0][1]) - wall, -below - wall
    right = left + float(mould.block_mm[1])
    start, end = float(study.low_mm[1]), float(study.high_mm[1])
    narrow = [(sprue + base_d / 2, 0), (sprue + top_d / 2, head - depth), (sprue + top_d / 2 + 8, head)]
    outlines = {
        "sand": (SAND, _rectangle(left, right, floor, head)),
        "casting": (METAL, _rectangle(start, end, -below, above)),
        "sprue": (tint(METAL, 0.3), [*narrow, *((2 * sprue - x, y) for x, y in reversed(narrow))]),
        "ingate": (tint(METAL, 0.3), _rectangle(end, sprue, 0, gate)),
    }
    for i, (low, high) in enumerate((one.room_mm for one in feeders), start=1):
        outlines[f"feeder {i}"] = tint(METAL, 0.3), _rectangle(low[1], high[1], above, above + high[2] - low[2])
    title = f"{mould.part.name}: {mould.metal_kg:.2f} kg is to fill the mould in {way.pour_s:.1f} s"
    figure = canvas(title, "across the mould [mm]", "above the parting plane [mm]", 460, r=60)
    for name, (colour, corners) in outlines.items():
        x, y = zip(*corners, corners[0], strict=True)
        line(figure, x, y, "#444444", width=1, fill="toself", name=name, fillcolor=colour)
    line(figure, [left, right], [0, 0], PLANE, "dash", 2)
    in_gate = way.flow_cm3_s / way.ingate_mm2
    write(figure, (start + end) / 2, -below / 2, "casting<br>(its box)", ON_FILL)
    for i, one in enumerate(feeders):
        size = f"feeder<br>{one.diameter_mm:.0f} × {one.height_mm:.0f} mm"
        side, words = (float(one.room_mm[0][1]), above + one.height_mm / 2), (left - 8, (0.8 - 0.3 * i) * head)
        write(figure, *side, size, anchor="right", arrow=words, axref="x", ayref="y")
    for x, y, text, height in (
        (sprue + top_d / 2, head - depth, f"sprue, top<br>Ø {top_d:.1f} mm", 0.9 * head),
        (sprue + base_d / 2, gate, f"sprue, foot<br>Ø {base_d:.1f} mm<br>{way.base_m_s:.2f} m/s", 0.4 * head),
        ((end + sprue) / 2, gate / 2, f"ingate<br>{way.ingate_mm2:.0f} mm²<br>{in_gate:.2f} m/s", -0.25 * head),
    ):
        write(figure, x, y, text, anchor="left", arrow=(right + 8, height), axref="x", ayref="y", align="left")
    write(figure, left, 0, "parting<br>plane", anchor="right", dx=-6)
    room = 0.5 * (right - left)
    # Else plotly would widen the ends of an axis, and widen the widened ones at each new size of the window.
    figure.update_xaxes(range=[left - room, right + room], constrain="domain")
    figure.update_yaxes(scaleanchor="x", range=[floor - 5, head + 5], constrain="domain")
    return Chart(
        figure,
        f"Metal falls {head:.0f} mm and reaches {way.base_m_s:.1f} m/s at the sprue's foot; the ingate must be "
        f"{way.ingate_mm2 / way.choke_mm2:.1f} times as large as the foot to let it in at {in_gate:.2f} m/s.",
        "Side view through the mould: the casting as a plain box, its feeders standing on it, the sprue beside it "
        "narrowing downwards, and the ingate between them on the parting plane.",
        mould_table([mould]).T,
    )


def feeder_tube(stand, foot_mm):
    """A feeder that stands at `foot_mm`, to turn: (vertices, faces)."""
    ends = [(*stand.at_mm, foot_mm), (*stand.at_mm, foot_mm + stand.height_mm)]
    return tube(ends, stand.diameter_mm / 2)


def _sprue(mould):
    """Wall of sand beside the casting, diameters of the round sprue at top and foot, side of the square ingate, and
    where the sprue stands across the mould [mm]."""
    way, block, (low, _) = mould.gating, mould.block_mm, mould.room_mm
    wall = float(mould.rates["printed_mould.wall"])
    top, foot = (float(np.sqrt(4 / np.pi * area)) for area in (way.top_mm2, way.choke_mm2))
    return wall, top, foot, float(np.sqrt(way.ingate_mm2)), float(low[1] - wall + block[1]) - wall - top / 2


def _rectangle(left, right, low, high):
    return [(left, low), (right, low), (right, high), (left, high)]
