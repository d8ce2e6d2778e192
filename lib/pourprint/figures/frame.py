"""A frame of tubes, and how hard each is worked."""

import numpy as np

from pourprint.figures.look import GREY, PARTS, Chart
from pourprint.figures.solids import joined, lines_trace, picture, solid_trace, tube
from pourprint.figures.strokes import plain

STEPS = 5  # of colour, from hardly worked to the hardest


def frame_picture(frame, loads):
    """The frame, each tube as full of colour as its hardest case takes of its strength; nodes as short stubs.

    Parameters: `frame` a Frame, `loads` its FrameLoads. Returns: Chart.
    """
    table = loads.table()
    shares = 1 / (table["margin of strength [-]"] + 1)
    worst = shares.idxmax()
    middle = {name: np.array(point.at) for name, point in frame.points.items()}
    groups, stubs = {}, []
    for name, one in frame.tubes.items():
        ends = [middle[point] for point in one.between]
        shade = int(np.ceil(STEPS * shares[name] / shares[worst] - 1e-9))
        groups.setdefault(shade, []).append(tube(ends, np.divide(one.diameter_mm, 2)))
        for point in filter(frame.has_node, one.between):
            reach = frame.mouths_mm(point).get(name, 0.0)
            if reach:
                mouth = middle[point] + reach * frame.direction(one, point)
                wide = one.socket_at(point).diameter_mm / 2 + frame.points[point].wall_mm
                stubs.append(tube([middle[point], mouth], wide))
    shades, worked = sorted(groups.items()), "tubes, the fuller their colour the harder worked"
    traces = [solid_trace(joined(some), PARTS[1], k / STEPS, worked) for k, some in shades]
    traces.append(solid_trace(joined(stubs), PARTS[6], 1.0, "nodes"))
    turn = np.linspace(0, 2 * np.pi, 49)
    rim = np.column_stack([np.cos(turn), 0 * turn, np.sin(turn)])
    rims = [middle[one.point] + (0, one.side_mm, 0) + one.radius_mm * rim for one in frame.wheels]
    traces += [lines_trace(rims, GREY, name="wheels")] if rims else []
    place = np.mean([middle[point] for point in frame.tubes[worst].between], axis=0)
    said = (
        f"{worst} is worked hardest: {shares[worst]:.0%} of its strength, in the load case “{table.loc[worst, 'case']}”"
    )
    return Chart(
        picture(said, traces, (1.4, -1.5, 1.0), 460, [(plain(worst), place, (-70, -80))]),
        f"{len(frame.tubes)} tubes meet in {sum(map(frame.has_node, frame.points))} nodes of {len(frame.node_kinds)} "
        f"kinds; a drop counts {loads.drop_factor:.1f} times the weight.",
        "The frame to turn: tubes from faint to full blue by the share of their strength that their hardest case "
        "takes, nodes orange, wheels grey rings.",
        table.round(2),
    )
