"""Clusters: parts hung on gates in rings round a straight runner, ring above ring.

Each part is a box that stands off the runner by its gate and turns to the runner's axis; its ring gives it a
wedge, its tier a height. Layouts are for planning: boxes are larger than the parts in them, so a moulder who
interlocks shapes hangs more. Draining of slurry and trapped air are left to the eye.
"""

from dataclasses import dataclass
from itertools import permutations

import numpy as np

from pourprint.process.geometry import centre_of_mass, own_frame, resized

SEVERAL = 4  # clusters hung to find the mean share of a kit
TURNS = np.array(list(permutations(range(3))))  # which side of a box points outward, round the ring, along the runner


@dataclass(frozen=True)
class Rack:
    """What a cluster hangs on: sizes of the runner, length of the gates, gap between parts, dipping tank [mm].

    Each may be an array; they broadcast with the parts.
    """

    runner_diameter: float
    runner_length: float
    gate_length: float
    gap: float
    dip_diameter: float

    @property
    def start_mm(self):
        """Distance from the runner's axis at which parts begin [mm]."""
        return self.runner_diameter / 2 + self.gate_length


@dataclass(frozen=True)
class Stance:
    """How one part hangs: `sides_mm` (..., 3) outward, round the ring, along the runner [mm]; `turn` (..., 3) the
    box's axes in that order; `wedge_rad` half the angle it takes [rad]; how many a `ring` takes and how many
    `tiers` fit a runner [-] (0 where it cannot hang)."""

    sides_mm: np.ndarray
    turn: np.ndarray
    wedge_rad: np.ndarray
    ring: np.ndarray
    tiers: np.ndarray


def wedge_rad(width_mm, start_mm, gap_mm):
    """Half the angle that a box takes in its ring, with half the gap on either side [rad].

    The inner corner of a box of width w that begins at radius s lies s·sin φ − (w/2)·cos φ from its wedge's side;
    that is half the gap. Wedges side by side therefore keep boxes of any widths a gap apart. Source: exact.

    Parameters: `width_mm` round the ring, `start_mm` from the axis, `gap_mm` [mm]. Returns: [rad], π where a box
    needs the ring alone.

    >>> round(float(np.degrees(wedge_rad(40, 30, 0))), 2)  # without a gap the corner lies on the side: atan(20/30)
    33.69
    """
    half, start, gap = (np.asarray(value, dtype=float) for value in (np.multiply(width_mm, 0.5), start_mm, gap_mm))
    corner = np.hypot(start, half)
    wedge = np.arctan2(half, start) + np.arcsin(np.minimum(gap / 2 / np.maximum(corner, 1e-9), 1))
    return np.where(start < gap / 2, np.pi, wedge)


def stance(box_mm, rack):
    """The way round in which most of a part fit one cluster; of equals, the one that reaches least far.

    Parameters: `box_mm` (..., 3) [mm]; `rack` Rack. Returns: Stance. Source: count of wedges and tiers, exact.

    >>> one = stance((60, 40, 20), Rack(30, 300, 15, 15, 420))  # the 20 mm side along the runner
    >>> one.sides_mm.tolist(), int(one.ring), int(one.tiers)
    ([40.0, 60.0, 20.0], 3, 9)
    """
    sides = np.asarray(box_mm, dtype=float)[..., TURNS]  # (..., 6, 3)
    out, width, height = np.moveaxis(sides, -1, 0)
    sizes = rack.start_mm, rack.gap, rack.runner_length, rack.dip_diameter
    start, gap, length, tank = (np.asarray(size, dtype=float)[..., None] for size in sizes)
    wedge = wedge_rad(width, start, gap)
    reach = np.hypot(start + out, width / 2)
    ring = np.maximum(np.floor(np.pi / wedge + 1e-9), 1)
    tiers = np.where(reach <= tank / 2, np.floor((length + gap) / (height + gap) + 1e-9), 0)
    best = np.argmax(ring * tiers - 1e-6 * reach, axis=-1)[..., None]

    def chosen(values):
        return np.take_along_axis(np.broadcast_to(values, (*best.shape[:-1], 6)), best, axis=-1)[..., 0]

    turn = TURNS[best[..., 0]]
    box = np.broadcast_to(np.asarray(box_mm, dtype=float), turn.shape)
    return Stance(np.take_along_axis(box, turn, axis=-1), turn, *map(chosen, (wedge, ring, tiers)))


@dataclass(frozen=True)
class Hung:
    """Equal parts side by side in one ring: `kind` which part, `count` how many, `wedge_rad` half the angle of
    each [rad], `from_mm` where they begin along the runner [mm]."""

    kind: int
    count: int
    wedge_rad: float
    from_mm: float


def hang(counts, wedges_rad, heights_mm, loads, length_mm, gap_mm):
    """Hang parts on clusters one after the other: tallest first, each ring filled up with what comes next.

    Parameters: `counts` (k,) of each kind [-]; `wedges_rad` (k,); `heights_mm` (k,) along the runner; `loads` (k, m)
    share of each of m limits (weight, metal) that one part takes [-]; runner's `length_mm` and the `gap_mm` between
    rings. All single numbers; every kind must fit a cluster alone.
    Returns: list of clusters, each a list of Hung.
    """
    clusters, angle, foot, top, left = [], 0.0, 0.0, 0.0, []
    for kind in sorted(range(len(counts)), key=lambda k: -heights_mm[k]):
        rest, wedge, height, load = counts[kind], wedges_rad[kind], heights_mm[kind], loads[kind]

        def room(angle, left, wedge=wedge, load=load):
            by_load = (free / one for free, one in zip(left, load, strict=True) if one > 0)
            return int(min((2 * np.pi - angle) / (2 * wedge), *by_load, np.inf) + 1e-9)

        while rest:
            count = room(angle, left) if clusters else 0
            if not count:  # a new ring, or a new cluster where the runner or a limit ends
                foot = top + gap_mm
                if not clusters or foot + height > length_mm + 1e-9 or not room(0.0, left):
                    clusters.append([])
                    foot, left = 0.0, [1.0] * len(load)
                angle, top, count = 0.0, foot + height, max(room(0.0, left), 1)
            count = min(count, rest)
            clusters[-1].append(Hung(kind, count, wedge, foot))
            angle, rest = angle + 2 * wedge * count, rest - count
            left = [free - count * one for free, one in zip(left, load, strict=True)]
    return clusters


def clusters_per_kit(counts, wedges_rad, heights_mm, loads, alone, length_mm, gap_mm):
    """Clusters that one kit fills [-], from hanging as many kits together as fill about `SEVERAL` clusters.

    Parameters: by kind as `hang`, and `alone` how many of a kind fill a cluster by themselves [-]; all but `counts` may
    be arrays (…), and each of the loads (…, m), which broadcast. The last cluster counts by the share that its parts
    would take of clusters of their own. Valid as a mean over batches: a batch of its own may need a cluster more or
    less. Returns: (…) [-]; 1/alone for a kit of one part.
    """
    by_kind = [np.stack(np.broadcast_arrays(*values), axis=-1) for values in (wedges_rad, heights_mm, alone)]

    def per_kit(wedges, heights, own, loads, length, gap):
        kits = int(np.ceil(SEVERAL / np.sum(counts / own)))
        hung = hang([kits * n for n in counts], *(v.tolist() for v in (wedges, heights, loads, length, gap)))
        last = sum(ring.count / own[ring.kind] for ring in hung[-1])
        return (len(hung) - 1 + min(last, 1.0)) / kits

    every = np.vectorize(per_kit, [float], signature="(k),(k),(k),(k,m),(),()->()")
    return every(*by_kind, np.stack(np.broadcast_arrays(*loads), axis=-2), length_mm, gap_mm)


def places(cluster):
    """Where the parts of one cluster hang, each ring spread evenly: list of (kind, angle [rad] of its outward axis,
    foot along the runner [mm]). Parameters: `cluster` a list of Hung."""
    placed = []
    for foot in sorted({hung.from_mm for hung in cluster}):
        ring = [hung for hung in cluster if hung.from_mm == foot]
        parts = [(hung.kind, hung.wedge_rad) for hung in ring for _ in range(hung.count)]
        spare = (2 * np.pi - sum(2 * wedge for _, wedge in parts)) / len(parts)
        angle = 0.0
        for kind, wedge in parts:
            angle += wedge + spare / 2
            placed.append((kind, angle, foot))
            angle += wedge + spare / 2
    return placed


TOUCH_MM = 1.0  # what lies within this of a side's outermost point can take a gate


@dataclass(frozen=True, eq=False)
class Seat:
    """A part in its least box, and where it can be gated; a study of a Part.

    frame (3, 3): the part's own axes as rows, so that `vertices @ frame.T` stand in the box; sides_mm (..., 3): of the
    box [mm]. low_end (3,): whether the part is heavier towards the low end of each axis. lands_mm (..., 3, 2, 3): for
    the low and high end of each axis the outermost place nearest to its middle [mm from the box's low corner].
    """

    frame: np.ndarray
    sides_mm: np.ndarray
    low_end: np.ndarray
    lands_mm: np.ndarray

    @classmethod
    def measured(cls, vertices, faces):
        """From a mesh: vertices [mm], faces."""
        frame = own_frame(vertices, faces)
        placed = vertices @ frame.T
        points, placed = placed[np.unique(faces)] - placed.min(0), placed - placed.min(0)
        middle, box = centre_of_mass(placed, faces), points.max(0)
        lands = np.empty((3, 2, 3))
        for axis in range(3):
            for end, depth in enumerate((points[:, axis], box[axis] - points[:, axis])):
                near = points[depth <= TOUCH_MM]
                aside = np.delete(near - middle, axis, axis=1)
                lands[axis, end] = near[np.argmin((aside**2).sum(1))]
        return cls(frame, box, middle < box / 2, lands)

    @classmethod
    def estimated(cls, part):
        """Without a mesh: its box as given, and the middles of the box's sides."""
        ends = np.stack([np.where(np.eye(3) > 0, end, 0.5) for end in (0.0, 1.0)], axis=1)
        return cls(np.eye(3), part.box_mm, np.ones(3, dtype=bool), ends * part.box_mm[..., None, None, :])

    scaled = resized
