"""Triangle meshes: read and mend files, measure them, cut them into layers.

Pure functions on vertices (n, 3) [mm] and faces (m, 3) [-]; +z is up. A mesh that passes all checks is closed
and points outward, so its volume, area and sections are exact for its facets. Not found: a single shell that
cuts through itself.
"""

import re
from itertools import combinations

import numpy as np

from pourprint.checks import check_numbers, existing_file
from pourprint.errors import InputError

FORMATS = (".stl", ".obj", ".ply", ".3mf")
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
_UNITS_3MF = {"millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "inch"}
SMALLEST_MM, LARGEST_MM = 1.0, 2000.0  # box of a believable node
SMALL_HOLE_SHARE = 0.01  # of the surface; a larger hole is a missing part of the design
MOST_SHELLS = 500
MOST_FACETS = 2_000_000  # keeps a reading below some 15 s


def read_mesh(path, unit="mm"):
    """Read a mesh file (STL, OBJ, PLY or 3MF), check it and mend what can be mended safely.

    unit: the file's unit: mm, cm, m or inch; a 3MF file states its own, and it must be the same one.
    Returns vertices (n, 3) [mm], faces (m, 3), notes (what was mended, as sentences). Raises InputError.
    """
    path = existing_file(path, FORMATS)
    if not isinstance(unit, str) or unit not in UNITS_MM:
        raise InputError(f"unit={unit!r} must be one of {', '.join(UNITS_MM)}.")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path.name} cannot be read: {error.strerror}.") from None
    facets = _check_bytes(path, data)

    import trimesh

    try:
        options = {"skip_materials": True} if path.suffix.lower() == ".obj" else {}
        # Unprocessed, since processing drops facets with NaN in silence.
        scene = trimesh.load_scene(path, process=False, **options)
        mesh = scene.to_mesh()
        vertices, faces, stated = mesh.vertices, mesh.faces, scene.units
    except Exception as error:  # the reader's own errors are of every kind
        reason = str(error).strip().split("\n")[0] or type(error).__name__
        raise InputError(f"{path.name} cannot be read as a mesh ({reason}); export it again.") from None
    if facets is not None and facets != len(faces):
        raise InputError(f"{path.name} states {facets} facets but only {len(faces)} can be read; export it again.")
    if path.suffix.lower() == ".3mf" and _UNITS_3MF.get(str(stated).removesuffix("s")) != unit:
        raise InputError(f"{path.name} states the unit {stated!r} but unit={unit!r} was given; they must agree.")
    return mended(vertices, faces, path.name, unit)


def _check_bytes(path, data):
    """Refuse what is no mesh file; returns the facets that the file itself states, None where it does not."""
    if not data.strip():
        raise InputError(f"{path.name} is empty; export the mesh again.")
    start = data[:512].lstrip().lower()
    if start.startswith((b"<!doctype", b"<html", b"<head")):
        raise InputError(f"{path.name} is a web page, not a mesh; download the file itself.")
    if path.suffix.lower() != ".stl":
        return None
    stated = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if len(data) == 84 + 50 * stated:
        return stated
    if start.startswith(b"solid") and (b"facet" in data or b"endsolid" in data):
        if b"endsolid" not in data.lower():
            raise InputError(f"{path.name} breaks off before 'endsolid'; export or copy it again.")
        return len(re.findall(rb"\bfacet\s", data, re.IGNORECASE))
    if data[:1024].isascii() and b"\0" not in data[:1024]:
        raise InputError(f"{path.name} is text but no STL mesh; export it again as STL.")
    raise InputError(
        f"{path.name} is no whole binary STL: it states {max(stated, 0)} facets, but its {len(data)} bytes"
        f" hold {max(len(data) - 84, 0) / 50:.10g}; export or copy it again."
    )


def mended(vertices, faces, name="mesh", unit="mm"):
    """Check a triangle mesh and mend what can be mended safely.

    Mended and noted: facets given twice, small holes (together at most 1 % of the surface), mixed winding,
    inward normals, shells that overlap or touch (united). Refused: everything else that is no closed solid
    with a box between 1 and 2000 mm.
    Returns vertices (n, 3) [mm], faces (m, 3), notes (sentences). Raises InputError.
    """
    import trimesh

    try:
        vertices = np.asarray(vertices, dtype=float).reshape(-1, 3) * UNITS_MM[unit]
        faces = np.asarray(faces).reshape(-1, 3)
    except (TypeError, ValueError, KeyError):
        raise InputError(f"{name}: vertices and faces must be arrays (n, 3) in mm, cm, m or inch.") from None
    if not 0 < len(faces) <= MOST_FACETS:
        raise InputError(
            f"{name} holds {len(faces) or 'no'} triangles; export the solid as a mesh of at most {MOST_FACETS}."
        )
    if faces.dtype.kind not in "iu" or faces.min() < 0 or faces.max() >= len(vertices):
        raise InputError(f"{name} has facets that name vertices it does not hold; export it again.")
    if not np.isfinite(vertices).all():
        raise InputError(f"{name} holds coordinates that are not finite numbers (NaN or inf); export it again.")

    mesh = trimesh.Trimesh(vertices, faces, process=False)
    mesh.merge_vertices()
    mesh.update_faces((np.diff(np.sort(mesh.faces, axis=1)) > 0).all(axis=1))
    mesh.remove_unreferenced_vertices()
    if not len(mesh.faces):
        raise InputError(f"{name} holds only triangles without area; export it again.")
    _check_size(mesh, name, unit)
    notes = [*_drop_repeats(mesh, name), *_close(mesh, name), *_wind(mesh, name)]
    vertices, faces, more = _settle_shells(mesh, name)
    volume, area, _, _, cavities = measure(vertices, faces)
    if volume <= 1e-6 * area**1.5:
        raise InputError(f"{name} encloses no volume (it is flat); export the solid, not a surface.")
    if cavities:
        more.append(f"Closed cavities: {cavities}; powder, resin and sand cannot leave them.")
    return np.array(vertices), np.array(faces), (*notes, *more)


def _check_size(mesh, name, unit):
    longest = np.ptp(mesh.vertices, axis=0).max()
    if not SMALLEST_MM <= longest <= LARGEST_MM:
        likely = [u for u, mm in UNITS_MM.items() if 10 <= longest / UNITS_MM[unit] * mm <= 1000]
        hint = f"is the unit {' or '.join(likely)}?" if likely else "scale it first."
        raise InputError(
            f"{name} is {longest:.4g} mm long in unit {unit}, outside {SMALLEST_MM:g} to {LARGEST_MM:g} mm; {hint}"
        )


def _drop_repeats(mesh, name):
    """Facets on the same three vertices: equal ones count once, opposite ones (an inner wall) cancel."""
    f = mesh.faces
    turn = np.where((f[:, 0] < f[:, 1]) ^ (f[:, 1] < f[:, 2]) ^ (f[:, 2] < f[:, 0]), 1, -1)
    _, group = np.unique(np.sort(f, axis=1) @ [len(mesh.vertices) ** 2, len(mesh.vertices), 1], return_inverse=True)
    net = np.sign(np.bincount(group, weights=turn))
    first = np.full(len(net), len(f))
    wanted = np.flatnonzero(turn == net[group])
    np.minimum.at(first, group[wanted], wanted)
    keep = np.sort(first[first < len(f)])
    dropped = len(f) - len(keep)
    if not dropped:
        return []
    if not len(keep):
        raise InputError(f"{name} encloses no volume: all its facets lie on one another; export the solid.")
    mesh.update_faces(keep)
    return [f"{dropped} facets that lay on one another were dropped."]


def _edges(faces):
    """Number of the edge on every side of every facet, and the direction (1 or -1) it is run, each (m, 3)."""
    a, b = faces, np.roll(faces, -1, axis=1)
    keys = np.minimum(a, b) * (faces.max() + 1) + np.maximum(a, b)
    return np.unique(keys, return_inverse=True)[1].reshape(-1, 3), np.where(a < b, 1, -1)


def _open_edges(faces):
    """How many edges have an odd number of facets."""
    return int((np.bincount(_edges(faces)[0].ravel()) % 2).sum())


def _close(mesh, name):
    import trimesh

    gaps, area = _open_edges(mesh.faces), mesh.area
    if not gaps:
        return []
    if gaps <= 1000:
        trimesh.repair.fill_holes(mesh, use_fan=True)
    filled = mesh.area - area
    if _open_edges(mesh.faces) or filled > SMALL_HOLE_SHARE * area:
        raise InputError(f"{name} is not closed: {gaps} open edges; close the solid and export it again.")
    return [f"Small holes with {gaps} open edges were closed ({filled:.3g} mm2)."]


def _wind(mesh, name):
    """Neighbouring facets must run along their common edge in opposite directions."""
    if not _clashes(mesh.faces):
        return []
    # Every facet has two states, as it is (number i) and turned over (m + i). States that agree across an edge
    # are linked: a shell then makes two groups, of which one is kept.
    (number, direction), m = _edges(mesh.faces), len(mesh.faces)
    order = np.argsort(number.ravel())
    paired = order[np.bincount(number.ravel())[number.ravel()[order]] == 2].reshape(-1, 2)
    clash = direction.ravel()[paired].prod(axis=1) > 0
    i, j = paired.T // 3
    group = _groups(np.concatenate([i, i + m]), np.concatenate([j + m * clash, j + m * ~clash]), 2 * m)
    turned = group[m:] < group[:m]
    mesh.faces = np.where(turned[:, None], mesh.faces[:, ::-1], mesh.faces)
    if _clashes(mesh.faces):
        raise InputError(f"{name} has no clear inside and outside; repair it in your CAD program.")
    return ["Facets wound in mixed directions were turned to agree."]


def _clashes(faces):
    number, direction = _edges(faces)
    return np.bincount(number.ravel(), weights=direction.ravel()).any()


def _groups(a, b, size):
    """Group number (size,) of each of `size` nodes, of which a[k] and b[k] are linked."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    return connected_components(coo_array((np.ones(len(a), bool), (a, b)), (size, size)), directed=False)[1]


def _settle_shells(mesh, name):
    """Point every shell the right way and unite shells that share space; returns vertices, faces, notes."""
    vertices, faces, notes = mesh.vertices, mesh.faces, []
    if _facets(vertices, faces)[0].sum() < 0:
        faces, notes = faces[:, ::-1], ["All facets pointed inward and were turned outward."]
    label = _shell_labels(faces)
    # More than two facets on an edge: shells that touch there, perhaps with a wall between them.
    touching = np.bincount(_edges(faces)[0].ravel()).max() > 2
    if label.max() == 0 and not touching:
        return vertices, faces, notes
    if label.max() >= MOST_SHELLS:
        raise InputError(f"{name} has {label.max() + 1} separate shells; keep the node alone (at most {MOST_SHELLS}).")
    shells = [faces[label == i] for i in range(label.max() + 1)]
    volumes = [_facets(vertices, shell)[0].sum() for shell in shells]
    boxes = [(vertices[shell].min((0, 1)), vertices[shell].max((0, 1))) for shell in shells]
    # A shell of negative volume is a cavity of the smallest shell around it, or else simply inside out.
    cavities = {}
    for i in (i for i, v in enumerate(volumes) if v < 0):
        point = vertices[shells[i][0]].mean(0)
        around = [j for j in range(len(shells)) if volumes[j] > 0 and _inside(point, vertices[shells[j]])]
        if around:
            cavities.setdefault(min(around, key=volumes.__getitem__), []).append(i)
        else:
            shells[i], volumes[i] = shells[i][:, ::-1], -volumes[i]
            notes.append("A shell that pointed inward was turned outward.")
    faces = np.concatenate(shells)
    close = [
        (i, j)
        for i, j in combinations(range(len(shells)), 2)
        if volumes[i] * volumes[j] > 0 and (boxes[i][0] <= boxes[j][1]).all() and (boxes[j][0] <= boxes[i][1]).all()
    ]
    if not close and not touching:
        return vertices, faces, notes
    united = _united(vertices, shells, cavities, [i for i, v in enumerate(volumes) if v > 0], name)
    before, after = ([x.sum() for x in _facets(*body)] for body in ((vertices, faces), united))
    if np.allclose(before, after, rtol=1e-6, atol=0):
        return vertices, faces, notes
    twice = (before[0] - after[0]) / 1000
    notes.append(f"Shells that overlap or touch were united ({twice:.3g} cm3 had been counted twice).")
    return *united, notes


def _united(vertices, shells, cavities, solids, name):
    from manifold3d import Error, Manifold, Mesh64, OpType

    def solid(shell):
        used, index = np.unique(shell, return_inverse=True)
        body = Manifold(Mesh64(np.array(vertices[used]), index.reshape(-1, 3).astype(np.uint64)))
        if body.status() != Error.NoError:
            raise InputError(f"{name} has overlapping shells that cannot be united; unite them in your CAD program.")
        return Manifold.batch_boolean(body.decompose(), OpType.Add)

    bodies = []
    for i in solids:
        hollow = [solid(shells[j][:, ::-1]) for j in cavities.get(i, ())]
        bodies.append(Manifold.batch_boolean([solid(shells[i]), *hollow], OpType.Subtract))
    result = Manifold.batch_boolean(bodies, OpType.Add).to_mesh64()
    return np.array(result.vert_properties[:, :3]), np.array(result.tri_verts).astype(int)


def _shell_labels(faces):
    """Number (m,) of the shell that each facet belongs to; facets with a common edge hang together."""
    number, m = _edges(faces)[0], len(faces)
    return _groups(np.repeat(np.arange(m), 3), m + number.ravel(), m + number.max() + 1)[:m]


def _inside(point, triangles):
    """Is a point (3,) inside a closed shell of triangles (m, 3, 3)? Winding number by solid angles."""
    a, b, c = np.moveaxis(triangles - point, 1, 0)
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    solid = np.vecdot(a, np.cross(b, c))
    angle = np.arctan2(solid, la * lb * lc + np.vecdot(a, b) * lc + np.vecdot(b, c) * la + np.vecdot(c, a) * lb)
    return abs(angle.sum() / (2 * np.pi)) > 0.5


def measure(vertices, faces):
    """Exact measures of a closed mesh.

    Returns volume [mm3], area [mm2], box (3,) [mm], separate bodies [-] and closed cavities inside them [-].
    """
    volumes, areas = _facets(vertices, faces)
    shells = np.bincount(_shell_labels(faces), weights=volumes)
    box = np.ptp(vertices[faces], axis=(0, 1))
    return volumes.sum(), areas.sum(), box, int((shells > 0).sum()), int((shells < 0).sum())


def _facets(vertices, faces):
    """Signed volume to the middle of all vertices [mm3] and area [mm2] of every facet, each (m,)."""
    # From the middle, not from a far origin, so that little is lost to rounding.
    a, b, c = np.moveaxis((vertices - vertices.mean(0))[faces], 1, 0)
    cross = np.cross(b - a, c - a)
    return np.vecdot(a, cross) / 6, np.linalg.norm(cross, axis=1) / 2


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
    from scipy.spatial.transform import Rotation

    x, y, z = unit_vector(up, "up")
    level = np.hypot(x, y)
    if level < 1e-12:
        return vertices * (1, 1, 1) if z > 0 else vertices * (1, -1, -1)
    return Rotation.from_rotvec(np.array([y, -x, 0]) / level * np.arctan2(level, z)).apply(vertices)


def overhang(vertices, faces, angle_deg=45.0):
    """Surfaces that cannot carry themselves when built upward from the plate z = min.

    angle_deg: least slope against the plate that carries itself [degrees]; the plate carries what lies on it.
    Returns the area they project on the plate [mm2] and the space from them straight down to the plate [mm3].
    The space is an upper bound: where metal lies between, a support ends on that metal.
    Raises InputError.
    """
    check_numbers(arrays=False, angle_deg=angle_deg)
    if angle_deg >= 90:
        raise InputError(f"angle_deg={angle_deg!r} must be below 90.")
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    cross = np.cross(b - a, c - a)
    z = vertices[faces][:, :, 2] - vertices[faces][:, :, 2].min()
    steepness = np.linalg.norm(cross, axis=1) * np.cos(np.radians(angle_deg))
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
