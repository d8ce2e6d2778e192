"""The cluster as a picture to turn, drawn from its layout."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import Chart, counted, styled
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, solid_trace
from pourprint.ledger.errors import InputError
from pourprint.process.shell.clusters import Seat, places

PARTS = ("#0072B2", "#56B4E9", "#009E73", "#E69F00", "#CC79A7", "#F0E442", "#D55E00")  # Okabe–Ito
WAX = "#B8A07A"


def cluster_picture(sizes, kits=1, number=1):
    """One cluster of a layout as a picture to turn: runner, cup, gates and patterns where the layout hangs them.

    Parameters: `sizes` ShellSizes of single numbers; `kits` laid out; `number` of the cluster to show, from 1.
    Meshes are coarsened to stay below 20 000 facets; parts without one are boxes. Returns: Chart. Raises: InputError.
    """
    import pandas as pd

    clusters = sizes.hang(kits)
    if number not in range(1, len(clusters) + 1):
        raise InputError(f"number={number!r} must be from 1 to {len(clusters)}, the clusters of {kits} kits.")
    hung = places(clusters[number - 1])
    parts, start = [item.part for item in sizes.job.kit.parts], sizes.rack.start_mm.item()
    each = (MOST_FACETS - 400) // max(len(hung), 1) - 24
    shapes = {kind: _hanging(parts[kind], sizes, kind, each) for kind in {kind for kind, _, _ in hung}}
    figure = go.Figure()
    for kind, (vertices, faces, land, gate_r) in shapes.items():
        solids, gates = [], []
        for _, angle, foot in (place for place in hung if place[0] == kind):
            at = np.array([start, 0, foot])
            turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
            solids.append(((vertices + at) @ turn.T, faces))
            ends = np.array([(0.0, 0.0, foot + land[2]), land + at]) @ turn.T
            gates.append(_rod(ends, gate_r, 8))
        figure.add_trace(solid_trace(joined(solids), PARTS[kind % len(PARTS)], 1.0, parts[kind].name))
        figure.add_trace(solid_trace(joined(gates), WAX, 1.0, "gate"))
    length, radius = sizes.rack.runner_length.item(), float(sizes.runner_mm) / 2
    runner = _rod(np.array([(0, 0, 0), (0, 0, length)]), radius, 24)
    cup = _cup(radius, length, sizes.rates["cluster.cup_volume"])
    figure.add_trace(solid_trace(joined([runner, cup]), WAX, 1.0, "runner and cup"))
    around = np.linspace(0, 2 * np.pi, 60)
    tank = sizes.rack.dip_diameter.item() / 2
    for height in (0.0, length):
        ring = {"x": tank * np.cos(around), "y": tank * np.sin(around), "z": np.full(60, height)}
        figure.add_scatter3d(**ring, mode="lines", line={"color": "#777777", "dash": "dot"}, hoverinfo="skip")
    axes = {f"{axis}axis": {"title": f"{axis} [mm]"} for axis in "xyz"}
    camera = {"eye": {"x": 1.3, "y": 1.3, "z": 0.55}, "center": {"x": 0, "y": 0, "z": -0.2}}
    figure.update_layout(scene={"aspectmode": "data", "camera": camera, **axes})
    figure.update_layout(
        title=f"Cluster {number} of {len(clusters)}: {counted(len(hung), 'pattern')} on one runner; drag to turn"
    )
    styled(figure, height=560).update_layout(margin={"l": 0, "r": 0, "b": 0})
    rows = [(i, r.count, parts[r.kind].name, r.from_mm) for i, c in enumerate(clusters, start=1) for r in c]
    on_it = {parts[kind].name: sum(place[0] == kind for place in hung) for kind in shapes}
    return Chart(
        figure,
        f"Clusters for {counted(kits, 'kit')}: {len(clusters)} in this layout; the plan reckons with "
        f"{kits * float(sizes.per_kit):.2f}, the mean of many kits, rounded up.",
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
        vertices, faces = box((np.zeros(3), scale * part.box_mm))
    else:
        vertices, faces = coarser(part.mesh[0] * scale, part.mesh[1], most)
        vertices = vertices - part.mesh[0].min(0) * scale
    sides = scale * np.asarray(part.box_mm)
    outward = 1.0 if seat.low_end[turn[0]] else -1.0  # the heavy end sits at the gate
    frame = np.zeros((3, 3))
    frame[0, turn[0]], frame[2, turn[2]] = outward, 1.0
    frame[1] = np.cross(frame[2], frame[0])
    land = seat.lands_mm[turn[0], 0 if outward > 0 else 1]
    corner = np.minimum(frame @ sides, 0)  # of the turned box, which begins at the runner's side
    middle = np.array([0, sides[turn[1]] / 2, 0])
    return vertices @ frame.T - corner - middle, faces, frame @ land - corner - middle, sizes.gate_mm(part) / 2


def _tube(ends, radii, sides):
    """A closed round bar between two points (2, 3) with a radius at each end (2,)."""
    along = ends[1] - ends[0]
    along = along / np.linalg.norm(along)
    across = np.cross(along, (0, 0, 1) if abs(along[2]) < 0.9 else (1, 0, 0))
    across /= np.linalg.norm(across)
    other = np.cross(along, across)
    angle = np.arange(sides) * 2 * np.pi / sides
    round_ = np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * other
    vertices = np.concatenate([ends[0] + radii[0] * round_, ends[1] + radii[1] * round_, ends])
    a = np.arange(sides)
    b = (a + 1) % sides
    low, high = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    strips = [(a, b, b + sides), (a, b + sides, a + sides), (b, a, low), (a + sides, b + sides, high)]
    return vertices, np.concatenate([np.stack(strip, axis=1) for strip in strips])


def _rod(ends, radius, sides):
    return _tube(ends, (radius, radius), sides)


def _cup(radius, foot, volume_cm3):
    """A cup as a cone that opens upward from the runner and holds its volume; as high as its mouth is wide."""
    mouth = np.cbrt(1000 * volume_cm3 * 3 / (2 * np.pi))  # of a full cone of that height, near enough for a picture
    return _tube(np.array([(0, 0, foot), (0, 0, foot + 1.5 * mouth)]), (radius, max(mouth, radius)), 24)
