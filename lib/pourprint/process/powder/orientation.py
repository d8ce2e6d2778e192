"""Which way up: many directions scanned by projection, the best few measured again by ray columns.

What makes a direction good depends on the printer, so this only measures; the route puts hours on it.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.entries import unmeshed
from pourprint.process.geometry import facets, own_frame, unit
from pourprint.process.powder.supports import ON_PLATE_MM, Shadow, Standing, hanging, stand

SPREAD = 200  # directions spread evenly
FLATS = 20  # directions from the largest flats: each may lie on the plate or look up
RAYS_ACROSS = 70  # ray columns along the part's largest side: support volumes within about 1 % (measured)
WISHES = (  # weights of height, room for supports, held surface, and of the box's longest side: for a small printer
    *((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (1, 1, 0, 0), (1, 0, 1, 0), (0, 1, 1, 0)),
    *((1, 1, 1, 0), (4, 1, 1, 0), (1, 4, 1, 0), (0, 0, 0, 1)),
)
MOST_FACETS = 20_000  # a scan of more takes a fair sample of them
MOST_CORNERS = 500  # of the hull, for the rectangle round it
CHUNK = 2_000_000  # numbers held at once


def sphere(n):
    """`n` directions spread evenly over the sphere, (n, 3) of length one: a Fibonacci lattice."""
    i = np.arange(n) + 0.5
    z, turn = 1 - 2 * i / n, np.pi * (1 + 5**0.5) * i
    level = np.sqrt(1 - z**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), z], axis=1)


def directions_of(normals, areas, drawn=(0, 0, 1), spread=SPREAD, flats=FLATS):
    """Directions worth a look, (n, 3): as drawn first, the axes, the largest flats, and an even spread.

    Parameters: facets' normals (m, 3) and areas (m,) [mm2]. A part that stands on a flat needs no support there.
    """
    rough, group = np.unique(np.round(normals, 2), axis=0, return_inverse=True)
    size = np.bincount(group.ravel(), areas)
    largest = rough[np.argsort(-size)[:flats]]
    axes = np.concatenate([np.eye(3)[::-1], -np.eye(3)])
    found = unit(np.concatenate([[drawn], axes, largest, -largest, sphere(spread)]))
    _, first = np.unique(np.round(found, 3), axis=0, return_index=True)
    return found[np.sort(first)]


@dataclass(frozen=True, eq=False)
class Scan:
    """Many directions measured by projection to the plate, quickly: what stands below is not seen.

    directions (n, 3); standing: Standing (n,). Every support counts as reaching the plate, so its room is an upper
    bound; reach is taken as for a square shadow. A study for `Part.study`.
    """

    directions: np.ndarray
    standing: Standing

    @classmethod
    def measured(cls, vertices, faces, directions=None):
        """The scan of a closed mesh [mm] over `directions` (n, 3), by default those of `directions_of`."""
        own = own_frame(vertices, faces) if directions is None else np.eye(3)  # the same however the part is drawn
        vertices = np.asarray(vertices, dtype=float) @ own.T
        normals, areas, middles = _sample(*facets(vertices, faces))
        if directions is None:
            directions = directions_of(normals, areas, own[:, 2])
        length, width, height, low = _boxes(vertices, directions)
        foot, held, room, side, shadow = (np.empty(len(directions)) for _ in range(5))
        step = max(1, CHUNK // len(areas))
        for first in range(0, len(directions), step):
            part = slice(first, first + step)
            up = directions[part].T
            look = normals @ up
            projected = np.where(hanging(-look), -look * areas[:, None], 0)
            above = middles @ up - low[part]
            flat = above <= ON_PLATE_MM
            foot[part] = (projected * flat).sum(axis=0)
            held[part] = (projected * ~flat).sum(axis=0)
            room[part] = (projected * above * ~flat).sum(axis=0)
            side[part] = areas @ np.sqrt(np.maximum(1 - look**2, 0))
            shadow[part] = areas @ np.abs(look) / 2
        shadow = np.minimum(shadow, length * width)
        return cls(directions @ own, _guessed(height, length, width, foot, held, room, side, shadow))

    def scaled(self, factor):
        """The same directions of a part in similar shape; `factor` ratio of lengths [-]. Returns: Scan."""
        return replace(self, standing=self.standing.scaled(factor))

    @classmethod
    def estimated(cls, part):
        """A part known by its numbers alone stands on a side of its box."""
        return cls(np.eye(3)[[2, 1, 0]], _as_its_box(part, 0.0))


def _sample(normals, areas, corners):
    """Normals, areas and middles of at most MOST_FACETS facets: a random but fixed pick, areas raised to the sum."""
    middles = corners.mean(axis=1)
    if len(areas) <= MOST_FACETS:
        return normals, areas, middles
    pick = np.random.default_rng(0).choice(len(areas), MOST_FACETS, replace=False)
    return normals[pick], areas[pick] * (areas.sum() / areas[pick].sum()), middles[pick]


def _guessed(height, length, width, foot, held, room, side, shadow, inner_share=0.0):
    """A Standing from measures in mm, mm2 and mm3, with the mean reach of a square shadow: a sixth of its side."""
    plate, inner = held * (1 - inner_share) / 100, held * inner_share / 100
    reach_cm = np.sqrt(shadow) / 60  # exact for a square: mean distance to the nearest side
    return Standing(
        height, length, width, foot / 100, plate, inner, room / 1000, side / 100, shadow / 100,
        plate * reach_cm, inner * reach_cm,
    )  # fmt: skip


def _as_its_box(part, inner_share):
    """A part known by numbers on each side of its box, as given first: its overhang the same share of the footprint."""
    ways = np.moveaxis(np.stack([np.roll(part.box_mm, turn, axis=-1) for turn in range(3)]), 0, -2)  # (…, 3 ways, 3)
    x, y, z = np.moveaxis(ways, -1, 0)
    one = [np.asarray(v)[..., None] for v in (part.overhang_cm2, part.support_cm3, part.area_cm2)]
    overhang, support, area, _ = np.broadcast_arrays(*one, z)
    foot = unmeshed()["unmeshed.foot_fraction"].value * x * y
    held = 100 * overhang * x * y / (x * y)[..., :1]
    # Mean of the sine over all slopes of a surface without a preferred direction: π/4 (exact).
    return _guessed(z, x, y, foot, held, 1000 * support, 100 * np.pi / 4 * area, x * y, inner_share)


def _boxes(vertices, directions, turns=12):
    """(length, width, height [mm], lowest point [mm]) of the part in every direction, each (n,)."""
    from scipy.spatial import ConvexHull

    hull = vertices[ConvexHull(vertices).vertices]
    along = hull @ directions.T
    if len(hull) > MOST_CORNERS:  # rectangles from the corners that stick out farthest: within 1 %
        hull = hull[np.unique(np.argmax(hull @ sphere(MOST_CORNERS).T, axis=0))]
    helper = np.where(np.abs(directions[:, 2:]) > 0.9, [[1.0, 0, 0]], [[0.0, 0, 1]])
    u = unit(np.cross(helper, directions))
    a, b = hull @ u.T, hull @ np.cross(directions, u).T
    best = np.full((3, len(directions)), np.inf)
    for angle in np.arange(turns) * np.pi / 2 / turns:
        c, s = np.cos(angle), np.sin(angle)
        sides = np.ptp(c * a + s * b, axis=0), np.ptp(c * b - s * a, axis=0)
        area = sides[0] * sides[1]
        best = np.where(area < best[2], [*sides, area], best)
    return best[0], best[1], np.ptp(along, axis=0), along.min(axis=0)


@dataclass(frozen=True, eq=False)
class Orientations:
    """The few directions worth choosing between, measured by ray columns; the first is the part as drawn.

    directions (k, 3); standing: Standing (k,), or (…, k) where the part is scaled by an array; shadows: (k,) of
    Shadow at the measured size, empty for a part known by numbers. A study for `Part.study`.
    """

    directions: np.ndarray
    standing: Standing
    shadows: tuple[Shadow, ...] = ()

    @classmethod
    def measured(cls, vertices, faces):
        """The candidates of a closed mesh [mm]: the best two of the scan for each of the WISHES.

        A wish weighs facts of a direction, each against its own median.
        """
        scan = Scan.measured(vertices, faces)
        s = scan.standing
        longest = np.maximum(s.height_mm, np.maximum(s.length_mm, s.width_mm))
        facts = np.array([s.height_mm, s.support_cm3, s.held_cm2, longest])
        usual = np.median(facts, axis=1, keepdims=True)
        scores = np.array(WISHES) @ (facts / np.where(usual > 0, usual, 1))
        best = np.argsort(scores, axis=1, kind="stable")[:, :2]
        chosen = scan.directions[np.unique([0, *best.ravel()])]
        own = own_frame(vertices, faces)  # the same rays however the part is drawn
        placed = vertices @ own.T
        spacing, surface = np.ptp(placed, axis=0).max() / RAYS_ACROSS, facets(placed, faces)
        stands, shadows = zip(*(stand(placed, faces, own @ up, spacing, surface) for up in chosen), strict=True)
        return cls(chosen, Standing.of_each(stands), tuple(replace(one, frame=one.frame @ own) for one in shadows))

    @cached_property
    def least_held(self):
        """Index of the direction with the least supports: room and held surface, each against its median."""
        facts = np.array([self.standing.support_cm3, self.standing.held_cm2])
        usual = np.median(facts, axis=1, keepdims=True)
        return int(np.argmin((facts / np.where(usual > 0, usual, 1)).sum(axis=0)))

    def scaled(self, factor):
        """The same directions of a part in similar shape; `factor` (…) ratio of lengths [-]. Returns: Orientations."""
        return Orientations(self.directions, self.standing.scaled(factor), self.shadows)

    @classmethod
    def estimated(cls, part):
        """A part known by its numbers alone stands on a side of its box; a share of its supports stands on itself."""
        share = unmeshed()["unmeshed.inner_share"].value
        return cls(np.eye(3)[[2, 1, 0]], _as_its_box(part, share))
