"""A frame of tubes: from its points, tubes, pivots and wheels follow every node and the whole kit."""

import math
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations, product

import numpy as np

from pourprint.ledger.checks import check_numbers, nearest, read_toml, refuse, validated
from pourprint.ledger.entries import Kind, read_entry
from pourprint.ledger.errors import InputError
from pourprint.parts.kits import Bore, Face, FromTable, Kit, KitPart, Socket, given_twice
from pourprint.parts.meshes import unit_vector
from pourprint.parts.nodes import Boss, Tube, make_node, socket_starts

TUBING = ("youngs_modulus", "shear_modulus", "density", "strength", "expansion")
ALIKE_DEG = 0.1  # two nodes are alike where a turn brings all their directions together within this angle


@dataclass(frozen=True)
class Pivot(Boss, FromTable):
    """A Boss at a point, with two bearing seats of `fit`, seat_mm long [mm]."""

    fit: str = "N7"
    seat_mm: float = 8.0


@dataclass(frozen=True)
class Point(FromTable):
    """A place where tubes meet: at (3,) [mm], the node's walls [mm], mass_kg carried there, its pivot; `node` names
    the kind of node. A point with one tube and no pivot is a free end and has no node."""

    name: str
    at: tuple[float, float, float]
    node: str = ""
    wall_mm: float = 4.0
    blend_mm: float = 2.0
    hub_shell_mm: float | None = None
    mass_kg: float = 0.0
    pivot: Pivot | None = None

    def __post_init__(self):
        check_numbers(True, arrays=False, mass_kg=self.mass_kg, blend_mm=self.blend_mm)
        check_numbers(arrays=False, wall_mm=self.wall_mm)


@dataclass(frozen=True)
class FrameTube(FromTable):
    """A tube between two points: diameter_mm outside, wall_mm, bond_mm in each socket [mm], of a `tubing`.

    diameter_mm, bond_mm: one number, or one for each end of a tube that tapers; it then counts with its thin end, which
    is safe. pivots_at: the point in whose boss it turns instead of being bonded: along the bore as a shaft, square to
    it by a bought fork. root_nm_rad: stiffness of a bonded end in bending [Nm/rad], infinite for a rigid one.
    """

    name: str
    between: tuple[str, str]
    tubing: str
    diameter_mm: float | tuple[float, float]
    wall_mm: float
    bond_mm: float | tuple[float, float] = 35.0
    pivots_at: str = ""
    root_nm_rad: float = math.inf

    def __post_init__(self):
        check_numbers(arrays=False, wall_mm=self.wall_mm)
        check_numbers(diameter_mm=self.diameter_mm, bond_mm=self.bond_mm)
        if self.wall_mm * 2 >= self.thin_mm or self.root_nm_rad <= 0:
            raise InputError(f"tube {self.name!r} needs wall_mm below half of diameter_mm, and root_nm_rad above 0.")

    @property
    def thin_mm(self):
        """Outer diameter [mm], the lesser of a tube that tapers."""
        return float(np.min(self.diameter_mm))

    def socket_at(self, point):
        """The Socket for the end at a point."""
        ends = np.broadcast_to(self.diameter_mm, 2), np.broadcast_to(self.bond_mm, 2)
        return Socket(*(float(values[self.between.index(point)]) for values in ends))


@dataclass(frozen=True)
class Wheel(FromTable):
    """A wheel beside a point: side_mm along y, radius_mm [mm], tyre_n_mm the stiffness of its tyre [N/mm]."""

    point: str
    side_mm: float
    radius_mm: float
    tyre_n_mm: float

    def __post_init__(self):
        check_numbers(arrays=False, radius_mm=self.radius_mm, tyre_n_mm=self.tyre_n_mm)


@dataclass(frozen=True)
class Differential(FromTable):
    """Holds the mean turn of the rockers' points to that of the body's, about y, by stiffness_nm_rad [Nm/rad]."""

    rockers: tuple[str, ...]
    body: tuple[str, ...]
    stiffness_nm_rad: float


@dataclass(frozen=True)
class Cases(FromTable):
    """What the standard cases ask: slopes [°], side_g and blocked_g [g], drop_mm [mm]."""

    slope_along_deg: float = 30.0
    slope_across_deg: float = 20.0
    side_g: float = 0.4
    drop_mm: float = 30.0
    blocked_g: float = 0.5

    def __post_init__(self):
        check_numbers(True, arrays=False, **vars(self))


@dataclass(frozen=True)
class _File(FromTable):
    name: str
    date: str
    point: tuple[Point, ...]
    tube: tuple[FrameTube, ...]
    tubing: dict[str, dict]
    wheel: tuple[Wheel, ...] = ()
    differential: Differential | None = None
    cases: Cases = Cases()
    pedigree: str = ""
    notes: str = ""


@dataclass(frozen=True, eq=False)
class NodeKind:
    """Alike nodes: name, their points, the turn of each, `directions @ turn.T` of the first's (k, 3, 3), and the tubes
    (names, in the order of the first's sockets) at each point."""

    name: str
    points: tuple[str, ...]
    turns: tuple[np.ndarray, ...]
    tubes: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, eq=False)
class Frame:
    """A frame of tubes. points {name: Point}, tubes {name: FrameTube}, tubing {name: {property: Entry}}."""

    name: str
    points: dict[str, Point]
    tubes: dict[str, FrameTube]
    tubing: dict[str, dict]
    wheels: tuple[Wheel, ...] = ()
    differential: Differential | None = None
    cases: Cases = Cases()
    pedigree: str = ""
    notes: str = ""

    @classmethod
    def load(cls, path):
        """Read a frame from a TOML file; all faults are reported at once. Raises InputError.

        Keys: name, pedigree, notes; [tubing.NAME] tables of entries with pedigree; [[point]], [[tube]], [[wheel]];
        [differential] and [cases] where there are any.
        """
        file, faults = validated(_File, read_toml(path))
        refuse(path, faults)
        tubing = {}
        for name, table in file.tubing.items():
            tubing[name] = {}
            faults += [f"tubing.{name}.{key} is missing" for key in TUBING if key not in table]
            for key, raw in table.items():
                where = f"tubing.{name}.{key}"
                tubing[name][key], wrong = read_entry(where, raw, file.date, Kind.PROPERTY)
                faults += wrong
        points = {point.name: point for point in file.point}
        faults += _wrong_names(file, points, tubing)
        refuse(path, faults)
        tubes = {tube.name: tube for tube in file.tube}
        asked = file.wheel, file.differential, file.cases
        return cls(file.name, points, tubes, tubing, *asked, file.pedigree, file.notes)

    def direction(self, tube, point):
        """Unit vector (3,) of a tube (FrameTube) out of the point of that name."""
        other = tube.between[1] if tube.between[0] == point else tube.between[0]
        return unit_vector(np.subtract(self.points[other].at, self.points[point].at), f"tube {tube.name}")

    def length_mm(self, tube):
        """Distance [mm] of the two points of a tube (FrameTube)."""
        return math.dist(*(self.points[point].at for point in tube.between))

    def pivoting_at(self, point):
        """Names of the tubes that turn in the boss at a point."""
        return tuple(name for name, tube in self.tubes.items() if tube.pivots_at == point)

    def sockets_at(self, point):
        """Tubes that are bonded in at a point, tuple of FrameTube in the file's order."""
        return tuple(t for t in self.tubes.values() if point in t.between and t.pivots_at != point)

    def has_node(self, point):
        """Whether metal is made at the point: not at a free end."""
        return len(self.sockets_at(point)) > (self.points[point].pivot is None)

    def shape_at(self, point):
        """Arguments of make_node at a point: (tubes, wall_mm, bosses, hub_shell_mm, blend_mm) as a dict."""
        where = self.points[point]
        sockets = ((t, t.socket_at(point)) for t in self.sockets_at(point))
        tubes = tuple(Tube(tuple(self.direction(t, point)), s.diameter_mm, s.depth_mm) for t, s in sockets)
        bosses = (where.pivot,) if where.pivot else ()
        walls = {"wall_mm": where.wall_mm, "hub_shell_mm": where.hub_shell_mm, "blend_mm": where.blend_mm}
        return {"tubes": tubes, "bosses": bosses, **walls}

    def mouths_mm(self, point):
        """{tube name: distance from the point to its socket's mouth [mm]}; 0 at a free end or in a boss."""
        bonded = self.sockets_at(point)
        if not self.has_node(point):
            return {tube.name: 0.0 for tube in bonded}
        shape = self.shape_at(point)
        with self._told_by_name(point):
            starts = socket_starts(shape["tubes"], shape["bosses"], shape["wall_mm"])
        return {tube.name: float(d + s.depth_mm) for tube, s, d in zip(bonded, shape["tubes"], starts, strict=True)}

    @cached_property
    def node_kinds(self):
        """The different nodes, tuple of NodeKind; what a turn (no mirror) brings together counts as one."""
        groups = []  # of alike nodes: (point, turn, names of its tubes), the first as it stands
        for point in filter(self.has_node, self.points):
            names = [tube.name for tube in self.sockets_at(point)]
            for group in groups:
                if found := _turn_between(self.shape_at(group[0][0]), self.shape_at(point)):
                    turn, order = found
                    group.append((point, turn, tuple(names[k] for k in order)))
                    break
            else:
                groups.append([(point, np.eye(3), tuple(names))])
        kinds = []
        for group in groups:
            first, taken = self.points[group[0][0]], [kind.name for kind in kinds]
            name = first.name if not first.node or first.node in taken else first.node
            kinds.append(NodeKind(name, *zip(*group, strict=True)))
        return tuple(kinds)

    @contextmanager
    def _told_by_name(self, point):
        """Add to what is wrong with a node its point and its tubes, in the order in which the node numbers them."""
        try:
            yield
        except InputError as error:
            names = ", ".join(tube.name for tube in self.sockets_at(point))
            raise InputError(f"point {point}, where the tubes {names} are bonded in: {error}") from None

    def kit(self, segments=64):
        """The kit of all nodes, their meshes made from the tubes that meet there, alike nodes counted.

        segments [-]: corners of a circle. Bores, sockets and the bosses' end faces are listed for machining.
        Raises InputError that names the point whose node cannot be, and its tubes.
        """
        parts = []
        for kind in self.node_kinds:
            point = kind.points[0]
            with self._told_by_name(point):
                part = make_node(**self.shape_at(point), segments=segments, name=kind.name)
            sockets = tuple(tube.socket_at(point) for tube in self.sockets_at(point))
            bores, faces, pivot = (), (), self.points[point].pivot
            if pivot:
                ring = np.pi * pivot.wall_mm * (pivot.bore_mm + pivot.wall_mm) / 100
                bores = (Bore(pivot.bore_mm, pivot.seat_mm, pivot.fit),) * 2
                faces = (Face(float(ring)),) * 2
            parts.append(KitPart(part, len(kind.points), bores, sockets, faces))
        return Kit(self.name, tuple(parts), self.pedigree, self.notes)


def _wrong_names(file, points, tubing):
    """Faults of a frame's file that no single table shows."""
    faults = given_twice([point.name for point in file.point], "point")
    faults += given_twice([tube.name for tube in file.tube], "tube")
    named = [(f"tube {tube.name}", name) for tube in file.tube for name in tube.between]
    named += [("a wheel", wheel.point) for wheel in file.wheel]
    if file.differential:
        named += [("the differential", name) for name in (*file.differential.rockers, *file.differential.body)]
    faults += [f"{who}: there is no point {name!r}{nearest(name, points)}" for who, name in named if name not in points]
    used = {name for tube in file.tube for name in tube.between}
    faults += [f"point {name}: no tube ends there; give it one, or leave it out" for name in points if name not in used]
    if faults:
        return faults
    for tube in file.tube:
        if tube.tubing not in tubing:
            faults.append(f"tube {tube.name}: there is no tubing {tube.tubing!r}{nearest(tube.tubing, tubing)}")
        ends = [np.array(points[name].at) for name in tube.between]
        along = ends[1] - ends[0]
        if np.linalg.norm(along) < 1e-9:
            faults.append(f"tube {tube.name}: its two points are at the same place")
        elif tube.pivots_at:
            pivot = points[tube.pivots_at].pivot if tube.pivots_at in tube.between else None
            axis = None if pivot is None else unit_vector(pivot.axis, "axis")
            slant = 0.5 if axis is None else abs(axis @ along) / np.linalg.norm(along)
            if min(slant, 1 - slant) > 1e-6:
                faults.append(f"tube {tube.name}: pivots_at must be an end with a pivot along or square to the tube")
    return faults


def _turn_between(a, b):
    """(turn (3, 3), order of b's tubes) that bring node b (arguments of make_node) over node a, or None."""
    flat = [{**s, "tubes": (), "bosses": [replace(boss, axis=(0, 0, 1)) for boss in s["bosses"]]} for s in (a, b)]
    sizes = [[(t.diameter_mm, t.depth_mm) for t in s["tubes"]] for s in (a, b)]
    if flat[0] != flat[1] or sorted(sizes[0]) != sorted(sizes[1]):
        return None
    ours, theirs = _directions(a), _directions(b)
    tubes, bosses = len(sizes[0]), len(b["bosses"])
    for order in permutations(range(tubes)):
        if [sizes[1][k] for k in order] != sizes[0]:
            continue
        for signs in product((1, -1), repeat=bosses):  # a bore runs both ways
            there = np.vstack([theirs[list(order)], theirs[tubes:] * np.reshape(signs, (bosses, 1))])
            u, _, v = np.linalg.svd(there.T @ ours)  # the turn that brings them nearest (Kabsch)
            turn = u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v
            if np.abs(ours @ turn.T - there).max() < np.radians(ALIKE_DEG):
                return turn, order
    return None


def _directions(shape):
    found = [*(tube.direction for tube in shape["tubes"]), *(boss.axis for boss in shape["bosses"])]
    return np.array([unit_vector(one, "direction") for one in found])
