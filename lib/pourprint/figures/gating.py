"""How the metal comes into a printed mould: the gating with its sizes."""

import numpy as np
import pandas as pd

from pourprint.figures.look import LOOKS, METAL, ON_FILL, SAND, Chart, tint
from pourprint.figures.solids import tube
from pourprint.figures.strokes import canvas, line, write
from pourprint.routes.pouring import plan_rigging

PLANE = LOOKS["printed_metal"].colour  # green, of every picture of a mould


def gating_sketch(mould):
    """Side view of sprue, ingate, cavity and feeder with their sizes, to scale but for the cavity's shape."""
    way, study, wall = mould.gating, mould.study, wall_of(mould)
    below, above = float(study.below_mm), float(study.above_mm)
    head, feeders = float(way.head_mm), plan_rigging(mould).feeders
    top_d, base_d = round_sizes(way)
    # The basin's depth from the taper: the ratio of areas squared is the head over it.
    gate, depth = float(np.sqrt(way.ingate_mm2)), head * float(way.choke_mm2 / way.top_mm2) ** 2
    left, floor = float(mould.room_mm[0][1]) - wall, -below - wall
    right = left + float(mould.block_mm[1])
    sprue = right - wall - top_d / 2
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
    title = f"{mould.part.name}: {mould.metal_kg:.2f} kg fills the mould in {way.pour_s:.1f} s"
    figure = canvas(title, "across the mould [mm]", "above the parting plane [mm]", 460, r=60)
    for name, (colour, corners) in outlines.items():
        x, y = zip(*corners, corners[0], strict=True)
        line(figure, x, y, "#444444", width=1, fill="toself", name=name, fillcolor=colour)
    line(figure, [left, right], [0, 0], PLANE, "dash", 2)
    in_gate = way.flow_cm3_s / way.ingate_mm2
    write(figure, (start + end) / 2, -below / 2, "casting", ON_FILL)
    for one in feeders:
        size = f"feeder<br>{one.diameter_mm:.0f} × {one.height_mm:.0f} mm"
        write(figure, one.at_mm[1], above + one.height_mm / 2, size, ON_FILL)
    for x, y, text, height in (
        (sprue + top_d / 2, head - depth, f"sprue, top<br>Ø {top_d:.1f} mm", 0.9 * head),
        (sprue + base_d / 2, gate, f"sprue, foot<br>Ø {base_d:.1f} mm<br>{way.base_m_s:.2f} m/s", 0.4 * head),
        ((end + sprue) / 2, gate / 2, f"ingate<br>{way.ingate_mm2:.0f} mm²<br>{in_gate:.2f} m/s", -0.25 * head),
    ):
        write(figure, x, y, text, anchor="left", arrow=(right + 8, height), axref="x", ayref="y", align="left")
    write(figure, left, 0, "parting<br>plane", anchor="right", dx=-6)
    room = 0.5 * (right - left)
    figure.update_xaxes(range=[left - room, right + room])
    figure.update_yaxes(scaleanchor="x", range=[floor - 5, head + 5])
    facts = {
        "head over the gate [mm]": head,
        "speed at the sprue's foot [m/s]": way.base_m_s,
        "sprue foot [mm²]": way.choke_mm2,
        "sprue top [mm²]": way.top_mm2,
        "flow at the beginning [cm³/s]": way.flow_cm3_s,
        "ingate [mm²]": way.ingate_mm2,
        "speed in the ingate [m/s]": in_gate,
        "time to fill [s]": way.pour_s,
    }
    return Chart(
        figure,
        f"Metal falls {head:.0f} mm and reaches {way.base_m_s:.1f} m/s at the sprue's foot; the ingate must be "
        f"{way.ingate_mm2 / way.choke_mm2:.1f} times as large as the foot to let it in at {in_gate:.2f} m/s.",
        "Side view through the mould: the casting as a plain box, its feeders standing on it, the sprue beside it "
        "narrowing downwards, and the ingate between them on the parting plane.",
        pd.DataFrame({"value": facts}).astype(float),
    )


def feeder_tube(stand, foot_mm):
    """A feeder that stands at `foot_mm`, to turn: (vertices, faces)."""
    ends = [(*stand.at_mm, foot_mm), (*stand.at_mm, foot_mm + stand.height_mm)]
    return tube(ends, [stand.diameter_mm / 2] * 2)


def wall_of(mould):
    """Wall of sand beside the casting [mm], from the block."""
    low, high = mould.room_mm
    return float(mould.block_mm[0] - high[0] + low[0]) / 2


def round_sizes(gating):
    """Diameters of a round sprue at its top and foot [mm]."""
    return tuple(float(np.sqrt(4 / np.pi * area)) for area in (gating.top_mm2, gating.choke_mm2))


def _rectangle(left, right, low, high):
    return [(left, low), (right, low), (right, high), (left, high)]
