"""Pictures of a single part."""

import numpy as np
import pandas as pd

from pourprint.figures.look import METAL, Chart, sampled
from pourprint.figures.solids import MOST_FACETS, coarser, picture, solid_trace
from pourprint.figures.strokes import canvas, line
from pourprint.parts.part import facts


def part_picture(part):
    """The part as a picture to turn, with its sizes in words; a mesh of over 20 000 facets is drawn coarser.

    Returns: Chart. Raises: InputError for a part without a mesh.
    """
    vertices, faces = part.needed_mesh("drawn")
    drawn = solid_trace(coarser(vertices, faces, MOST_FACETS), METAL, 1.0, part.name)
    sizes = " × ".join(f"{side:.0f}" for side in part.box_mm)
    return Chart(
        picture(f"{part.name} fills {part.solidity:.0%} of its box; drag to turn", [drawn], (1.55, 1.55, 1.3), 430),
        f"Its box measures {sizes} mm.",
        f"The part drawn as a solid of {len(faces)} facets, z upwards; {part.volume_cm3:.1f} cm³ of metal with "
        f"{part.area_cm2:.0f} cm² of surface in a box of {sizes} mm.",
        facts(part),
    )


def section_chart(part, layer_mm):
    """Area of the horizontal sections over height. Needs a part with a mesh; `layer_mm` [mm].

    Returns: Chart with a table of every tenth of the height. Raises: InputError.
    """
    heights, areas, perimeters = part.sections(layer_mm)
    widest = int(np.argmax(areas))
    title = f"{part.name} is widest at {heights[widest]:.0f} mm"
    figure = canvas(title, "section area [cm²]", "height above the plate [mm]")
    line(figure, areas / 100, heights, hover="%{x:.1f} cm² at %{y:.1f} mm")
    table = pd.DataFrame({"height_mm": heights, "area_cm2": areas / 100, "perimeter_mm": perimeters})
    return Chart(
        figure.update_xaxes(rangemode="tozero").update_yaxes(rangemode="tozero"),
        f"{len(heights)} layers of {layer_mm:g} mm; the largest section is {areas[widest] / 100:.1f} cm² at "
        f"{heights[widest]:.0f} mm, the mean {areas.mean() / 100:.1f} cm².",
        f"Section area on the horizontal axis against height on the vertical, from 0 to {heights[-1]:.0f} mm.",
        sampled(table).set_index("height_mm"),
    )
