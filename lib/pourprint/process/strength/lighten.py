"""A node with its metal where the loads need it: sockets and bores stay, what lies between them is found.

Density method with penalty, filter and projection on cubes; all load cases count together, each alike. A local optimum
under these loads and no others; least walls by the filter; it knows no overhangs, draw directions or fatigue.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from threadpoolctl import threadpool_limits

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.parts.kept import made_once
from pourprint.parts.meshes import loosened, mesh_of, unit_vector
from pourprint.parts.nodes import make_node, rod, socket_starts
from pourprint.parts.part import Part
from pourprint.process.strength.bricks import Lattice, Solver, brick
from pourprint.process.strength.density import PENALTY, Blur, filled

VOID = 1e-4  # stiffness of an empty cell over that of a full one
SEGMENTS = 64
SETTLED = 1e-2  # of the loads, what the solver leaves over: each iteration goes on from the last
ROUNDS = 80  # at most of the solver an iteration: early designs barely hang together, and change at once
LEAST_MM = 2.5  # sleeve kept round sockets and bores, unless asked otherwise
APART_MM = 0.005  # of sheets that touched: far below what any route can make, far above short numbers
THINNEST = 0.2  # of a plain node's walls
FAINT = 0.03  # of the strongest mix of loads; fainter ones, a thousandth of the energy, are left out


@dataclass(frozen=True, eq=False)
class Hole:
    """A socket or a bore of the node: unit axis (3,) from the middle; radius_mm; from_mm, to_mm along the axis, where
    it is carried; whether it goes through both ways."""

    name: str
    axis: np.ndarray
    radius_mm: float
    from_mm: float
    to_mm: float
    through: bool

    def place(self, points):
        """Way along the axis and from it (…) [mm] of points (…, 3)."""
        along = points @ self.axis
        return along, np.linalg.norm(points - along[..., None] * self.axis, axis=-1)

    def inside(self, points):
        """Which points (…, 3) must be free of metal, the tube's way in included."""
        along, across = self.place(points)
        return (across < self.radius_mm) & (self.through | (along > self.from_mm))

    def ring(self, points, thick_mm):
        """Which points (…, 3) lie in a sleeve of thick_mm round it."""
        along, across = self.place(points)
        near = (across >= self.radius_mm) & (across <= self.radius_mm + thick_mm)
        return near & (along >= self.from_mm) & (along <= self.to_mm)

    @property
    def seat_mm(self):
        """Where the loads of its tube are told: the mouth of a socket, the middle of a bore (3,) [mm]."""
        return self.axis * (0.0 if self.through else self.to_mm)


@dataclass(frozen=True, eq=False)
class Task:
    """A node to lighten: its kind's name, the plain Part, arguments of make_node, holes; the cases'
    loads (6 a hole, cases) [N, N mm]. The first hole, a bore if there is one, carries what balances the others: nothing
    holds the node, since a hold would stiffen some shapes more than others. The node's own weight is left out."""

    name: str
    plain: Part
    shape: dict
    holes: tuple[Hole, ...]
    loads: np.ndarray

    @classmethod
    def of(cls, frame, loads, name, plain=None):
        """The task of the node kind of that name in a Frame, under its FrameLoads; plain: its Part, if made already."""
        kinds = {kind.name: kind for kind in frame.node_kinds}
        if name not in kinds:
            raise InputError(f"name={name!r} must be one of the frame's nodes: {', '.join(kinds)}.")
        kind = kinds[name]
        point, shape = kind.points[0], frame.shape_at(kind.points[0])
        mouths, (_, at) = frame.mouths_mm(point), loads.at_kind(kind)
        holes = [
            Hole(name, unit_vector(t.direction, name), t.socket_r_mm, m - t.depth_mm, m, False)
            for t, (name, m) in zip(shape["tubes"], mouths.items(), strict=True)
        ]
        for boss in shape["bosses"]:
            bore, half = next(iter(frame.pivoting_at(point)), "bore"), boss.length_mm / 2
            holes.insert(0, Hole(bore, unit_vector(boss.axis, "axis"), boss.bore_mm / 2, -half, half, True))
        if len(holes) < 2:
            raise InputError(f"node {name!r} has one hole only: nothing lies between.")
        pulled = [np.vstack(at[hole.name]) for hole in holes[1:]]
        whole = sum(_seen_from(p, holes[0].seat_mm - h.seat_mm) for h, p in zip(holes[1:], pulled, strict=True))
        plain = make_node(**shape, name=name) if plain is None else plain
        return cls(name, plain, shape, tuple(holes), np.vstack([-whole, *pulled]))

    def mixes(self):
        """Mixes of loads that count (6 holes, mixes), and how each case is made of them (mixes, cases)."""
        scale = np.tile([1.0] * 3 + [1 / 30.0] * 3, len(self.holes))[:, None]  # a moment as forces 30 mm apart
        u, s, v = np.linalg.svd(self.loads * scale, full_matrices=False)
        keep = s > FAINT * s[0]
        return u[:, keep] / scale, s[keep, None] * v[keep]


def _seen_from(pull, way_mm):
    """A force and moment (6, cases), its moment taken about a point way_mm (3,) further on."""
    return np.vstack([pull[:3], pull[3:] - np.cross(way_mm, pull[:3], axisb=0, axisc=0)])


def spread(task, points, loaded):
    """Forces (n, 3, 6 × holes) on points (n, 3) [mm] that make a unit force and moment at each hole's seat.

    loaded: for each hole, which points carry it (n,) bool.
    """
    forces = np.zeros((len(points), 3, 6 * len(task.holes)))
    for i, (hole, which) in enumerate(zip(task.holes, loaded, strict=True)):
        if which.sum() < 3:
            raise InputError(f"cell_mm is too coarse for the wall round {hole.name!r}: take half of that wall or less.")
        arm = points[which] - points[which].mean(0)
        lever = np.eye(3) * (arm**2).sum() - arm.T @ arm  # of the points, so that turns give the moment
        for k, unit in enumerate(np.eye(3)):
            # A force at the seat also turns the points about their middle.
            turn = np.cross(hole.seat_mm - points[which].mean(0), unit)
            forces[which, :, 6 * i + k] = unit / which.sum() + np.cross(np.linalg.solve(lever, turn), arm)
            forces[which, :, 6 * i + 3 + k] = np.cross(np.linalg.solve(lever, unit), arm)
    return forces


@dataclass(frozen=True, eq=False)
class Iteration:
    """A node on its way to less weight: iteration; density (nx, ny, nz) [-] on cells of cell_mm from origin_mm (3,);
    compliance: energy of all cases over that of the first stage [-]; volume_cm3 of metal."""

    iteration: int
    density: np.ndarray
    origin_mm: np.ndarray
    cell_mm: float
    compliance: float
    volume_cm3: float


def lighten(task, share=0.75, cell_mm=3.0, least_mm=LEAST_MM, iterations=50):
    """Stages of a lighter node, one an iteration: a generator that may be left at any time.

    share: metal over that of the plain node [-]; cell_mm: edge of a cell [mm]; least_mm: sleeve kept round sockets and
    bores, and about the least wall [mm]. Yields: Iteration. Raises: InputError, say where sleeves alone are too much.
    """
    check_numbers(arrays=False, share=share, cell_mm=cell_mm, least_mm=least_mm, iterations=iterations)
    low, room, sleeve = _room(task, cell_mm, least_mm)
    goal = share * task.plain.volume_cm3 * 1000 / cell_mm**3
    least = sleeve.sum() / goal * share
    if not least < share < 1:
        raise InputError(f"share={share!r} must be below 1, and above {least:.2f}, which the sleeves alone take.")
    lattice = Lattice(room)
    points = low + lattice.nodes * cell_mm
    centres = low + (lattice.cells + 0.5) * cell_mm
    loaded = [lattice.at_corners(hole.ring(centres, least_mm)) for hole in task.holes]
    mixes, made = task.mixes()
    loads = np.einsum("nkf,fm->nkm", spread(task, points, loaded), mixes * np.sqrt((made**2).sum(1)))
    element = brick(1.0, 0.3, cell_mm)[0]
    solver = Solver(lattice, element, lattice.pins(np.any(loaded, axis=0)))
    at = tuple(lattice.cells.T)
    fixed = sleeve[at]
    blur = Blur(room, 1.6 * least_mm / cell_mm)
    x = np.where(fixed, 1.0, max((goal - fixed.sum()) / (~fixed).sum(), 1e-3))
    moved, first = None, None
    for iteration in range(1, int(iterations) + 1):
        sharp = 2.0 * 2 ** min(3 * (iteration - 1) // max(int(iterations) - 10, 1), 3)

        def real_of(x, sharp=sharp):
            return np.where(fixed, 1.0, _projected(blur(x), sharp)[0])

        real, slope_real = real_of(x), _projected(blur(x), sharp)[1]
        stiff = VOID + real**PENALTY * (1 - VOID)
        with threadpool_limits(1):
            moved = solver.solve(stiff, loads, moved, SETTLED, ROUNDS, settled=False)
        ends = moved.reshape(-1, loads.shape[2])[lattice.freedoms]
        energy = np.einsum("eim,ij,ejm->e", ends, element, ends, optimize=True)
        compliance = float((stiff * energy).sum())
        first = first or compliance
        pull = blur(np.where(fixed, 0, PENALTY * real ** (PENALTY - 1) * energy * slope_real), back=True)
        cost = np.maximum(blur(np.where(fixed, 0, slope_real), back=True), 1e-9)
        x = filled(x, pull / cost, goal, real_of, fixed)
        density = np.zeros(room.shape)
        density[at] = real = real_of(x)
        yield Iteration(iteration, density, low, cell_mm, compliance / first, real.sum() * cell_mm**3 / 1000)


def _room(task, cell_mm, least_mm):
    """Corner (3,) [mm] of the grid, the cells that may be metal, and those that must be, (nx, ny, nz) bool."""
    from scipy.spatial import ConvexHull

    vertices = task.plain.mesh[0]
    hull = ConvexHull(vertices)
    size = np.ceil(np.ptp(vertices, axis=0) / cell_mm).astype(int) + 2
    low = (vertices.min(0) + vertices.max(0) - size * cell_mm) / 2
    centres = low + (np.stack(np.indices(size), -1) + 0.5) * cell_mm
    within = np.ones(size, bool)
    for *normal, off in hull.equations:  # one by one: a hull has thousands, and a grid as many cells again
        within &= centres @ normal + off <= 0
    free = np.any([hole.inside(centres) for hole in task.holes], axis=0)
    sleeve = np.any([hole.ring(centres, max(least_mm, 0.8 * cell_mm)) for hole in task.holes], axis=0) & ~free
    return low, (within | sleeve) & ~free, sleeve


def _projected(x, sharp):
    """Densities drawn towards 0 and 1 about a half, and the slope of that."""
    whole = 2 * np.tanh(sharp / 2)
    return (np.tanh(sharp / 2) + np.tanh(sharp * (x - 0.5))) / whole, sharp / np.cosh(sharp * (x - 0.5)) ** 2 / whole


def solid_of(task, stage, least_mm=LEAST_MM):
    """The Part of a stage: a smooth skin of the stage's volume, sleeves included, cut by exact holes and mouths.

    Returns: a watertight Part of one piece without closed hollows, within 1% of the stage's volume.
    """
    from manifold3d import Manifold, OpType
    from scipy.ndimage import gaussian_filter

    def bar(hole, radius, start, end):
        return rod(hole.axis, radius, start, end, SEGMENTS)

    cell, reach = stage.cell_mm, 2 * np.ptp(task.plain.mesh[0], axis=0).max()
    cuts = [bar(h, h.radius_mm, -reach if h.through else h.from_mm, reach) for h in task.holes]
    # Sleeves run beyond their mouths and are cut there: no two skins lie on each other.
    cuts += [bar(h, h.radius_mm + least_mm + cell, h.to_mm, h.to_mm + 3 * cell) for h in task.holes]
    cuts += [bar(h, h.radius_mm + least_mm + cell, h.from_mm - 3 * cell, h.from_mm) for h in task.holes if h.through]
    cuts = Manifold.batch_boolean(cuts, OpType.Add)
    field = gaussian_filter(np.pad(stage.density, 2), 0.6)
    low = stage.origin_mm - 2 * cell
    box = [*low, *(low + np.array(field.shape) * cell)]

    def solid(level):
        # Of the pieces the largest: loose crumbs go, and closed hollows, which nothing could empty, are filled.
        skin = _skin(field - level, low + cell / 2, cell, task.holes, least_mm)
        pieces = (Manifold.level_set(skin, box, 0.8 * cell) - cuts).simplify(0.02 * cell).decompose()
        return max(pieces, key=lambda piece: piece.volume())

    faint, full = 0.1, 0.9
    for _ in range(10):
        level = (faint + full) / 2
        made = solid(level)
        if abs(made.volume() / 1000 / stage.volume_cm3 - 1) < 1e-3:
            break
        faint, full = (level, full) if made.volume() > 1000 * stage.volume_cm3 else (faint, level)
    vertices, faces = mesh_of(made)
    return Part.from_arrays(f"{task.name} lightened", loosened(vertices, faces, APART_MM), faces)


def _skin(field, low, cell, holes, least_mm):
    """A function (x, y, z) that is above 0 in metal: the field between the middles of cells, and the sleeves, filled.

    Plain floats, as it is called point by point."""
    nx, ny, nz = (n - 2 for n in field.shape)
    rows = field.tolist()
    x0, y0, z0 = map(float, low)
    rods = [
        (*map(float, h.axis), h.radius_mm + least_mm, h.from_mm + (-2 * cell if h.through else 1.0), h.to_mm + 2 * cell)
        for h in holes
    ]

    def value(x, y, z):
        sleeve = -1e9
        for u, v, w, radius, start, end in rods:
            along = x * u + y * v + z * w
            across = math.sqrt(max(x * x + y * y + z * z - along * along, 0.0))
            sleeve = max(sleeve, min(radius - across, along - start, end - along))
        x, y, z = (x - x0) / cell, (y - y0) / cell, (z - z0) / cell
        i, j, k = min(max(int(x), 0), nx), min(max(int(y), 0), ny), min(max(int(z), 0), nz)
        a, b, c = min(max(x - i, 0.0), 1.0), min(max(y - j, 0.0), 1.0), min(max(z - k, 0.0), 1.0)
        p, q = rows[i], rows[i + 1]
        p0, p1, q0, q1 = p[j], p[j + 1], q[j], q[j + 1]
        near = (p0[k] * (1 - c) + p0[k + 1] * c) * (1 - b) + (p1[k] * (1 - c) + p1[k + 1] * c) * b
        far = (q0[k] * (1 - c) + q0[k + 1] * c) * (1 - b) + (q1[k] * (1 - c) + q1[k + 1] * c) * b
        return max(near * (1 - a) + far * a, sleeve / cell)

    return value


def thinner(task, volume_cm3):
    """The same node with thinner walls at some volume [cm3], its sockets' mouths where they were: what lightening must
    beat. Raises: InputError."""
    from scipy.optimize import brentq

    mouths = [hole.to_mm for hole in task.holes if not hole.through]

    def at(part):
        shape = {name: part * task.shape[name] for name in ("wall_mm", "blend_mm")}
        shell = task.shape["hub_shell_mm"] and part * task.shape["hub_shell_mm"]
        bosses = tuple(replace(boss, wall_mm=boss.wall_mm * part) for boss in task.shape["bosses"])
        starts = socket_starts(task.shape["tubes"], bosses, shape["wall_mm"])
        tubes = zip(task.shape["tubes"], mouths, starts, strict=True)
        tubes = tuple(replace(tube, depth_mm=mouth - start) for tube, mouth, start in tubes)
        return make_node(tubes, bosses=bosses, hub_shell_mm=shell, **shape, name=f"{task.name} thinner")

    thinnest, most = at(THINNEST).volume_cm3, task.plain.volume_cm3
    if not thinnest <= volume_cm3 <= most:
        raise InputError(
            f"volume_cm3={volume_cm3!r} must be from {thinnest:.1f}, with walls {THINNEST:g} as thick, to {most:.1f}, "
            "the plain node's."
        )
    return at(brentq(lambda part: at(part).volume_cm3 - volume_cm3, THINNEST, 1.0, xtol=1e-4))


def search(task, progress=None, **settings):
    """Lighten a node to its end: vertices [mm] and faces of the lighter node, in short numbers, and its stages (n, 3):
    iteration, compliance over the first's [-], metal [cm3].

    Settings as of `lighten`; progress(stage) is called at every stage."""
    rows = []
    for stage in lighten(task, **settings):
        rows.append((stage.iteration, stage.compliance, stage.volume_cm3))
        if progress:
            progress(stage)
    vertices, faces = solid_of(task, stage, settings.get("least_mm", LEAST_MM)).mesh
    return vertices.astype(np.float32), faces.astype(np.int32), np.array(rows)


def search_key(task, **settings):
    """Content (bytes) and kind under which a search is kept: its loads and plain part but for rounding, its settings.

    Six figures count: another machine sums loads in another order."""
    most = np.abs(task.loads).max()
    loads = np.round(task.loads / most, 6) + 0.0  # no minus zeros
    asked = sorted((name, float(value)) for name, value in settings.items())
    return loads.tobytes(), ("lightened", f"{most:.6g}", f"{task.plain.volume_cm3:.6g}", *asked)


def lightened(task, progress=None, **settings):
    """A lightened node, searched once and then found where studies are kept: (Part, stages (n, 3) as of `search`).

    Parameters as of `search`. Raises: InputError.
    """
    vertices, faces, stages = made_once(*search_key(task, **settings), lambda: search(task, progress, **settings))
    return Part.from_arrays(f"{task.name} lightened", vertices.astype(float), faces), stages
