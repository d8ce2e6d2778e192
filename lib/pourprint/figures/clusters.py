"""The cluster as a picture to turn, drawn from its layout."""

import numpy as np
import pandas as pd

from pourprint.figures.look import PARTS, Chart, counted
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, lines_trace, picture, solid_trace, tube
from pourprint.ledger.errors import InputError
from pourprint.process.shell.clusters import Seat, places

WAX = "#B8A07A"


def cluster_picture(sizes, kits=1, number=1):
    """One cluster of a layout as a picture to turn: runner, cup, gates and patterns where the layout hangs them.

    Parameters: `sizes` ShellSizes of single numbers; `kits` laid out; `number` of the cluster to show, from 1.
    Meshes are coarsened to stay below 20 000 facets; parts without one are boxes. Returns: Chart. Raises: InputError.
    """
    clusters = sizes.hang(kits)
    if number not in range(1, len(clusters) + 1):
        raise InputError(f"number={number!r} must be from 1 to {len(clusters)}, the clusters asked for.")
    hung, noun = places(clusters[number - 1]), sizes.job.kit.noun
    parts, start = [item.part for item in sizes.job.kit.parts], sizes.rack.start_mm.item()
    each = (MOST_FACETS - 400) // max(len(hung), 1) - 24
    kinds, traces = sorted({kind for kind, _, _ in hung}), []
    for kind in kinds:
        vertices, faces, land, gate_r = _hanging(parts[kind], sizes, kind, each)
        solids, gates = [], []
        for _, angle, foot in (place for place in hung if place[0] == kind):
            at = np.array([start, 0, foot])
            turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
            solids.append(((vertices + at) @ turn.T, faces))
            gates.append(tube(np.array([(0.0, 0.0, foot + land[2]), land + at]) @ turn.T, (gate_r, gate_r), 8))
        traces.append(solid_trace(joined(solids), PARTS[kind % len(PARTS)], 1.0, parts[kind].name))
        traces.append(solid_trace(joined(gates), WAX, 1.0, "gate"))
    length, radius = sizes.rack.runner_length.item(), float(sizes.runner_mm) / 2
    runner = tube(np.array([(0, 0, 0), (0, 0, length)]), (radius, radius), 24)
    cup = _cup(radius, length, sizes.rates["cluster.cup_volume"])
    traces.append(solid_trace(joined([runner, cup]), WAX, 1.0, "runner and cup"))
    around, tank = np.linspace(0, 2 * np.pi, 60), sizes.rack.dip_diameter.item() / 2
    rings = [np.c_[tank * np.cos(around), tank * np.sin(around), np.full(60, height)] for height in (0.0, length)]
    traces.append(lines_trace(rings, "#777777", dash="dot"))
    title = f"Cluster {number} of {len(clusters)}: {counted(len(hung), 'pattern')} on one runner; drag to turn"
    rows = [(i, r.count, parts[r.kind].name, r.from_mm) for i, c in enumerate(clusters, start=1) for r in c]
    on_it = {parts[kind].name: sum(place[0] == kind for place in hung) for kind in kinds}
    return Chart(
        picture(title, traces, (1.3, 1.3, 0.75), 560),
        f"Clusters for {counted(kits, noun)}: {len(clusters)} in this layout; the plan reckons with "
        f"{kits * float(sizes.per_kit):.2f}, the mean of many {noun}s, rounded up.",
        f"A vertical runner of {2 * radius:.0f} mm with a cup on top; round it, ring above ring, hang "
        f"{', '.join(f'{count} {name}' for name, count in on_it.items())}, each on a gate; dotted circles of "
        f"{2 * tank:.0f} mm are the dipping tank.",
        pd.DataFrame(rows, columns=["cluster", "patterns", "part", "from_mm"]).set_index("cluster"),
    )


def _hanging(part, sizes, kind, most):
    """A pattern as it hangs, its gate's end at x = 0: vertices [mm], faces, gate's end (3,) and radius [mm]."""
    turn, scale = sizes.stances[kind].turn, sizes.scale
    seat = part.study(Seat).scaled(scale)
    if part.mesh is None:
        vertices, faces = box((np.zeros(3), seat.sides_mm))
    else:
        drawn = part.mesh[0] @ seat.frame.T * scale
        vertices, faces = coarser(drawn, part.mesh[1], most)
        vertices = vertices - drawn.min(0)
    sides = seat.sides_mm
    outward = 1.0 if seat.low_end[turn[0]] else -1.0  # the heavy end sits at the gate
    frame = np.zeros((3, 3))
    frame[0, turn[0]], frame[2, turn[2]] = outward, 1.0
    frame[1] = np.cross(frame[2], frame[0])
    land = seat.lands_mm[turn[0], 0 if outward > 0 else 1]
    corner = np.minimum(frame @ sides, 0)  # of the turned box, which begins at the runner's side
    middle = np.array([0, sides[turn[1]] / 2, 0])
    return vertices @ frame.T - corner - middle, faces, frame @ land - corner - middle, sizes.gate_mm(part) / 2


def _cup(radius, foot, volume_cm3):
    """A cup as a cone that opens upward from the runner and holds its volume; as high as its mouth is wide."""
    mouth = np.cbrt(1000 * volume_cm3 * 3 / (2 * np.pi))  # of a full cone of that height, near enough for a picture
    return tube(np.array([(0, 0, foot), (0, 0, foot + 1.5 * mouth)]), (radius, max(mouth, radius)), 24)
