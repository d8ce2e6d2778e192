"""Which way up: many directions scanned by projection, the best few measured again by ray columns.

What makes a direction good depends on the printer, so this only measures; the route puts hours on it.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.entries import unmeshed
from pourprint.process.geometry import facets, frame_along, own_frame, smallest_rectangle, sphere, unit
from pourprint.process.powder.supports import ON_PLATE_MM, Shadow, Standing, hanging, stand

SPREAD = 200  # directions spread evenly
FLATS = 20  # directions from the largest flats: each may lie on the plate or look up
RAYS_ACROSS = 70  # ray columns along the part's largest side: support volumes within about 1% (measured)
WISHES = (  # weights of height, room for supports, held surface, and of the box's longest side: for a small printer
    *((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (1, 1, 0, 0), (1, 0, 1, 0), (0, 1, 1, 0)),
    *((1, 1, 1, 0), (4, 1, 1, 0), (1, 4, 1, 0), (0, 0, 0, 1)),
)
MOST_FACETS = 20_000  # a scan of more takes a fair sample of them
MOST_CORNERS = 2000  # of a hull; of more, those that stick out farthest: rectangles round them within 1%


def directions_of(normals, areas, drawn):
    """Directions worth a look, (n, 3): as drawn first, the axes, the largest flats, and an even spread.

    Parameters: facets' normals (m, 3) and areas (m,) [mm2]. A part that stands on a flat needs no support there.
    """
    rough, group = np.unique(np.round(normals, 2), axis=0, return_inverse=True)
    size = np.bincount(group.ravel(), areas)
    largest = rough[np.argsort(-size)[:FLATS]]
    axes = np.concatenate([np.eye(3)[::-1], -np.eye(3)])
    found = unit(np.concatenate([[drawn], axes, largest, -largest, sphere(SPREAD)]))
    _, first = np.unique(np.round(found, 3), axis=0, return_index=True)
    return found[np.sort(first)]


def projected(vertices, surface, directions):
    """How a closed mesh stands in each of some directions (n, 3), by projection to the plate: Standing (n,).

    Parameters: `vertices` (m, 3) [mm]; `surface` as from `facets`. What stands below is not seen: every support counts
    as reaching the plate, so its room is an upper bound.
    """
    from scipy.spatial import ConvexHull

    normals, areas, corners = surface
    middles, hull = corners.mean(axis=1), vertices[ConvexHull(vertices).vertices]
    if len(areas) > MOST_FACETS:  # a random but fixed pick, areas raised to the sum
        pick = np.random.default_rng(0).choice(len(areas), MOST_FACETS, replace=False)
        normals, middles, areas = normals[pick], middles[pick], areas[pick] * (areas.sum() / areas[pick].sum())

    ends = hull if len(hull) <= MOST_CORNERS else hull[np.unique(np.argmax(hull @ sphere(500).T, axis=0))]
    heights = directions @ hull.T

    def seen(up, look, above):
        _, length, width = smallest_rectangle(ends @ frame_along(up)[:2].T)
        held, flat = np.where(hanging(-look), -look * areas, 0), above <= ON_PLATE_MM
        foot, side = (held * flat).sum(), (areas * np.sqrt(np.maximum(1 - look**2, 0))).sum()
        shadow = min((areas * np.abs(look)).sum() / 2, length * width)
        return length, width, foot, (held * ~flat).sum(), (held * above * ~flat).sum(), side, shadow

    low = heights.min(axis=1)
    rows = zip(directions, directions @ normals.T, directions @ middles.T - low[:, None], strict=True)
    return _guessed(np.ptp(heights, axis=1), *np.transpose([seen(*row) for row in rows]))


def _guessed(height, length, width, foot, held, room, side, shadow, inner_share=0.0):
    """A Standing from measures in mm, mm2 and mm3, with the mean reach of a square shadow: a sixth of its side."""
    plate, inner = held * (1 - inner_share) / 100, held * inner_share / 100
    reach_cm = np.sqrt(shadow) / 60  # exact for a square: mean distance to the nearest side
    return Standing(
        height, length, width, foot / 100, plate, inner, room / 1000, side / 100, shadow / 100,
        plate * reach_cm, inner * reach_cm,
    )  # fmt: skip


def _over_median(facts):
    """Facts (f, k) of k directions, each over its median where that is above 0 [-]."""
    usual = np.median(facts, axis=1, keepdims=True)
    return facts / np.where(usual > 0, usual, 1)


def _as_its_box(part):
    """A part known by numbers on each side of its box, as given first: its overhang the same share of the footprint."""
    ways = np.moveaxis(np.stack([np.roll(part.box_mm, turn, axis=-1) for turn in range(3)]), 0, -2)  # (…, 3 ways, 3)
    x, y, z = np.moveaxis(ways, -1, 0)
    one = [np.asarray(v)[..., None] for v in (part.overhang_cm2, part.support_cm3, part.area_cm2)]
    overhang, support, area, _ = np.broadcast_arrays(*one, z)
    foot, inner_share = (unmeshed()[f"unmeshed.{key}"].value for key in ("foot_fraction", "inner_share"))
    held = 100 * overhang * x * y / (x * y)[..., :1]
    # Mean of the sine over all slopes of a surface without a preferred direction: π/4 (exact).
    return _guessed(z, x, y, foot * x * y, held, 1000 * support, 100 * np.pi / 4 * area, x * y, inner_share)


@dataclass(frozen=True, eq=False)
class Orientations:
    """The few directions worth choosing between, measured by ray columns; the first is the part as drawn.

    directions (k, 3); standing: Standing (k,), or (…, k) where the part is scaled by an array; shadows: (k,) of
    Shadow at the measured size, empty for a part known by numbers. tried (n, 3), scan: all directions that were looked
    at, and their Standing by projection, at the measured size. A study for `Part.study`.
    """

    directions: np.ndarray
    standing: Standing
    shadows: tuple[Shadow, ...]
    tried: np.ndarray
    scan: Standing

    @classmethod
    def measured(cls, vertices, faces):
        """The candidates of a closed mesh [mm]: the best two of the scan for each of the WISHES.

        A wish weighs facts of a direction, each against its own median.
        """
        own = own_frame(vertices, faces)  # the same rays however the part is drawn
        placed = vertices @ own.T
        spacing, surface = np.ptp(placed, axis=0).max() / RAYS_ACROSS, facets(placed, faces)
        tried = directions_of(*surface[:2], own[:, 2])
        scan = projected(placed, surface, tried)
        longest = np.maximum(scan.height_mm, np.maximum(scan.length_mm, scan.width_mm))
        facts = np.array([scan.height_mm, scan.support_cm3, scan.held_cm2, longest])
        scores = np.array(WISHES) @ _over_median(facts)
        best = np.argsort(scores, axis=1, kind="stable")[:, :2]
        chosen = tried[np.unique([*range(4), *best.ravel()])]  # as drawn and along the three axes always
        stands, shadows = zip(*(stand(placed, faces, up, spacing) for up in chosen), strict=True)
        shadows = tuple(replace(one, frame=one.frame @ own) for one in shadows)
        return cls(chosen @ own, Standing.of_each(stands), shadows, tried @ own, scan)

    @cached_property
    def least_held(self):
        """Index of the direction with the least supports: room and held surface, each against its median."""
        facts = np.array([self.standing.support_cm3, self.standing.held_cm2])
        return int(np.argmin(_over_median(facts).sum(axis=0)))

    def scaled(self, factor):
        """The same directions of a part in similar shape; `factor` (…) ratio of lengths [-]. Returns: Orientations."""
        return replace(self, standing=self.standing.scaled(factor))

    @classmethod
    def estimated(cls, part):
        """A part known by its numbers alone stands on a side of its box; a share of its supports stands on itself."""
        ways, standing = np.eye(3)[[2, 1, 0]], _as_its_box(part)
        return cls(ways, standing, (), ways, standing)
