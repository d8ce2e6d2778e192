"""Pictures of a single part."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, Chart, styled
from pourprint.figures.solids import MOST_FACETS, coarser, solid_trace
from pourprint.parts.part import facts


def part_picture(part):
    """The part as a picture to turn, with its sizes in words; a mesh of over 20 000 facets is drawn coarser.

    Returns: Chart. Raises: InputError for a part without a mesh.
    """
    vertices, faces = part.needed_mesh("drawn")
    figure = go.Figure(solid_trace(coarser(vertices, faces, MOST_FACETS), "#9AA5B1", 1.0, part.name))
    axes = {f"{axis}axis": {"title": f"{axis} [mm]"} for axis in "xyz"}
    # From far enough, and looking a little low, that the titles of the axes stay inside the picture.
    camera = {"eye": {"x": 1.55, "y": 1.55, "z": 1.2}, "center": {"x": 0, "y": 0, "z": -0.15}}
    scene = {"aspectmode": "data", "camera": camera, **axes}
    figure.update_layout(scene=scene, title=f"{part.name} fills {part.solidity:.0%} of its box; drag to turn")
    sizes = " × ".join(f"{side:.0f}" for side in part.box_mm)
    return Chart(
        styled(figure, height=430),
        f"{part.name} fills {part.solidity:.0%} of its box of {sizes} mm.",
        f"The part drawn as a solid of {len(faces)} facets, z upwards; {part.volume_cm3:.1f} cm³ of metal with "
        f"{part.area_cm2:.0f} cm² of surface in a box of {sizes} mm.",
        facts(part),
    )


def section_chart(part, layer_mm):
    """Area of the horizontal sections over height. Needs a part with a mesh; `layer_mm` [mm].

    Returns: Chart with a table of every tenth of the height. Raises: InputError.
    """
    import pandas as pd

    heights, areas, perimeters = part.sections(layer_mm)
    widest = int(np.argmax(areas))
    figure = go.Figure(go.Scatter(x=areas / 100, y=heights, mode="lines", line={"color": INK, "width": 2}))
    figure.update_xaxes(title_text="section area [cm²]", rangemode="tozero")
    figure.update_yaxes(title_text="height above the plate [mm]", rangemode="tozero")
    figure.update_layout(title=f"{part.name} is widest at {heights[widest]:.0f} mm")
    table = pd.DataFrame({"height_mm": heights, "area_cm2": areas / 100, "perimeter_mm": perimeters})
    return Chart(
        styled(figure, height=380),
        f"{len(heights)} layers of {layer_mm:g} mm; the largest section is {areas[widest] / 100:.1f} cm² at "
        f"{heights[widest]:.0f} mm, the mean {areas.mean() / 100:.1f} cm².",
        f"Section area on the horizontal axis against height on the vertical, from 0 to {heights[-1]:.0f} mm.",
        table.iloc[:: max(1, len(table) // 10)].set_index("height_mm"),
    )
