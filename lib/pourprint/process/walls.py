"""Where a part is thinnest, where its hollows are narrowest, what is sealed inside and where corners turn inward.

Seen by rays from points spread evenly over the surface: inward along the normal to the other face of the wall, outward
to the other face of a hollow. Exact for facets at each point; places smaller than a sample's share may be missed.
"""

from dataclasses import dataclass, replace

import numpy as np

from pourprint.parts.meshes import edges_of, facets_of, shell_labels
from pourprint.process.geometry import facets

LOW = 0.05  # of the surface: what is thinner or narrower than this share of it counts
SAMPLES, MOST_TESTS = 2000, 3_000_000  # points looked from; pairs of ray and facet, so that large meshes take seconds
SHARP_DEG = 60.0  # what turns less is a round in facets


@dataclass(frozen=True, eq=False)
class Walls:
    """The weak places of a part; a study for `Part.study`. Lengths and places in mm, NaN where there is none.

    thin_mm (...): a twentieth of the surface has a thinner wall; thin_at (..., 3): there. narrow_mm (...), narrow_at:
    the same of hollows, infinite where none takes a twentieth. sealed [-]: cavities without a way out; sealed_cm3
    (...), sealed_at: the largest. sharp_mm (...): length of edges that turn inward by more than 60°; sharp_at: the
    longest. known: False without a mesh.
    """

    thin_mm: np.ndarray | float
    thin_at: np.ndarray
    narrow_mm: np.ndarray | float
    narrow_at: np.ndarray
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
            at = int(np.argsort(lengths, kind="stable")[round(LOW * len(points))])
            across = lengths[at] if np.isfinite(lengths[at]) else np.nan
            weak += [float(lengths[at]), points[at] + side * across * normals[own[at]]]
        return cls(
            *weak,
            *_sealed(vertices, faces),
            *_inward_edges(vertices, faces),
        )

    @classmethod
    def estimated(cls, part):
        """A part known by numbers alone: its typical wall, the rest unknown."""
        none = np.full(3, np.nan)
        return cls(part.wall_mm, none, np.inf, none, 0, 0.0, none, 0.0, none, False)

    def scaled(self, factor):
        """The same places of a part in similar shape; `factor` (...) ratio of lengths [-]."""
        by = {"mm": np.asarray(factor), "at": np.asarray(factor)[..., None], "cm3": np.asarray(factor) ** 3}
        sizes = {k: v * by[k.rpartition("_")[2]] for k, v in vars(self).items() if k.rpartition("_")[2] in by}
        return replace(self, **sizes)


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


def _sealed(vertices, faces):
    """(how many cavities have no way out [-], volume of the largest [cm3], its middle (3,) [mm])."""
    label = shell_labels(faces)
    volumes = np.bincount(label, weights=facets_of(vertices, faces)[0])
    if not (volumes < 0).any():
        return 0, 0.0, np.full(3, np.nan)
    largest = int(np.argmin(volumes))
    return int((volumes < 0).sum()), float(-volumes[largest] / 1e3), vertices[faces[label == largest]].mean((0, 1))


def _inward_edges(vertices, faces):
    """(length of the edges that turn inward sharply [mm], middle (3,) of the longest [mm])."""
    number = edges_of(faces)[0].ravel()
    order = np.argsort(number, kind="stable")
    pair = order[np.bincount(number)[number[order]] == 2].reshape(-1, 2)
    one, other = pair.T // 3
    corners = vertices[faces]
    vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    vectors /= np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300)
    sharp = np.vecdot(vectors[one], vectors[other]) < np.cos(np.radians(SHARP_DEG))
    middles = corners.mean(1)
    sharp &= np.vecdot(middles[other] - middles[one], vectors[one]) > 0
    at = pair[sharp, 0]
    ends = vertices[faces.ravel()[at]], vertices[np.roll(faces, -1, axis=1).ravel()[at]]
    lengths = np.linalg.norm(ends[1] - ends[0], axis=1)
    if not len(lengths):
        return 0.0, np.full(3, np.nan)
    longest = int(np.argmax(lengths))
    return float(lengths.sum()), (ends[0][longest] + ends[1][longest]) / 2
