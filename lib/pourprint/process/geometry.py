"""Plane and solid geometry that several topics share."""

import numpy as np


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


def ranges(first, last):
    """All whole numbers of the ranges first … last − 1: (index of the range, number), both (k,)."""
    length = np.maximum(last - first, 0)
    index = np.repeat(np.arange(len(length)), length)
    start = np.cumsum(length) - length
    return index, np.arange(len(index)) - start[index] + first[index]


def turned(angle):
    """Matrix (2, 2) that turns row vectors by `angle` [rad]; its rows are the axes that stand at that angle."""
    return np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def smallest_rectangle(points, turns=90):
    """(angle [rad], length, width [mm]) of the smallest rectangle round points (n, 2), among `turns` of 90°/turns."""
    from scipy.spatial import ConvexHull

    hull = points[ConvexHull(points).vertices]
    angles = np.arange(turns) * np.pi / 2 / turns
    along = np.ptp(hull @ np.array([np.cos(angles), np.sin(angles)]), axis=0)
    across = np.ptp(hull @ np.array([-np.sin(angles), np.cos(angles)]), axis=0)
    best = int(np.argmin(along * across))
    return angles[best], along[best], across[best]


def centre_of_mass(vertices, faces):
    """Centre of mass (3,) of a closed mesh (vertices [mm], faces) [mm]. Source: exact, from tetrahedra to the origin.

    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])  # of a tetrahedron: the mean of its corners
    >>> centre_of_mass(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).tolist()
    [1.0, 1.0, 1.0]
    """
    corners = np.asarray(vertices, dtype=float)[np.asarray(faces)]
    sixth = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return sixth @ corners.sum(1) / 4 / sixth.sum()
