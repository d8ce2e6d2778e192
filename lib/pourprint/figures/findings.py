"""Where on a part something stands against making it."""

import textwrap

from pourprint.figures.look import METAL, Chart
from pourprint.figures.solids import MOST_FACETS, coarser, picture, solid_trace
from pourprint.routes.findings import Verdict, table

# Where words stand from the place that they point at [px]: right and left, above and below, no two at one height.
ASIDE = ((110, -50), (-110, -90), (110, 50), (-110, 90), (110, -130), (-110, 130))


def findings_picture(part, found):
    """The part as a picture to turn, with the place of each finding named on it.

    Parameters: `part` a Part with a mesh; `found` Findings, of which those of this part are shown, six of them with
    their places. Returns: Chart. Raises: InputError without a mesh.
    """
    drawn = solid_trace(coarser(*part.needed_mesh("drawn"), MOST_FACETS), METAL, 0.55, part.name)
    mine = [one for one in found if one.part == part.name]
    refused = sum(one.verdict is Verdict.REFUSED for one in mine)
    placed = [one for one in mine if one.where_mm is not None][: len(ASIDE)]
    words = ["<br>".join(textwrap.wrap(f"{one.verdict}: {one.what}", 30)) for one in placed]
    names = [(said, one.where_mm, off) for said, one, off in zip(words, placed, ASIDE, strict=False)]
    title = f"{part.name}: {refused} refused, {len(mine) - refused} to watch" if mine else f"{part.name}: nothing found"
    told = "; ".join(f"{one.verdict}, {one.what}" for one in mine)
    return Chart(
        picture(title, [drawn], (1.55, 1.55, 1.3), 430, names),
        f"{mine[0]}." if mine else f"Nothing that is looked for stands against {part.name}.",
        f"The part drawn half transparent, z upwards; words point at {len(placed)} of {len(mine)} findings: {told}.",
        table(mine).set_index("verdict"),
    )
