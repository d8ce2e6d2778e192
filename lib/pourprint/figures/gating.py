"""How the metal comes into a printed mould: the gating with its sizes."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, Chart, styled, tint

SAND, METAL, PLANE = "#C9B37E", "#9AA5B1", "#009E73"  # of every picture of a mould


def gating_sketch(mould):
    """Side view of sprue, ingate, cavity and feeder with their sizes, to scale but for the cavity's shape."""
    import pandas as pd

    way, study, wall = mould.gating, mould.study, wall_of(mould)
    below, above = float(study.below_mm), float(study.above_mm)
    head, hot = float(way.head_mm), float(mould.hot_mm[1])
    feeder_d, feeder_h = float(mould.feeder.diameter_mm), float(mould.feeder.height_mm)
    top_d, base_d = (float(np.sqrt(4 / np.pi * area)) for area in (way.top_mm2, way.choke_mm2))
    gate = float(np.sqrt(way.ingate_mm2))
    depth = head - _sprue_mm(mould)
    left, floor = float(mould.low_mm[1]) - wall, -below - wall
    right = left + float(mould.block_mm[1])
    sprue = right - wall - top_d / 2
    start, end = float(study.low_mm[1]), float(study.high_mm[1])
    outlines = {
        "sand": (SAND, [(left, floor), (right, floor), (right, head), (left, head)]),
        "casting": (METAL, [(start, -below), (end, -below), (end, above), (start, above)]),
        "feeder": (
            tint(METAL, 0.3),
            [
                (hot - feeder_d / 2, above),
                (hot + feeder_d / 2, above),
                (hot + feeder_d / 2, above + feeder_h),
                (hot - feeder_d / 2, above + feeder_h),
            ],
        ),
        "sprue": (
            tint(METAL, 0.3),
            [
                (sprue - base_d / 2, 0),
                (sprue + base_d / 2, 0),
                (sprue + top_d / 2, head - depth),
                (sprue + top_d / 2 + 8, head),
                (sprue - top_d / 2 - 8, head),
                (sprue - top_d / 2, head - depth),
            ],
        ),
        "ingate": (tint(METAL, 0.3), [(end, 0), (sprue, 0), (sprue, gate), (end, gate)]),
    }
    figure = go.Figure()
    for name, (colour, corners) in outlines.items():
        x, y = zip(*corners, corners[0], strict=True)
        figure.add_scatter(
            x=x, y=y, fill="toself", mode="lines", name=name, line={"color": INK, "width": 1}, fillcolor=colour,
            hoverinfo="name",
        )  # fmt: skip
    figure.add_scatter(
        x=[left, right], y=[0, 0], mode="lines", line={"color": PLANE, "dash": "dash", "width": 2}, hoverinfo="skip"
    )
    figure.update_layout(title=f"{mould.part.name}: {mould.metal_kg:.2f} kg fills the mould in {way.pour_s:.1f} s")
    figure = styled(figure, height=460)
    notes = [
        ((start + end) / 2, -below / 2, "casting", 0, 0),
        (hot, above + feeder_h / 2, f"feeder<br>{feeder_d:.0f} × {feeder_h:.0f} mm", 0, 0),
        (sprue + top_d / 2, head - depth, f"sprue, top Ø {top_d:.1f} mm", 110, -10),
        (sprue + base_d / 2, gate, f"sprue, foot Ø {base_d:.1f} mm<br>metal at {way.base_m_s:.2f} m/s", 120, -30),
        (
            (end + sprue) / 2,
            gate / 2,
            f"ingate {way.ingate_mm2:.0f} mm²<br>metal at {way.flow_cm3_s / way.ingate_mm2:.2f} m/s",
            190,
            60,
        ),
        (left, 0, "parting plane", -70, -20),
    ]
    for x, y, text, ax, ay in notes:
        figure.add_annotation(x=x, y=y, text=text, showarrow=bool(ax), ax=ax, ay=ay, font={"size": 12})
    figure.update_layout(margin={"l": 60, "r": 60})
    figure.update_xaxes(title_text="across the mould [mm]")
    figure.update_yaxes(title_text="above the parting plane [mm]", scaleanchor="x")
    facts = {
        "head over the gate [mm]": head,
        "speed at the sprue's foot [m/s]": way.base_m_s,
        "sprue foot [mm²]": way.choke_mm2,
        "sprue top [mm²]": way.top_mm2,
        "flow at the beginning [cm³/s]": way.flow_cm3_s,
        "ingate [mm²]": way.ingate_mm2,
        "speed in the ingate [m/s]": way.flow_cm3_s / way.ingate_mm2,
        "time to fill [s]": way.pour_s,
    }
    return Chart(
        figure,
        f"Metal falls {head:.0f} mm and reaches {way.base_m_s:.1f} m/s at the sprue's foot; the ingate must be "
        f"{way.ingate_mm2 / way.choke_mm2:.1f} times as large as the foot to let it in at "
        f"{way.flow_cm3_s / way.ingate_mm2:.2f} m/s.",
        "Side view through the mould: the casting as a plain box, the feeder standing on it, the sprue beside it "
        "narrowing downwards, and the ingate between them on the parting plane.",
        pd.DataFrame({"value": facts}).astype(float),
    )


def wall_of(mould):
    """Wall of sand beside the casting [mm], from the block."""
    return float(mould.block_mm[0] - mould.high_mm[0] + mould.low_mm[0]) / 2


def _sprue_mm(mould):
    """Length of the tapered part of the sprue [mm], from the taper: area ratio² = head over basin depth."""
    ratio = float(mould.gating.top_mm2 / mould.gating.choke_mm2)
    return float(mould.gating.head_mm) * (1 - 1 / ratio**2)
