"""Plane and solid geometry that several topics share."""

from dataclasses import fields, replace
from functools import lru_cache

import numpy as np

from pourprint.parts.meshes import edges_of, unit_vector

MOST_FLATS = 100  # of a hull, the largest: one of them lies on a side of its least box
POWERS = {"mm": 1, "at": 1, "cm2": 2, "cm3": 3}  # of length, by the end of a field's name


def unit(vectors):
    """Vectors (…, 3) at length one; those without a length stay 0."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300)


def area_vectors(corners):
    """Twice the area of facets with corners (m, 3, 3), along their normals, (m, 3)."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def facets(vertices, faces):
    """Normal (m, 3), area [mm2] (m,) and corners [mm] (m, 3, 3) of every facet that has an area."""
    corners = np.asarray(vertices, dtype=float)[faces]
    vectors = area_vectors(corners)
    double = np.linalg.norm(vectors, axis=1)
    good = double > 0
    return vectors[good] / double[good, None], double[good] / 2, corners[good]


def turns(vertices, faces):
    """How a surface turns at every edge that two facets share: the edge's ends (e, 2, 3) [mm], and the angle (e,)
    [rad], above 0 where it bulges."""
    number = edges_of(faces)[0].ravel()
    order = np.argsort(number, kind="stable")
    one, other = order[np.bincount(number)[number[order]] == 2].reshape(-1, 2).T
    ends = vertices[np.stack([faces.ravel()[one], np.roll(faces, -1, axis=1).ravel()[one]], axis=1)]
    normals, along = unit(area_vectors(vertices[faces])), unit(ends[:, 1] - ends[:, 0])
    a, b = normals[one // 3], normals[other // 3]
    return ends, np.arctan2(np.vecdot(np.cross(a, b), along), np.vecdot(a, b))


def resized(study, factor):
    """A study as it was measured, of the part in similar shape: its lengths, areas and volumes (named ..._mm or ..._at,
    ..._cm2, ..._cm3) by the powers of `factor` (...), the ratio of lengths [-], whose axes come first."""
    sizes = {}
    for name in (one.name for one in fields(study)):
        if power := POWERS.get(name.rpartition("_")[2]):
            value = getattr(study, name)
            sizes[name] = value * np.asarray(factor)[(..., *[None] * np.ndim(value))] ** power
    return replace(study, **sizes)


def sphere(n):
    """`n` directions spread evenly over the sphere, (n, 3) of length one: a Fibonacci lattice."""
    i = np.arange(n) + 0.5
    z, turn = 1 - 2 * i / n, np.pi * (1 + 5**0.5) * i
    level = np.sqrt(1 - z**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), z], axis=1)


def ranges(first, last):
    """All whole numbers of the ranges first … last − 1: (index of the range, number), both (k,)."""
    length = np.maximum(last - first, 0)
    index = np.repeat(np.arange(len(length)), length)
    start = np.cumsum(length) - length
    return index, np.arange(len(index)) - start[index] + first[index]


def turned(angle):
    """Matrix (2, 2) that turns row vectors by `angle` [rad]; its rows are the axes that stand at that angle."""
    return np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def smallest_rectangle(points):
    """(Axes (2, 2) as rows, length, width [mm]) of the smallest rectangle round points (n, 2): it lies on their hull.

    Of several as small, the longest: so noise in the points does not choose.
    """
    from scipy.spatial import ConvexHull

    hull = points[ConvexHull(points).vertices]
    edges = np.roll(hull, -1, axis=0) - hull
    angles = np.arctan2(edges[:, 1], edges[:, 0]) % (np.pi / 2)
    along = np.ptp(hull @ np.array([np.cos(angles), np.sin(angles)]), axis=0)
    across = np.ptp(hull @ np.array([-np.sin(angles), np.cos(angles)]), axis=0)
    best = _least(along * across, np.maximum(along, across))
    return turned(angles[best]), along[best], across[best]


def _least(sizes, lengths):
    """Index of the least size; of those within 1e-4 of it, of the greatest length."""
    return int(np.argmax(np.where(sizes <= min(sizes) * (1 + 1e-4), lengths, -np.inf)))


def frame_along(direction):
    """Unit vectors u, v, w (3, 3) as rows, right-handed, with w along direction (3,). Raises InputError."""
    w = unit_vector(direction, "direction")
    # From the axis least along w; for +z this leaves u and v on x and y.
    helper = np.eye(3)[1] if abs(w[2]) > 0.99 else np.eye(3)[2]
    u = unit(np.cross(helper, w))
    return np.array([u, np.cross(w, u), w])


def own_frame(vertices, faces):
    """Axes of a part's own (3, 3), rows of length one, right-handed, which turn with it however it is drawn.

    They are those of its least box, the longest side first, among boxes with a large flat of its hull on a side; the
    first two point to the heavier half. Parameters: closed mesh, vertices (n, 3) [mm], faces. Of boxes of one volume
    it is the longest.
    """
    return _own_frame(np.asarray(vertices, dtype=float).tobytes(), np.asarray(faces, dtype=np.int64).tobytes()).copy()


@lru_cache(maxsize=4)  # several studies of one mesh follow each other, and each asks for it
def _own_frame(vertices, faces):
    """`own_frame` of the bytes of float vertices and 64-bit faces."""
    from scipy.spatial import ConvexHull

    vertices, faces = np.frombuffer(vertices).reshape(-1, 3), np.frombuffer(faces, dtype=np.int64).reshape(-1, 3)
    hull = ConvexHull(vertices)
    points, areas = vertices[hull.vertices], np.linalg.norm(area_vectors(vertices[hull.simplices]), axis=1)
    _, first, flat = np.unique(np.round(hull.equations, 6), axis=0, return_index=True, return_inverse=True)
    largest = np.argsort(-np.bincount(flat.ravel(), areas), kind="stable")[:MOST_FLATS]
    frames, boxes = [], []
    for normal in hull.equations[first[largest], :3]:
        frame = frame_along(normal)
        turn, *sides = smallest_rectangle(points @ frame[:2].T)
        frames.append(np.vstack([turn @ frame[:2], frame[2]]))
        boxes.append([*sides, np.ptp(points @ normal)])
    best = frames[_least(np.prod(boxes, axis=1), np.max(boxes, axis=1))]
    placed = points @ best.T
    order = np.argsort(-np.ptp(placed, axis=0), kind="stable")
    heavy = best @ centre_of_mass(vertices, faces) - (placed.min(0) + placed.max(0)) / 2
    first, second = (best * np.where(heavy < 0, -1, 1)[:, None])[order[:2]]
    return np.array([first, second, np.cross(first, second)])


def nearest_to(place, points, within):
    """Of points (n, 3) the nearest to a place (3,); of those `within` as near, the farthest along x, then y, then z.

    So rounding chooses neither between two lugs nor on a ring: the axes do, which should be the part's own.

    >>> nearest_to((0, 0, 0), [(-3, 0, 0), (-1, 0, 0), (1.0001, 0, 0), (3, 0, 0)], 0.5).tolist()
    [1.0001, 0.0, 0.0]
    """
    points = np.asarray(points, dtype=float)
    away = np.linalg.norm(points - place, axis=1)
    near = points[away <= away.min() + within]
    return near[np.lexsort(near.T[::-1])[-1]]


def centre_of_mass(vertices, faces):
    """Centre of mass (3,) of a closed mesh (vertices [mm], faces) [mm]. Source: exact, from tetrahedra to the origin.

    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])  # of a tetrahedron: the mean of its corners
    >>> centre_of_mass(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).tolist()
    [1.0, 1.0, 1.0]
    """
    corners = np.asarray(vertices, dtype=float)[np.asarray(faces)]
    sixth = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return sixth @ corners.sum(1) / 4 / sixth.sum()
