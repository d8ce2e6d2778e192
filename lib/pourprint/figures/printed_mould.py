"""Pictures of the printed mould: opened, packed, and how much sand stands round how much metal."""

import numpy as np
import pandas as pd

from pourprint.figures.gating import PLANE, feeder_tube, round_sizes, wall_of
from pourprint.figures.look import LOOKS, METAL, PARTS, SAND, Chart, counted, tint
from pourprint.figures.solids import MOST_FACETS, box, edges_trace, joined, picture, solid_trace, tube
from pourprint.figures.strokes import bars, canvas
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.packing import packed
from pourprint.process.sand.parting import hidden_of
from pourprint.routes.pouring import plan_rigging
from pourprint.routes.printed_mould import job_box_mm, moulds_of

CORE = LOOKS["printed_mould"].colour
OTHER_FACETS, BOX_FACETS = 400, 12  # feeder, sprue, sand; and one column of a core
CORE_BOXES = 700


def opened_mould(mould):
    """The mould with its upper half lifted: casting, cores, feeder, sprue and the parting plane.

    Parameters: `mould` a Mould of a part with a mesh. Returns: Chart. Raises: InputError without a mesh, or with too
    many facets to turn.
    """
    vertices, faces = mould.part.needed_mesh("drawn in its mould")
    study, block, wall = mould.study, mould.block_mm, wall_of(mould)
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
    top_d, base_d = round_sizes(mould.gating)
    sprue_v, gate = drag[1, 1] - wall - top_d / 2, np.sqrt(mould.gating.ingate_mm2)
    metal = [
        *(feeder_tube(one, roof) for one in feeders),
        tube([(u, sprue_v, split), (u, sprue_v, cope[1, 2])], (base_d / 2, top_d / 2)),
        box([[u - gate / 2, reach, split], [u + gate / 2, sprue_v, split + gate]]),
    ]
    traces = [
        solid_trace((vertices @ study.frame.T, faces), METAL, 0.45, "casting"),
        solid_trace(joined(metal), METAL, 1.0, "feeder, sprue and gate"),
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
        picture(title, traces, (-1.95, -1.85, 1.05), 560, names, axes="uvw"),
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
            "part": m.part.name,
            "casting [cm³]": m.part.volume_cm3,
            "machining stock [cm³]": m.stock_cm3,
            "feeder diameter [mm]": m.feeder.diameter_mm,
            "feeder height [mm]": m.feeder.height_mm,
            "sprue base [mm²]": m.gating.choke_mm2,
            "ingate [mm²]": m.gating.ingate_mm2,
            "feeders [-]": m.feeders,
            "feeders [cm³]": m.feeder_cm3,
            "necks [cm³]": m.neck_cm3,
            "cast solid, bored out [cm³]": m.hollow_cm3,
            "sprue and gate [cm³]": m.gating.volume_cm3,
            "metal poured [kg]": m.metal_kg,
            "casting yield [-]": m.casting_yield,
            "cores [-]": m.cores,
            "cores [cm³]": m.core_cm3,
            **{f"block {axis} [mm]": m.block_mm[..., i] for i, axis in enumerate("uvw")},
            "sand [kg]": m.sand_kg,
            "sand to metal [-]": m.sand_to_metal,
        }
        for m in moulds
    ]
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
    title = f"Every kilogram poured takes {sand / metal:.0f} kg of printed sand"
    figure = canvas(title, "mass of one piece [kg]", rows=names, r=120)
    for name, (kilograms, colour, hatch) in rows.items():
        bars(figure, kilograms, names, colour, hatch, [f"{name} {kg:.2f}" for kg in kilograms], name=name)
    figure.update_layout(barmode="group", bargap=0.25, height=110 + 64 * len(moulds)).update_xaxes(rangemode="tozero")
    return Chart(
        figure,
        f"Sand to metal by mass is {sand / metal:.1f} over these parts; sand to finished casting is {sand / cast:.0f}.",
        "Three bars a part: bonded sand of its mould and cores, metal poured with feeder and gates, and the casting "
        "alone, in kilograms.",
        mould_table(moulds)[["metal poured [kg]", "sand [kg]", "sand to metal [-]", "casting yield [-]"]],
    )


def job_boxes(job, rates):
    """The job's mould blocks, all kits, as they lie in the printer's job boxes, box beside box.

    Parameters: `job` of a single quantity; `rates` RateCard. Returns: Chart. Raises: Infeasible.
    """
    pieces = [
        (one.block_mm, one.part.name)
        for item, one in zip(job.kit.parts, moulds_of(job, rates), strict=True)
        for _ in range(item.count * int(job.quantity))
    ]
    blocks_mm, names = (list(column) for column in zip(*pieces, strict=True))
    space_mm, gap_mm = job_box_mm(rates), rates["printed_mould.block_gap"]
    found = packed(blocks_mm, space_mm, gap_mm)
    step, count, traces = np.array([1.15 * space_mm[0], 0, 0]), int(found.box.max()) + 1, []
    kinds = list(dict.fromkeys(names))
    for k, kind in enumerate(kinds):
        mine = [n for n, name in enumerate(names) if name == kind]
        low = found.corner_mm[mine] + found.box[mine, None] * step
        boxes = [box(np.array([a, a + s])) for a, s in zip(low, found.sides_mm[mine], strict=True)]
        traces.append(solid_trace(joined(boxes), PARTS[k % len(PARTS)], 1.0, kind))
    spaces = [np.array([n * step, n * step + space_mm]) for n in range(count)]
    traces.append(edges_trace(spaces, "#777777"))
    labels = [(f"box {n + 1}", [*space.mean(axis=0)[:2], space_mm[2]], None) for n, space in enumerate(spaces)]
    tall = found.corner_mm[..., 2] + found.sides_mm[..., 2]
    last, density = tall[found.box == count - 1].max(), np.prod(blocks_mm, axis=-1).sum() / found.filled
    boxed = counted(count, "job box", "es")
    title = f"{counted(len(names), 'mould block')} in {boxed}; drag to turn"
    table = pd.DataFrame({"block": names, "box": found.box + 1})
    return Chart(
        picture(title, traces, (-0.7, -2.5, 1.7), 380, labels),
        f"Blocks fill {density / np.prod(space_mm):.0%} of the boxes' used room; the last box is printed up to "
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
        hidden = hidden_of(seen)
        kept = hidden.region < mould.cores  # the largest come first
        if kept.sum() <= most:
            break
        spacing *= 1.2
    corner = seen.origin_mm + hidden.ray[kept] * hidden.spacing_mm
    low = np.column_stack([corner, hidden.from_mm[kept]])
    high = np.column_stack([corner + hidden.spacing_mm, hidden.to_mm[kept]])
    points, triangles = joined([box(ends) for ends in np.stack([low, high], axis=1)])
    return points @ seen.frame @ frame.T, triangles
