"""Triangle meshes: measure them, turn them, cut them into layers.

Pure functions on vertices (n, 3) [mm] and faces (m, 3) [-]; +z is up. Of a mesh that is closed and points outward, as
`mending` leaves it, volume, area and sections are exact for its facets.
"""

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError

SELF_SUPPORTING_DEG = 45.0  # least slope against the plate that carries itself (VDI 3405-3, from memory)


def edges_of(faces):
    """Number of the edge on every side of every facet, and the direction (1 or -1) it is run, each (m, 3)."""
    a, b = faces, np.roll(faces, -1, axis=1)
    keys = np.minimum(a, b) * (faces.max() + 1) + np.maximum(a, b)
    return np.unique(keys, return_inverse=True)[1].reshape(-1, 3), np.where(a < b, 1, -1)


def groups_of(a, b, size):
    """Group number (size,) of each of `size` nodes, of which a[k] and b[k] are linked."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    return connected_components(coo_array((np.ones(len(a), bool), (a, b)), (size, size)), directed=False)[1]


def shell_labels(number):
    """Number (m,) of the shell that each facet belongs to, by the numbers (m, 3) of its edges as of `edges_of`; facets
    with a common edge hang together."""
    m = len(number)
    return groups_of(np.repeat(np.arange(m), 3), m + number.ravel(), m + number.max() + 1)[:m]


def measure(vertices, faces):
    """Exact measures of a closed mesh: volume [mm3], area [mm2], box (3,) [mm]."""
    volumes, areas = facets_of(vertices, faces)
    return volumes.sum(), areas.sum(), np.ptp(vertices[faces], axis=(0, 1))


def counted(vertices, faces):
    """How many separate bodies a closed mesh has, and how many closed cavities are inside them [-]."""
    shells = np.bincount(shell_labels(edges_of(faces)[0]), weights=facets_of(vertices, faces)[0])
    return int((shells > 0).sum()), int((shells < 0).sum())


SAME_MM = 1e-8  # what lies as close is one point


def merged(vertices, faces):
    """Facets with the corners that they use and share, in the order in which these come: vertices, faces."""
    import pandas as pd

    corners = vertices[faces.ravel()]
    places = pd.DataFrame(np.round((corners - corners.min(0)) / SAME_MM))
    number = places.groupby([0, 1, 2], sort=False).ngroup().to_numpy()
    return corners[np.unique(number, return_index=True)[1]], number.reshape(-1, 3)


def bodies_of(vertices, faces):
    """The separate bodies of a sound mesh, each with the cavities inside it: [faces], largest first."""
    label = shell_labels(edges_of(faces)[0])
    volumes = np.bincount(label, weights=facets_of(vertices, faces)[0])
    shells = [faces[label == i] for i in range(len(volumes))]
    order = np.argsort(-volumes, kind="stable")
    owned = {int(i): [shells[i]] for i in order if volumes[i] > 0}
    for i in np.flatnonzero(volumes < 0):
        point = vertices[shells[i][0]].mean(0)
        # Of several round a cavity the smallest is its own.
        owner = next((j for j in reversed(owned) if is_inside(point, vertices[shells[j]])), None)
        if owner is not None:
            owned[owner].append(shells[i])
    return [np.concatenate(own) for own in owned.values()]


def is_inside(point, triangles):
    """Is a point (3,) inside a closed shell of triangles (m, 3, 3)? Winding number by solid angles."""
    a, b, c = np.moveaxis(triangles - point, 1, 0)
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    solid = np.vecdot(a, np.cross(b, c))
    angle = np.arctan2(solid, la * lb * lc + np.vecdot(a, b) * lc + np.vecdot(b, c) * la + np.vecdot(c, a) * lb)
    return abs(angle.sum() / (2 * np.pi)) > 0.5


def solid_of(vertices, faces):
    """A closed mesh as a Manifold [mm], to be united, cut and simplified."""
    from manifold3d import Manifold, Mesh64

    return Manifold(Mesh64(np.array(vertices, order="C"), np.array(faces, dtype=np.uint64, order="C")))


def mesh_of(solid):
    """The vertices [mm] and faces of a Manifold."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts).astype(int)


def loosened(vertices, faces, by_mm):
    """Vertices [mm] of a closed mesh in which no two are at one place: where its sheets touch along an edge or at a
    point, each sheet's corner is moved by `by_mm` [mm] towards its own neighbours."""
    _, place, count = np.unique(np.round(vertices, 6), axis=0, return_inverse=True, return_counts=True)
    twins = np.flatnonzero(count[place.ravel()] > 1)
    loose = np.array(vertices)
    for twin in twins:
        way = vertices[np.unique(faces[(faces == twin).any(1)])].mean(0) - vertices[twin]
        loose[twin] += by_mm * way / np.linalg.norm(way)
    return loose


def simplified(vertices, faces, within_mm):
    """A copy of a closed mesh with fewer facets, its surface moved by at most `within_mm` [mm]: vertices, faces."""
    return mesh_of(solid_of(vertices, faces).simplify(within_mm))


def facets_of(vertices, faces):
    """Signed volume to the middle of all vertices [mm3] and area [mm2] of every facet, each (m,)."""
    # From the middle, not from a far origin, so that little is lost to rounding.
    a, b, c = np.moveaxis((vertices - vertices.mean(0))[faces], 1, 0)
    cross = np.cross(b - a, c - a)
    return np.vecdot(a, cross) / 6, np.linalg.norm(cross, axis=1) / 2


RAYS_ACROSS = 64  # looked along to see what is counted twice


def miscounted(vertices, faces):
    """What a closed mesh counts more than once, and less than not at all, each as a share of its metal [-].

    Along upright rays every facet is entered or left: where more have been entered than one, shells or a single shell
    cross themselves; where more have been left, a part of them is inside out. Sampled across the rays, exact along
    them; both are 0 for a sound mesh.
    """
    points = vertices - vertices.min(0)
    spacing = points[:, :2].max() / RAYS_ACROSS
    u, v = (points[:, k][faces] / spacing - 0.5017 - 0.0131 * k for k in (0, 1))  # beside the edges of round sizes
    first, last = (np.stack([f(x.min(1)), f(x.max(1))]) for f, x in ((np.ceil, u), (np.ceil, v)))
    wide, deep = (np.diff(x, axis=0)[0].astype(int) for x in (first, last))
    hit = np.repeat(np.arange(len(faces)), wide * deep)
    nth = np.arange(len(hit)) - np.repeat(np.cumsum(wide * deep) - wide * deep, wide * deep)
    i, j = first[0, hit] + nth // deep[hit], last[0, hit] + nth % deep[hit]
    f, u, v = faces[hit], u[hit], v[hit]
    twice = [(u[:, b] - i) * (v[:, c] - j) - (u[:, c] - i) * (v[:, b] - j) for b, c in ((1, 2), (2, 0), (0, 1))]
    # Which side of an edge a ray passes is judged from the edge alone, the same way for both its facets.
    flip = [np.where(f[:, b] < f[:, c], 1, -1) for b, c in ((1, 2), (2, 0), (0, 1))]
    side = np.stack([np.where(w * s >= 0, s, -s) for w, s in zip(twice, flip, strict=True)])
    inside = np.abs(side.sum(0)) == 3
    weights, up = np.stack(twice)[:, inside], side[0, inside]
    height = (weights * points[:, 2][f[inside]].T).sum(0) / np.where(weights.sum(0) == 0, 1, weights.sum(0))
    ray = i[inside] * 2 * RAYS_ACROSS * 1000 + j[inside]
    order = np.lexsort((up, height, ray))
    length = np.diff(height[order], append=0) * (np.diff(ray[order], append=-1) == 0)
    deep_in = -np.cumsum(up[order])
    metal = max(length @ (deep_in > 0), 1e-300)
    return length @ np.maximum(deep_in - 1, 0) / metal, length @ np.maximum(-deep_in, 0) / metal


def unit_vector(value, name):
    """A direction (3,) of length one. Raises InputError, naming the argument, where value is no direction."""
    try:
        vector = np.asarray(value, dtype=float)
        length = np.linalg.norm(vector)
    except (TypeError, ValueError):
        vector, length = np.zeros(0), 0.0
    if vector.shape != (3,) or not np.isfinite(length) or length < 1e-12:
        raise InputError(f"{name}={value!r} must be a direction: three numbers, not all zero, as (0, 0, 1).")
    return vector / length


def rotated_up(vertices, up):
    """Vertices (n, 3) turned about the origin by the shortest way so that direction up (3,) becomes +z.

    Raises InputError for a direction that is none.
    """
    x, y, z = unit_vector(up, "up")
    level = np.hypot(x, y)
    if level < 1e-12:
        return vertices * (1, 1, 1) if z > 0 else vertices * (1, -1, -1)
    from scipy.spatial.transform import Rotation  # what stands upright already need not load it

    return Rotation.from_rotvec(np.array([y, -x, 0]) / level * np.arctan2(level, z)).apply(vertices)


def overhang(vertices, faces):
    """Surfaces that cannot carry themselves when built upward from the plate z = min, which carries what lies on it.

    Returns the area they project on the plate [mm2] and the space from them straight down to the plate [mm3].
    The space is an upper bound: where metal lies between, a support ends on that metal.
    """
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    cross = np.cross(b - a, c - a)
    z = vertices[faces][:, :, 2] - vertices[faces][:, :, 2].min()
    steepness = np.linalg.norm(cross, axis=1) * np.cos(np.radians(SELF_SUPPORTING_DEG))
    hanging = (-cross[:, 2] > steepness * (1 + 1e-6)) & (z.max(axis=1) > 1e-3)
    projected = -cross[hanging, 2] / 2
    return projected.sum(), (projected * z[hanging].mean(axis=1)).sum()


def sections(vertices, faces, heights_mm):
    """Exact area and perimeter of horizontal sections of a closed mesh, in time O(facets + heights).

    heights_mm (n,): heights above the lowest point [mm]. Where the section jumps (at a flat facet) the value
    just above is given. Returns area [mm2] and perimeter [mm], each (n,). Raises InputError.
    """
    check_numbers(True, heights_mm=heights_mm)
    heights = np.atleast_1d(np.asarray(heights_mm, dtype=float))
    order = np.argsort(heights)
    h = heights[order]
    corners = vertices[faces]
    (ax, ay, _), (bx, by, _) = (corners[:, i].T - corners[:, 0].T for i in (1, 2))
    projected = (ax * by - ay * bx) / 2  # upward facets positive
    corners = np.take_along_axis(corners, np.argsort(corners[:, :, 2], axis=1)[:, :, None], axis=1)
    corners[:, :, 2] -= corners[:, :, 2].min()
    z1, z2, z3 = corners[:, :, 2].T
    span = np.where(z3 > z1, z3 - z1, 1)
    on_edge = corners[:, 0] + (corners[:, 2] - corners[:, 0]) * ((z2 - z1) / span)[:, None]
    widest = np.linalg.norm((corners[:, 1] - on_edge)[:, :2], axis=1)

    # Over a closed surface the section's area is the sum of the projected areas of all facets above it. Of a
    # facet, the whole projection P is above z1, P - q (z - z1)^2 above a z up to z2, q (z3 - z)^2 up to z3;
    # the cut's length grows in proportion to z - z1 and then shrinks in proportion to z3 - z.
    lower, upper = np.flatnonzero(z2 > z1), np.flatnonzero(z3 > z2)
    start = np.concatenate([z1[lower], z2[upper]])
    end = np.concatenate([z2[lower], z3[upper]])
    anchor = np.concatenate([z1[lower], z3[upper]])
    whole = np.concatenate([projected[lower], np.zeros(len(upper))])
    sign = np.repeat([1.0, -1.0], [len(lower), len(upper)])
    both = np.concatenate([lower, upper])
    bend = -sign * projected[both] / (span[both] * (end - start))
    slope = sign * widest[both] / (end - start)
    first, last = np.searchsorted(h, start), np.searchsorted(h, end)

    n = len(h)
    below = np.searchsorted(h, z1)
    area = np.cumsum(np.bincount(np.zeros_like(below), projected, n + 1) - np.bincount(below, projected, n + 1))[:n]
    perimeter = np.zeros(n)

    # Flat pieces have coefficients too large to be summed and subtracted again; they meet few heights, so
    # each is evaluated on its own. The others are summed as polynomials about the middle height.
    flat = end - start < 1e-3 * z3.max()
    pieces = np.repeat(np.flatnonzero(flat), (last - first)[flat])
    at = np.arange(len(pieces)) - np.repeat(np.cumsum((last - first)[flat]), (last - first)[flat]) + last[pieces]
    d = h[at] - anchor[pieces]
    area += np.bincount(at, whole[pieces] + bend[pieces] * d**2, n)
    perimeter += np.bincount(at, slope[pieces] * d, n)

    first, last, whole, bend, slope = (x[~flat] for x in (first, last, whole, bend, slope))
    middle = z3.max() / 2
    a, u = anchor[~flat] - middle, h - middle

    def summed(weights):
        return np.cumsum(np.bincount(first, weights, n + 1) - np.bincount(last, weights, n + 1))[:n]

    area += (summed(bend) * u - 2 * summed(bend * a)) * u + summed(whole + bend * a**2)
    perimeter += summed(slope) * u - summed(slope * a)
    result = np.empty((2, n))
    result[:, order] = np.maximum(area, 0), np.maximum(perimeter, 0)  # rounding may leave -1e-12
    return result[0], result[1]
