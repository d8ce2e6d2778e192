"""Where a part is thinnest, where its hollows are narrowest or deep and blind, what is sealed inside or out of reach,
and where corners turn inward.

Seen by rays from points spread evenly over the surface: inward along the normal to the other face of the wall, outward
to the other face of a hollow. Exact for facets at each point; places smaller than a sample's share may be missed.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.parts.meshes import edges_of, facets_of, shell_labels
from pourprint.process.geometry import facets, resized, sphere, turns, unit

LOW = 0.05  # of the surface: what is thinner or narrower than this share of it counts
SAMPLES, MOST_TESTS = 2000, 3_000_000  # points looked from; pairs of ray and facet, so that large meshes take seconds
SHARP_DEG = 60.0  # what turns less is a round in facets
HOLES, LOOKS = 150, 48  # points of hollows that are asked for a hole round them; ways out that are tried from one
ROUND = np.arange(12)[:, None] * np.pi / 6
LEAST_ROUND = 8  # points that tell a hole from a slot


@dataclass(frozen=True, eq=False)
class Walls:
    """The weak places of a part; a study for `Part.study`. Lengths and places in mm, NaN where there is none.

    thin_mm (...): a twentieth of the surface has a thinner wall; thin_at (..., 3): there. narrow_mm (...), narrow_at:
    the same of hollows, infinite where none takes a twentieth. deep [-]: depth over diameter of the deepest round hole
    that is closed at one end and deeper than wide, within a tenth; deep_at. hidden_cm2 (...): surface that no straight
    tool reaches, within a third; hidden_at. sealed [-]: cavities without a way out; sealed_cm3 (...), sealed_at: the
    largest. sharp_mm (...): length of edges that turn inward by more than 60°; sharp_at: the longest. known: False
    without a mesh.
    """

    thin_mm: np.ndarray | float
    thin_at: np.ndarray
    narrow_mm: np.ndarray | float
    narrow_at: np.ndarray
    deep: float
    deep_at: np.ndarray
    hidden_cm2: np.ndarray | float
    hidden_at: np.ndarray
    sealed: int
    sealed_cm3: np.ndarray | float
    sealed_at: np.ndarray
    sharp_mm: np.ndarray | float
    sharp_at: np.ndarray
    known: bool = True

    @classmethod
    def measured(cls, vertices, faces):
        """From a sound mesh: vertices (n, 3) [mm], faces (m, 3)."""
        normals, areas, corners = facets(vertices, faces)
        points, own = _spread(areas, corners, int(np.clip(MOST_TESTS // len(areas), 100, SAMPLES)))
        thick, gap = (_first_hit(points, side * normals[own], corners) for side in (-1, 1))
        weak = []
        for lengths, side in ((thick, -0.5), (gap, 0.5)):
            # To the nanometre: which of equal walls is shown must not hang on a machine's last digit.
            at = int(np.argsort(np.round(lengths, 6), kind="stable")[round(LOW * len(points))])
            across = lengths[at] if np.isfinite(lengths[at]) else np.nan
            weak += [float(lengths[at]), points[at] + side * across * normals[own[at]]]
        return cls(
            *weak,
            *_blind_hole(points, normals[own], gap, corners),
            *_out_of_reach(points, normals[own], gap, corners, areas.sum()),
            *_sealed(vertices, faces),
            *_inward_edges(vertices, faces),
        )

    @classmethod
    def estimated(cls, part):
        """A part known by numbers alone: its typical wall, the rest unknown."""
        none = np.full(3, np.nan)
        return cls(part.wall_mm, none, np.inf, none, 0.0, none, 0.0, none, 0, 0.0, none, 0.0, none, False)

    scaled = resized


def _spread(areas, corners, count):
    """Points spread evenly over a surface (count, 3), and the facet of each."""
    turn = np.arange(count) + 0.5
    own = np.searchsorted(np.cumsum(areas), turn / count * areas.sum())
    own = np.minimum(own, len(areas) - 1)
    s, t = np.sqrt(turn * 0.7548776662 % 1)[:, None], (turn * 0.5698402910 % 1)[:, None]  # Roberts' sequence
    a, b, c = np.moveaxis(corners[own], 1, 0)
    return a * (1 - s) + b * (s * (1 - t)) + c * (s * t), own


def _first_hit(points, directions, corners):
    """How far each ray goes until it meets a facet, (n,) [mm], infinite where it meets none. Möller & Trumbore 1997."""
    a, one, other = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    far, least = np.full(len(points), np.inf), 1e-6 * np.ptp(corners, axis=(0, 1)).max()
    step = max(1, 300_000 // len(a))
    for first in range(0, len(points), step):
        p, d = points[first : first + step, None], directions[first : first + step, None]
        h = np.cross(d, other)
        scale = np.vecdot(one, h)
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = 1 / scale
            q = np.cross(p - a, one)
            u, v, t = np.vecdot(p - a, h) * inverse, np.vecdot(d, q) * inverse, np.vecdot(other, q) * inverse
            met = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t > least)
        far[first : first + step] = np.where(met, t, np.inf).min(axis=1)
    return far


def _blind_hole(points, normals, gap, corners):
    """(depth over diameter of the deepest round hole closed at one end [-], its middle (3,) [mm]).

    A hole's axis is the direction in which no normal of its wall points; its length is the run of wall along it.
    """
    deepest, where = 0.0, np.full(3, np.nan)
    hollow = np.flatnonzero(np.isfinite(gap))
    for at in hollow[:: -(-len(hollow) // HOLES) or 1]:
        width = gap[at]
        middle = points[at] + normals[at] * width / 2
        away = points - middle
        near = np.linalg.norm(away, axis=1) < 0.75 * width
        spread, turned = np.linalg.eigh(normals[near].T @ normals[near])
        if near.sum() < LEAST_ROUND or spread[0] > 0.1 * near.sum() or spread[1] < 0.2 * near.sum():
            continue  # a slot, a pocket or a hole seen aslant
        axis = turned[:, 0]
        along = away @ axis
        across = away - along[:, None] * axis
        wall = (np.linalg.norm(across, axis=1) < 0.6 * width) & (np.vecdot(across, normals) < -0.3 * width)
        lengths = np.array([_reach(along[wall], width / 2), _reach(-along[wall], width / 2)])
        ends = _first_hit(np.stack([middle, middle]), np.stack([axis, -axis]), corners)
        blocked = ends < lengths + width / 2
        if blocked.sum() != 1 or lengths.sum() / width <= deepest:
            continue
        bottom = middle + axis * (np.array([1, -1]) @ (blocked * np.maximum(lengths - width / 2, 0)))
        level = np.cos(ROUND) * turned[:, 1] + np.sin(ROUND) * turned[:, 2]
        if (_first_hit(bottom + 0 * level, level, corners) < width).all():  # else it goes on round a corner
            deepest, where = lengths.sum() / width, middle - axis * np.diff(lengths) / 2
    return float(deepest), where


def _reach(along, step):
    """How far points along a line go on from 0 with no gap wider than `step`."""
    steps = np.append(0.0, np.sort(along[along > 0]))
    gaps = np.flatnonzero(np.diff(steps) > step)
    return steps[gaps[0]] if len(gaps) else steps[-1]


def _out_of_reach(points, normals, gap, corners, area):
    """(surface in hollows from before which no straight line leads out [cm2], a place (3,) [mm])."""
    hollow = np.flatnonzero(np.isfinite(gap))
    count = max(MOST_TESTS // len(corners) // LOOKS, 20)
    asked = hollow[:: -(-len(hollow) // count) or 1]
    middles = points[asked] + normals[asked] * gap[asked, None] / 2
    aside = unit(np.cross(normals[asked], np.where(np.abs(normals[asked, :1]) < 0.9, [1.0, 0, 0], [0, 1.0, 0])))
    turn = np.arange(24)[:, None] * np.pi / 12
    level = np.cos(turn) * aside[:, None] + np.sin(turn) * np.cross(normals[asked], aside)[:, None]
    ways = np.concatenate([level, np.broadcast_to(sphere(LOOKS - 24), (len(asked), LOOKS - 24, 3))], axis=1)
    out = np.isinf(_first_hit(np.repeat(middles, LOOKS, axis=0), ways.reshape(-1, 3), corners)).reshape(-1, LOOKS)
    hidden = ~out.any(axis=1)
    if not hidden.any():
        return 0.0, np.full(3, np.nan)
    share = hidden.mean() * len(hollow) / len(points)
    return float(share * area / 100), middles[hidden][0]


def _sealed(vertices, faces):
    """(how many cavities have no way out [-], volume of the largest [cm3], its middle (3,) [mm])."""
    label = shell_labels(edges_of(faces)[0])
    volumes = np.bincount(label, weights=facets_of(vertices, faces)[0])
    if not (volumes < 0).any():
        return 0, 0.0, np.full(3, np.nan)
    largest = int(np.argmin(volumes))
    return int((volumes < 0).sum()), float(-volumes[largest] / 1e3), vertices[faces[label == largest]].mean((0, 1))


def _inward_edges(vertices, faces):
    """(length of the edges that turn inward sharply [mm], middle (3,) of the longest [mm])."""
    ends, angles = turns(vertices, faces)
    ends = ends[angles < -np.radians(SHARP_DEG)]
    if not len(ends):
        return 0.0, np.full(3, np.nan)
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    return float(lengths.sum()), ends[np.argmax(lengths)].mean(0)
