"""Pictures of a single part, and of where something stands against making it."""

import textwrap

import numpy as np
import pandas as pd

from pourprint.figures.look import GREY, METAL, Chart, counted, sampled
from pourprint.figures.solids import MOST_FACETS, coarser, edges_trace, picture, solid_trace
from pourprint.figures.strokes import canvas, line, plain
from pourprint.parts.part import facts
from pourprint.routes.findings import Verdict, table

# Where words stand from the place that they point at [px]: right and left, above and below, no two at one height.
ASIDE = ((140, -130), (-140, -90), (140, 40), (-140, 60), (140, -60), (-140, 130))


def part_picture(part, first=None):
    """The part as a picture to turn, with its sizes in words; a mesh of over 20 000 facets is drawn coarser.

    Parameters: `first` the Part that it was lightened from, to which the title compares it. Returns: Chart. Raises:
    InputError for a part without a mesh.
    """
    vertices, faces = part.needed_mesh("drawn")
    drawn = solid_trace(coarser(vertices, faces, MOST_FACETS), METAL, 1.0, part.name)
    round_it = edges_trace([(vertices.min(axis=0), vertices.max(axis=0))], GREY)
    sizes = " × ".join(f"{side:.0f}" for side in part.box_mm)
    said = f"fills {part.solidity:.0%} of its box"
    if first is not None:
        said = f"takes {part.volume_cm3 / first.volume_cm3:.0%} of the metal of {first.name}"
    return Chart(
        picture(f"{part.name} {said}; drag to turn", [drawn, round_it], (1.55, 1.55, 1.3), 430),
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
    title = f"{part.name}: its largest section, {areas[widest] / 100:.3g} cm², lies at {heights[widest]:.0f} mm"
    figure = canvas(title, "section area [cm²]", "height above the plate [mm]", zero="xy")
    line(figure, areas / 100, heights, hover="%{x:.1f} cm² at %{y:.1f} mm")
    sections = pd.DataFrame({"height_mm": heights, "area_cm2": areas / 100, "perimeter_mm": perimeters})
    return Chart(
        figure,
        f"{len(heights)} layers of {layer_mm:g} mm; the largest section is {areas[widest] / 100:.1f} cm² at "
        f"{heights[widest]:.0f} mm, the mean {areas.mean() / 100:.1f} cm².",
        f"Section area on the horizontal axis against height on the vertical, from 0 to {heights[-1]:.0f} mm.",
        sampled(sections).set_index("height_mm"),
    )


def findings_picture(part, found):
    """The part as a picture to turn, with the place of each finding named on it.

    Parameters: `part` a Part with a mesh; `found` Findings, of which those of this part are shown, six of them with
    their places. Returns: Chart. Raises: InputError without a mesh.
    """
    drawn = solid_trace(coarser(*part.needed_mesh("drawn"), MOST_FACETS), METAL, 0.55, part.name)
    mine = [one for one in found if one.part == part.name]
    refused = sum(one.verdict is Verdict.REFUSED for one in mine)
    placed = [one for one in mine if one.where_mm is not None][: len(ASIDE)]
    words = ["<br>".join(textwrap.wrap(plain(f"{one.verdict}: {one.what}"), 22)) for one in placed]
    names = [(said, one.where_mm, off) for said, one, off in zip(words, placed, ASIDE, strict=False)]
    title = f"{part.name}: {refused} refused, {len(mine) - refused} to watch" if mine else f"{part.name}: nothing found"
    told = "; ".join(f"{one.verdict}, {one.what}" for one in mine)
    aside = f" {counted(len(mine) - len(placed), 'finding')} without a place in it." * (len(placed) < len(mine))
    return Chart(
        picture(title, [drawn], (1.55, 1.55, 1.3), 430, names),
        f"{mine[0]}.{aside}" if mine else f"Nothing that is looked for stands against {part.title}.",
        f"The part drawn half transparent, z upwards; words point at {len(placed)} of {len(mine)} findings: {told}.",
        table(mine).set_index("verdict"),
    )
