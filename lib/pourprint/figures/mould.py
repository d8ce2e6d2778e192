"""Pictures of the printed mould: opened, parted, gated, packed, and how much sand stands round how much metal."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.gating import METAL, PLANE, SAND, wall_of
from pourprint.figures.look import INK, LOOKS, Chart, counted, styled, tint
from pourprint.figures.solids import MOST_FACETS, box, cylinder, edges_trace, joined, names_trace, solid_trace
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.voxels import columns
from pourprint.process.packing import packed
from pourprint.process.sand.parting import hidden_of
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
    u, v = mould.hot_mm[:2]
    low = mould.low_mm - wall
    parting, lift = study.parting_mm, 0.45 * block[2]
    drag = np.array([low, [low[0] + block[0], low[1] + block[1], parting]])
    cope = np.array([[*low[:2], parting], low + block]) + np.array([0, 0, lift])
    roof = study.high_mm[2] + lift
    top_d, base_d = (np.sqrt(4 / np.pi * area) for area in (mould.gating.top_mm2, mould.gating.choke_mm2))
    sprue_v = drag[1, 1] - wall - top_d / 2
    gate = mould.gating.ingate_mm2
    gate_side = np.sqrt(gate)
    reach = mould.study.high_mm[1]
    feeder_d, feeder_h = float(mould.feeder.diameter_mm), float(mould.feeder.height_mm)
    metal = [
        cylinder((u, v, roof), feeder_d, feeder_d, feeder_h),
        cylinder((u, sprue_v, parting + lift), base_d, top_d, cope[1, 2] - parting - lift),
        box([[u - gate_side / 2, reach, parting + lift], [u + gate_side / 2, sprue_v, parting + lift + gate_side]]),
    ]
    figure = go.Figure(
        [
            solid_trace((vertices @ study.frame.T, faces), METAL, 0.45, "casting"),
            solid_trace(joined(metal), METAL, 1.0, "feeder, sprue and gate"),
            solid_trace(_core_boxes(mould, min(room, CORE_BOXES)), CORE, 1.0, "cores"),
            solid_trace(joined([box(drag), box(cope)]), SAND, 0.16, "sand"),
            solid_trace(box([[*drag[0, :2], parting - 0.2], [*drag[1, :2], parting]]), PLANE, 0.25, "parting plane"),
            edges_trace([drag, cope], "#7A6A3A"),
            names_trace(
                [
                    ("lower half", drag[0] * [1, 1, 0] + [0, 0, (low[2] + parting) / 2]),
                    ("upper half, lifted", [cope[1, 0], cope[0, 1], cope[0, 2]]),
                    ("feeder", [u, v, roof + feeder_h + 5]),
                    ("sprue", [u, sprue_v, cope[1, 2] + 5]),
                    ("parting plane", [drag[1, 0], drag[0, 1], parting]),
                ]
            ),
        ]
    )
    axes = {f"{axis}axis": {"title": f"{name} [mm]"} for axis, name in zip("xyz", "uvw", strict=True)}
    figure.update_layout(
        scene={"aspectmode": "data", **axes, "camera": {"eye": {"x": -1.95, "y": -1.85, "z": 1.05}}},
        title=f"{mould.part.name}: {counted(mould.cores, 'core')} (orange), one feeder, one sprue; drag to turn",
    )
    sizes = " × ".join(f"{side:.0f}" for side in block)
    return Chart(
        styled(figure, height=560).update_layout(margin={"l": 0, "r": 0, "b": 0}),
        f"A sand block of {sizes} mm and {mould.mass_kg:.1f} kg with its metal makes a casting of "
        f"{mould.part.volume_cm3:.0f} cm³; what neither half shows, {mould.core_cm3:.0f} cm³, takes "
        f"{counted(mould.cores, 'core')}.",
        f"The lower half of the mould as a see-through box with the casting in it, its upper half lifted by "
        f"{lift:.0f} mm with the feeder ({feeder_d:.0f} mm wide) and the sprue; cores drawn as the rays see them, in "
        "small square columns. The green plane is the flat parting; where the casting's outline leaves it, the real "
        "parting steps up or down.",
        mould_table([mould]).T,
    )


def mould_table(moulds):
    """The sizes of moulds as a pandas table, one row a part: metal, feeder, gating, cores, block, sand."""
    import pandas as pd

    rows = [
        {
            "part": m.part.name,
            "casting [cm³]": m.part.volume_cm3,
            "machining stock [cm³]": m.stock_cm3,
            "feeder diameter [mm]": m.feeder.diameter_mm,
            "feeder [cm³]": m.feeder.volume_cm3,
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


def parting_map(mould):
    """Every direction in which the mould could open, and how much it would hide from both halves.

    Parameters: `mould` a Mould of a part with a mesh. Returns: Chart. Raises: InputError without a mesh.
    """
    import pandas as pd

    study = mould.study
    if not study.known:
        raise InputError(
            f"part {mould.part.name!r} has no mesh, so no direction could be tried; load it with from_mesh."
        )
    tried, hides = study.tried, study.tried_cm3
    chosen = int(np.abs(tried @ study.frame[2]).argmax())
    x, y = _flat(tried)
    ring = np.linspace(0, 2 * np.pi, 90)
    figure = go.Figure(
        [
            go.Scatter(x=np.cos(ring), y=np.sin(ring), mode="lines", line={"color": "#BBBBBB"}, hoverinfo="skip"),
            go.Scatter(
                x=x,
                y=y,
                mode="markers",
                marker={
                    "size": 6 + 22 * hides / max(hides.max(), 1e-9),
                    "color": hides,
                    "colorscale": "Cividis",
                    "cmin": 0,
                    "line": {"color": INK, "width": 0.5},
                },
                customdata=np.column_stack([tried.round(2), hides]),
                hovertemplate="opening along (%{customdata[0]}, %{customdata[1]}, %{customdata[2]}) hides "
                "%{customdata[3]:.1f} cm³<extra></extra>",
            ),
            go.Scatter(
                x=x[[chosen]],
                y=y[[chosen]],
                mode="markers",
                marker={"symbol": "circle-open", "size": 34, "color": CORE, "line": {"width": 3}},
                hoverinfo="skip",
            ),
        ]
    )
    best, worst = hides[chosen], hides.max()
    title = f"{mould.part.name}: cores fill {best:.0f} cm³ as the mould opens, {worst:.0f} cm³ at worst"
    figure = styled(figure, height=520).update_layout(title=title, margin={"l": 20})
    worst_at = int(hides.argmax())
    for at, text in ((chosen, f"chosen: {best:.0f} cm³"), (worst_at, f"worst: {worst:.0f} cm³")):
        side = (1 if x[at] >= 0 else -1) * (110 if abs(x[at]) < 0.5 else 45)  # no further out than a narrow page
        rise = -34 if abs(x[at]) < 0.5 else -90
        figure.add_annotation(x=x[at], y=y[at], text=text, ax=side, ay=rise, standoff=16, bgcolor="white")
    for name, at in (("x", (1.2, 0)), ("y", (0, 1.2)), ("−x", (-1.2, 0)), ("−y", (0, -1.2))):
        figure.add_annotation(x=at[0], y=at[1], text=name, showarrow=False)
    figure.add_annotation(x=0, y=0, text="z", ax=-40, ay=110, standoff=4)
    bare = {"visible": False, "range": [-1.3, 1.3]}
    figure.update_xaxes(**bare)
    figure.update_yaxes(**bare, scaleanchor="x")
    way = ", ".join(f"{part:.2f}" for part in study.frame[2])
    table = pd.DataFrame(tried.round(3), columns=["x", "y", "z"]).assign(hidden_cm3=hides)
    return Chart(
        figure,
        f"Opened along ({way}), the halves hide {best:.0f} cm³; the worst of {len(tried)} directions hides "
        f"{worst:.0f} cm³.",
        "A map of half of all directions, seen from above: z in the middle, x to the right, y up, the horizon on the "
        "circle; a mould opens both ways, so the other half would repeat this one. Each dot is a direction tried, its "
        "size and shade the volume that metal would hide from both halves; the chosen one is ringed. Of "
        "directions that hide about the same, a straight one and then the lowest mould is taken.",
        table.sort_values("hidden_cm3").head(12),
    )


def sand_bars(moulds):
    """Sand, metal poured and casting of each part by mass, one bar each: the sand-to-metal ratio at a glance."""
    moulds = sorted(moulds, key=lambda m: -float(m.sand_kg))
    names = [m.part.name for m in moulds]
    rows = {
        "sand": ([m.sand_kg for m in moulds], SAND, "/"),
        "metal poured": ([m.metal_kg for m in moulds], METAL, ""),
        "casting": ([m.metal_kg * m.casting_yield for m in moulds], tint(INK, 0.35), "x"),
    }
    figure = go.Figure()
    for name, (kilograms, colour, hatch) in rows.items():
        figure.add_bar(
            y=names,
            x=kilograms,
            orientation="h",
            name=name,
            marker={
                "color": colour,
                "pattern": {"shape": hatch, "fillmode": "overlay", "fgcolor": INK, "solidity": 0.15},
            },
            text=[f"{name} {kg:.2f}" for kg in kilograms],
            textposition="outside",
            cliponaxis=False,
            textfont={"size": 11},
        )
    sand, metal = sum(m.sand_kg for m in moulds), sum(m.metal_kg for m in moulds)
    figure.update_layout(title=f"Every kilogram poured takes {sand / metal:.0f} kg of printed sand")
    figure = styled(figure, height=150 + 62 * len(moulds))
    figure.update_layout(barmode="group", margin={"l": 110, "r": 90}, bargap=0.25)
    figure.update_xaxes(title_text="mass of one piece [kg]", rangemode="tozero")
    figure.update_yaxes(autorange="reversed")
    return Chart(
        figure,
        f"Sand to metal by mass is {sand / metal:.1f} over these parts; sand to finished casting is "
        f"{sand / sum(m.metal_kg * m.casting_yield for m in moulds):.0f}.",
        "Three bars a part: bonded sand of its mould and cores, metal poured with feeder and gates, and the casting "
        "alone, in kilograms.",
        mould_table(moulds)[["metal poured [kg]", "sand [kg]", "sand to metal [-]", "casting yield [-]"]],
    )


def job_boxes(job, rates):
    """The job's mould blocks, all kits, as they lie in the printer's job boxes, box beside box.

    Parameters: `job` of a single quantity; `rates` RateCard. Returns: Chart. Raises: Infeasible.
    """
    import pandas as pd

    pieces = [
        (one.block_mm, one.part.name)
        for item, one in zip(job.kit.parts, moulds_of(job, rates), strict=True)
        for _ in range(item.count * int(job.quantity))
    ]
    blocks_mm, names = (list(column) for column in zip(*pieces, strict=True))
    space_mm, gap_mm = job_box_mm(rates), rates["printed_mould.block_gap"]
    found = packed(blocks_mm, space_mm, gap_mm)
    step = np.array([1.15 * space_mm[0], 0, 0])
    kinds = list(dict.fromkeys(names))
    shades = ["#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7", "#999999"]
    figure = go.Figure()
    for k, kind in enumerate(kinds):
        mine = [n for n, name in enumerate(names) if name == kind]
        low = found.corner_mm[mine] + found.box[mine, None] * step
        boxes = [box(np.array([a, a + s])) for a, s in zip(low, found.sides_mm[mine], strict=True)]
        figure.add_trace(solid_trace(joined(boxes), shades[k % len(shades)], 1.0, kind))
    count = int(found.box.max()) + 1
    spaces = [np.array([n * step, n * step + space_mm]) for n in range(count)]
    figure.add_trace(edges_trace(spaces, INK))
    figure.add_trace(
        names_trace([(f"box {n + 1}", [*space[0, :2], space_mm[2] * 1.1]) for n, space in enumerate(spaces)])
    )
    tall = found.corner_mm[..., 2] + found.sides_mm[..., 2]
    last = tall[found.box == count - 1].max()
    density = np.prod(blocks_mm, axis=-1).sum() / (found.filled * np.prod(space_mm))
    axes = {f"{axis}axis": {"title": f"{axis} [mm]"} for axis in "xyz"}
    figure.update_layout(
        scene={"aspectmode": "data", **axes, "camera": {"eye": {"x": -1.0, "y": -2.5, "z": 1.5}}},
        title=f"{counted(len(names), 'mould block')} in {counted(count, 'job box', 'es')}; drag to turn",
    )
    table = pd.DataFrame(
        {
            "block": names,
            "box": found.box + 1,
            "top_mm": tall,
            **{f"side_{a}_mm": found.sides_mm[:, i] for i, a in enumerate("xyz")},
        }
    )
    return Chart(
        styled(figure, height=480).update_layout(margin={"l": 0, "r": 0, "b": 0}),
        f"Blocks fill {density:.0%} of the boxes' used room; the last box is printed up to "
        f"{last:.0f} of {space_mm[2]:.0f} mm.",
        f"{counted(count, 'job box', 'es')}, side by side where there are more, as edges, with the mould blocks of "
        f"{', '.join(kinds)} as solid boxes, one colour a part.",
        pd.crosstab(table["box"], table["block"]),
    )


def _flat(directions):
    """Half a sphere on a disc of radius 1, areas kept: (x, y)."""
    w = np.clip(directions[:, 2], 0, 1)
    ring = np.hypot(directions[:, 0], directions[:, 1])
    scale = np.sqrt(1 - w) / np.where(ring > 0, ring, 1)
    return directions[:, 0] * scale, directions[:, 1] * scale


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
