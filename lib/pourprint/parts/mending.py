"""Mesh files: read them, find what is wrong, mend what is safe to mend.

A mesh that passes all checks is closed, points outward and counts no metal twice.
"""

import re
from functools import partial
from hashlib import blake2b
from io import BytesIO
from time import process_time
from zipfile import ZipFile

import numpy as np

from pourprint.ledger.checks import check_known, existing_file
from pourprint.ledger.errors import InputError
from pourprint.parts import kept, meshes

FORMATS = (".stl", ".obj", ".ply", ".3mf")
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
_UNITS_3MF = {"millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "inch"}
SMALLEST_MM, LARGEST_MM = 1.0, 2000.0  # box of a believable node
SMALL_HOLE_SHARE = 0.01  # of the surface; a larger hole is a missing part of the design
USUAL_MM = 10.0, 1000.0  # box of most nodes: outside, and inside in another unit, that unit is asked about
MOST_SHELLS = 500
MOST_MISCOUNTED = 0.01  # of the metal; what crosses itself more is united, or refused
CROSSING_AGREES = 0.1  # of what had been counted twice, by a union and by rays
LONGEST_S = 60.0  # of the processor: a busy machine refuses no mesh that a quiet one takes
LOOKS = 16  # facets of a shell that are asked whether they lie inside another
MOST_UNPACKED = 300_000_000  # bytes: two million facets as text take 250
MOST_FACETS = 2_000_000  # keeps a reading below some 15 s


def read_mesh(path, unit="mm"):
    """Read a mesh file (STL, OBJ, PLY or 3MF), check it and mend what can be mended safely.

    unit: the file's unit: mm, cm, m or inch; a 3MF file states its own, and it must be the same one.
    Returns vertices (n, 3) [mm], faces (m, 3), notes (what was mended, as sentences); the same bytes are read once, see
    `kept`. Raises InputError.
    """
    path = existing_file(path, FORMATS)
    check_known(UNITS_MM, unit=unit)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path.name} cannot be read: {error.strerror}.") from None
    return kept.made_once(*file_key(path, data, unit), partial(read_fresh, path, data, unit))


def file_key(path, data, unit):
    """What a reading depends on, as `kept` names it: (content, kind) of a file's path, bytes and unit."""
    return blake2b(data).digest(), f"a {path.suffix.lower()} file in {unit}"


def read_fresh(path, data, unit):
    """What `read_mesh` returns, of a file by its path, bytes and unit, whatever is kept. Raises InputError."""
    import trimesh

    facets = _check_bytes(path, data)
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
    if path.suffix.lower() == ".3mf":
        _check_archive(path, data)
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


def _check_archive(path, data):
    """Refuse a 3MF file that unpacks to more than any node needs, reaches outside itself or asks for other files."""
    try:
        archive = ZipFile(BytesIO(data))
        files = archive.infolist()
        unpacked = sum(file.file_size for file in files)
        if unpacked > MOST_UNPACKED:
            raise InputError(
                f"{path.name} unpacks to {unpacked / 1e6:,.0f} MB; a node takes {MOST_UNPACKED / 1e6:.0f}."
            )
        if outside := [file.filename for file in files if ".." in file.filename or file.filename[0] in "/\\"]:
            raise InputError(f"{path.name} holds {outside[0]!r}, which lies outside it; export it again.")
        for file in files:
            if b"<!" in archive.open(file).read(4096).replace(b"<!--", b""):
                raise InputError(
                    f"{path.name} declares entities in {file.filename!r}; a mesh needs none, export it again."
                )
    except InputError:
        raise
    except Exception as error:  # spoilt archives end in errors of every kind, such as a seek before the start
        raise InputError(f"{path.name} cannot be read as a mesh ({error}); export it again.") from None


def mended(vertices, faces, name="mesh", unit="mm"):
    """Check a triangle mesh and mend what can be mended safely.

    Mended and noted: facets given twice, small holes (together at most 1% of the surface), mixed winding,
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

    check = partial(_check_time, process_time(), name)
    mesh = trimesh.Trimesh(*meshes.merged(vertices, faces), process=False)
    mesh.update_faces((np.diff(np.sort(mesh.faces, axis=1)) > 0).all(axis=1))
    mesh.remove_unreferenced_vertices()
    if not len(mesh.faces):
        raise InputError(f"{name} holds only triangles without area; export it again.")
    check()
    notes = [*_check_size(mesh, name, unit), *_drop_repeats(mesh, name)]
    notes += [*_close(mesh, name), *_wind(mesh, name)] if _clashes(mesh.faces) else []  # an open edge is one, too
    check()
    vertices, faces, bodies, cavities, more = _settle_shells(mesh, name, check)
    volume, area, _ = meshes.measure(vertices, faces)
    if volume <= 1e-6 * area**1.5:
        raise InputError(f"{name} encloses no volume (it is flat); export the solid, not a surface.")
    wrong = sum(meshes.miscounted(vertices, faces))
    if wrong > MOST_MISCOUNTED:
        uncrossed = _uncrossed(vertices, faces, bodies, check)
        if uncrossed is None:
            raise InputError(
                f"{name} crosses itself: {wrong:.1%} of its metal would be counted wrongly; unite it in CAD."
            )
        vertices, faces = uncrossed
        bodies, cavities = meshes.counted(vertices, faces)
        more.append(f"The surface crossed itself and was united ({wrong:.1%} of the metal had been counted twice).")
    elif wrong > 0:
        more.append(f"The surface crosses itself a little: {wrong:.1e} of the metal is counted wrongly.")
    if cavities:
        more.append(f"Closed cavities: {cavities}; powder, resin and sand cannot leave them.")
    if bodies > 1:
        more.append(f"{bodies} separate bodies, not one part: Kit.of_bodies(part) makes a kit of them.")
    return np.array(vertices), np.array(faces), (*notes, *more)


def _check_time(begun_s, name):
    """Refuse a mesh that takes too long, asked between the steps of its mending."""
    if process_time() - begun_s > LONGEST_S:
        raise InputError(
            f"{name} cannot be mended in {LONGEST_S:g} s of computing; export it as one solid of fewer facets."
        )


def _check_size(mesh, name, unit):
    """Refuse what is no node in this unit; returns a note where another unit is likelier."""
    sides = np.sort(np.ptp(mesh.vertices, axis=0))[::-1]
    longest = sides[0]
    usual = [u for u, mm in UNITS_MM.items() if USUAL_MM[0] <= longest / UNITS_MM[unit] * mm <= USUAL_MM[1]]
    if not SMALLEST_MM <= longest <= LARGEST_MM:
        hint = f"is the unit {' or '.join(usual)}?" if usual else "scale it first."
        raise InputError(
            f"{name} is {longest:.4g} mm long in unit {unit}, outside {SMALLEST_MM:g} to {LARGEST_MM:g} mm; {hint}"
        )
    if unit in usual or not usual:
        return []
    given = " × ".join(f"{side:.4g}" for side in sides / UNITS_MM[unit])
    words = " or ".join("inches" if u == "inch" else u for u in reversed(usual))
    return [f"{given} {unit}: were these {words}?"]


def _drop_repeats(mesh, name):
    """Facets on the same three vertices: equal ones count once, opposite ones (an inner wall) cancel."""
    f = mesh.faces
    turn = np.where((f[:, 0] < f[:, 1]) ^ (f[:, 1] < f[:, 2]) ^ (f[:, 2] < f[:, 0]), 1, -1)
    _, group = np.unique(np.sort(f, axis=1) @ [len(mesh.vertices) ** 2, len(mesh.vertices), 1], return_inverse=True)
    net = np.sign(np.bincount(group, weights=turn))
    wanted = np.flatnonzero(turn == net[group])
    keep = np.sort(wanted[np.unique(group[wanted], return_index=True)[1]])
    dropped = len(f) - len(keep)
    if not dropped:
        return []
    if not len(keep):
        raise InputError(f"{name} encloses no volume: all its facets lie on one another; export the solid.")
    mesh.update_faces(keep)
    return [f"{dropped} facets that lay on one another were dropped."]


def _open_edges(faces):
    """Number (n,) of one facet at each edge that has an odd number of them."""
    _, sides, count = np.unique(meshes.edges_of(faces)[0], return_index=True, return_counts=True)
    return sides[count % 2 == 1] // 3


def _close(mesh, name):
    import trimesh

    gaps, area = _open_edges(mesh.faces), mesh.area
    if not len(gaps):
        return []
    x, y, z = mesh.vertices[mesh.faces[gaps[0]]].mean(axis=0)
    if len(gaps) <= 1000:
        trimesh.repair.fill_holes(mesh, use_fan=True)
    filled = mesh.area - area
    if len(_open_edges(mesh.faces)) or filled > SMALL_HOLE_SHARE * area:
        edges = f"{len(gaps)} open edges, one near ({x:.0f}, {y:.0f}, {z:.0f}) mm"
        raise InputError(f"{name} is not closed: {edges}; close the solid and export it again.")
    return [f"Small holes with {len(gaps)} open edges were closed ({filled:.3g} mm2)."]


def _wind(mesh, name):
    """Neighbouring facets must run along their common edge in opposite directions."""
    # Every facet has two states, as it is (number i) and turned over (m + i). States that agree across an edge
    # are linked: a shell then makes two groups, of which one is kept.
    (number, direction), m = meshes.edges_of(mesh.faces), len(mesh.faces)
    order = np.argsort(number.ravel())
    paired = order[np.bincount(number.ravel())[number.ravel()[order]] == 2].reshape(-1, 2)
    clash = direction.ravel()[paired].prod(axis=1) > 0
    i, j = paired.T // 3
    group = meshes.groups_of(np.concatenate([i, i + m]), np.concatenate([j + m * clash, j + m * ~clash]), 2 * m)
    turned = group[m:] < group[:m]
    mesh.faces = np.where(turned[:, None], mesh.faces[:, ::-1], mesh.faces)
    if _clashes(mesh.faces):
        raise InputError(f"{name} has no clear inside and outside; repair it in your CAD program.")
    return ["Facets wound in mixed directions were turned to agree."] if turned.any() else []


def _clashes(faces):
    number, direction = meshes.edges_of(faces)
    return np.bincount(number.ravel(), weights=direction.ravel()).any()


def _settle_shells(mesh, name, check):
    """Point every shell the right way and unite shells that share space: vertices, faces, bodies, cavities, notes."""
    vertices, faces, notes = mesh.vertices, mesh.faces, []
    if meshes.facets_of(vertices, faces)[0].sum() < 0:
        faces, notes = faces[:, ::-1], ["All facets pointed inward and were turned outward."]
    number = meshes.edges_of(faces)[0]
    label = meshes.shell_labels(number)
    # More than two facets on an edge: shells that touch there, perhaps with a wall between them.
    touching = np.bincount(number.ravel()).max() > 2
    if label.max() == 0 and not touching:
        return vertices, faces, 1, 0, notes
    if label.max() >= MOST_SHELLS:
        raise InputError(f"{name} has {label.max() + 1} separate shells; keep the node alone (at most {MOST_SHELLS}).")
    shells = [faces[label == i] for i in range(label.max() + 1)]
    volumes = [meshes.facets_of(vertices, shell)[0].sum() for shell in shells]
    boxes = [(vertices[shell].min((0, 1)), vertices[shell].max((0, 1))) for shell in shells]
    cavities, across = {}, False
    for i in (i for i, v in enumerate(volumes) if v < 0):
        around, crossed = _around(vertices, shells, boxes, volumes, i, check)
        across |= bool(crossed)
        if crossed:
            notes.append("A shell that points inward crosses the surface: it was cut away; turn it to add it instead.")
        elif not around:
            shells[i], volumes[i] = shells[i][:, ::-1], -volumes[i]
            notes.append("A shell that pointed inward was turned outward.")
        for j in crossed or around[:1]:
            cavities.setdefault(j, []).append(i)
    faces = np.concatenate(shells)
    bodies = sum(v > 0 for v in volumes)
    as_it_is = vertices, faces, bodies, len(volumes) - bodies, notes
    check()
    united = _united(vertices, shells, cavities, [i for i, v in enumerate(volumes) if v > 0], name)
    before, after = ([x.sum() for x in meshes.facets_of(*body)] for body in ((vertices, faces), united))
    if np.allclose(before, after, rtol=1e-6, atol=0):
        return as_it_is
    if not across:
        twice = (before[0] - after[0]) / 1000
        notes.append(f"Shells that overlap or touch were united ({twice:.3g} cm³ had been counted twice).")
    return *united, *meshes.counted(*united), notes


def _around(vertices, shells, boxes, volumes, i, check):
    """The outward shells round an inward one, smallest first, and those whose surface it crosses: two lists."""
    middles = vertices[shells[i][:: -(-len(shells[i]) // LOOKS)]].mean(1)
    around, crossed = [], []
    for j in sorted((j for j, v in enumerate(volumes) if v > 0), key=volumes.__getitem__):
        if (boxes[i][0] <= boxes[j][1]).all() and (boxes[j][0] <= boxes[i][1]).all():
            inside = [meshes.is_inside(point, vertices[shells[j]]) for point in middles]
            if any(inside):
                (around if all(inside) else crossed).append(j)
            check()
    return around, crossed


def _uncrossed(vertices, faces, bodies, check):
    """A mesh that crosses itself, cut by planes into pieces that do not and united: vertices, faces. None where the
    union and the rays of `miscounted` disagree on what had been counted twice, or there are more than `bodies`."""
    from manifold3d import Error, Manifold, OpType

    volume, *_ = meshes.measure(vertices, faces)
    twice, less = meshes.miscounted(vertices, faces)
    body = meshes.solid_of(vertices, faces)
    if less > 0 or body.status() != Error.NoError:
        return None
    low, high = vertices[faces].min((0, 1)), vertices[faces].max((0, 1))
    for slabs in (2, 3, 4):
        pieces = [body]
        for normal in np.eye(3):
            for k in range(1, slabs):
                at = float(normal @ (low + (high - low) * (k / slabs + 0.0031)))  # beside the edges of round sizes
                pieces = [half for piece in pieces for half in piece.split_by_plane(normal, at) if half.num_tri()]
            pieces = [own for piece in pieces for own in piece.decompose()]
            check()
        union = Manifold.batch_boolean(pieces, OpType.Add)
        if union.is_empty():
            return None
        united = _arrays(union)
        shared = volume - meshes.facets_of(*united)[0].sum()
        agreed = abs(shared - volume * twice / (1 + twice)) < CROSSING_AGREES * shared
        if agreed and sum(meshes.miscounted(*united)) < 1e-9 and meshes.counted(*united)[0] <= bodies:
            return united
    return None


def _arrays(manifold):
    """Vertices (n, 3) [mm] and faces (m, 3) of a manifold, without the empty slivers that unions may leave."""
    vertices, faces = meshes.mesh_of(manifold)
    label = meshes.shell_labels(meshes.edges_of(faces)[0])
    volumes = np.abs(np.bincount(label, weights=meshes.facets_of(vertices, faces)[0]))
    return vertices, faces[(volumes > 1e-12 * volumes.sum())[label]]


def _united(vertices, shells, cavities, solids, name):
    from manifold3d import Error, Manifold, OpType

    def solid(shell):
        body = meshes.solid_of(vertices, shell)
        if body.status() != Error.NoError:
            raise InputError(f"{name} has overlapping shells that cannot be united; unite them in your CAD program.")
        return Manifold.batch_boolean(body.decompose(), OpType.Add)

    bodies = []
    for i in solids:
        hollow = [solid(shells[j][:, ::-1]) for j in cavities.get(i, ())]
        bodies.append(Manifold.batch_boolean([solid(shells[i]), *hollow], OpType.Subtract))
    united = Manifold.batch_boolean(bodies, OpType.Add)
    if united.is_empty():
        raise InputError(f"{name} cuts all of itself away: its inward shells are larger than what they lie in.")
    return _arrays(united)
