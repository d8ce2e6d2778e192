"""Make a node from tubes, angles and walls: one watertight mesh, to be varied; the frame's, too."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import mesh_of, rotated_up, unit_vector
from pourprint.parts.part import Part

GAP_MM = 0.2  # radial bond gap of a socket
DRAIN_MM = 6.0  # of the holes through the bottoms of a hollow hub's sockets
LEAST_ANGLE_DEG = 20.0  # between two tubes, or a tube and a bore; below, sockets need very long arms
DIGITS = 9  # of all that solids are made from: a processor's last digits would give a node another mesh


@dataclass(frozen=True)
class Tube:
    """A tube bonded into the node: direction (3,) outward, outer diameter_mm, depth_mm of bond."""

    direction: tuple[float, float, float]
    diameter_mm: float
    depth_mm: float = 40.0

    def __post_init__(self):
        unit_vector(self.direction, "direction")
        check_numbers(arrays=False, diameter_mm=self.diameter_mm, depth_mm=self.depth_mm)

    @property
    def socket_r_mm(self):
        """Radius of its socket [mm]: the bond gap is left all round."""
        return self.diameter_mm / 2 + GAP_MM


@dataclass(frozen=True)
class Boss:
    """A bored sleeve for a bearing or pin about the centre: axis (3,), bore_mm, length_mm, wall_mm [mm]."""

    axis: tuple[float, float, float]
    bore_mm: float
    length_mm: float
    wall_mm: float = 5.0

    def __post_init__(self):
        unit_vector(self.axis, "axis")
        check_numbers(arrays=False, bore_mm=self.bore_mm, length_mm=self.length_mm, wall_mm=self.wall_mm)


def make_node(tubes, wall_mm=4.0, bosses=(), hub_shell_mm=None, blend_mm=2.0, segments=64, name="node"):
    """One watertight node: an arm with a blind socket for every tube, bored bosses, and a ball at the centre.

    tubes, bosses: Tube(...), Boss(...) or lists of them. A socket is wider than its tube by a bond gap of GAP_MM.
    wall_mm: metal around a socket, and least metal between sockets and beside bores [mm].
    hub_shell_mm: None for a solid hub, else the thickness of its shell [mm], which is then the least metal between
    hollow and sockets; through their bottoms holes of DRAIN_MM let powder, resin and sand out of the hollow.
    blend_mm: how far the ball stands out beyond the thickest arm [mm]; it softens the corners between arms.
    segments [-]: corners of a circle, a multiple of 4; polygons keep their circle's area and balls their volume.
    Returns a Part with a mesh, centre at the origin. Raises InputError for a node that cannot be.
    """
    tubes, bosses = _all_of(tubes, Tube, "tubes"), _all_of(bosses, Boss, "bosses")
    if not tubes:
        raise InputError("tubes=() must hold one or more Tube(...).")
    check_numbers(arrays=False, wall_mm=wall_mm, segments=segments)
    check_numbers(True, False, blend_mm=blend_mm)
    if not isinstance(segments, (int, np.integer)) or segments % 4 or not 8 <= segments <= 512:
        raise InputError(f"segments={segments!r} must be a multiple of 4 from 8 to 512.")
    starts = socket_starts(tubes, bosses, wall_mm)
    ends = [start + tube.depth_mm for tube, start in zip(tubes, starts, strict=True)]
    sockets = [(t.direction, t.socket_r_mm, start, end) for t, start, end in zip(tubes, starts, ends, strict=True)]
    ball_r = max(tube.socket_r_mm for tube in tubes) + wall_mm + blend_mm
    reach = ball_r + sum(boss.length_mm for boss in bosses) + max(ends)  # far enough to pass everything
    node = _metal(sockets, bosses, ball_r, wall_mm, hub_shell_mm, reach, segments)
    for i, (along, radius, start, _) in enumerate(sockets, start=1):
        if (node ^ rod(along, radius - GAP_MM, start, reach, segments)).volume() > 1:
            raise InputError(
                f"tube {i} cannot be slid into its socket: other metal is in the way; make depth_mm longer, or"
                " blend_mm or the bosses smaller."
            )
    part = Part.from_arrays(name, *mesh_of(node))
    if part.bodies != 1:
        raise InputError(f"this node falls into {part.bodies} pieces; use smaller bores or thicker walls.")
    return part


def _metal(sockets, bosses, ball_r, wall_mm, shell, reach, segments):
    """The Manifold of a node, its sockets given as (direction, radius, start, end); for the rest see `make_node`."""
    from manifold3d import Manifold, OpType

    sleeves = [rod(b.axis, b.bore_mm / 2 + b.wall_mm, -b.length_mm / 2, b.length_mm / 2, segments) for b in bosses]
    arms = [rod(along, radius + wall_mm, 0, end, segments) for along, radius, _, end in sockets]
    # Sockets are cut a little beyond the arm's end, so that no film is left there.
    holes = [rod(along, radius, start, end + 1, segments) for along, radius, start, end in sockets]
    holes += [rod(boss.axis, boss.bore_mm / 2, -reach, reach, segments) for boss in bosses]
    if shell is not None:
        check_numbers(arrays=False, hub_shell_mm=shell)
        holes.append(_hollow(sockets, sleeves, ball_r, wall_mm, shell, segments))
        holes += [rod(along, DRAIN_MM / 2, start - shell - 1, start + 1, segments) for along, _, start, _ in sockets]
    metal = Manifold.batch_boolean([ball(ball_r, segments), *arms, *sleeves], OpType.Add)
    return Manifold.batch_boolean([metal, *holes], OpType.Subtract)


def _hollow(sockets, sleeves, ball_r, wall_mm, shell, segments):
    """The room inside a hub's shell [mm]: a Manifold. Raises: InputError where none is left, or cannot be drained."""
    from manifold3d import Manifold, OpType

    if min(radius for _, radius, *_ in sockets) < DRAIN_MM / 2:
        raise InputError(f"a hollow hub is drained by holes of {DRAIN_MM:g} mm: every tube must be wider.")
    rooms = [ball(ball_r - shell, segments)] if ball_r > shell else []
    for along, radius, start, _ in sockets:
        if min(start, radius + wall_mm) > shell:
            rooms.append(rod(along, radius + wall_mm - shell, 0, start - shell, segments))
    kept = sleeves + [rod(along, radius + shell, start - shell, end, segments) for along, radius, start, end in sockets]
    hollow = Manifold.batch_boolean(rooms, OpType.Add) - Manifold.batch_boolean(kept, OpType.Add)
    if hollow.volume() < 1:
        raise InputError(f"hub_shell_mm={shell!r} leaves no hollow in this hub; make it thinner or None.")
    return hollow


def ball(radius, segments):
    """A Manifold: the ball about the centre; its polygons keep a ball's volume."""
    from manifold3d import Manifold

    unit = Manifold.sphere(1, segments)
    return unit.scale([round(radius * np.cbrt(4 / 3 * np.pi / unit.volume()), DIGITS)] * 3)


def rod(direction, radius, start, end, segments):
    """A Manifold: the round bar about a direction (3,) from start to end; its polygon keeps a circle's area."""
    from manifold3d import Manifold

    round_r = radius * np.sqrt(2 * np.pi / segments / np.sin(2 * np.pi / segments))
    turn = np.column_stack([rotated_up(np.eye(3), direction), np.zeros(3)]).round(DIGITS)
    bar = Manifold.cylinder(round(end - start, DIGITS), round(round_r, DIGITS), -1, segments)
    return bar.translate((0, 0, round(start, DIGITS))).transform(turn)


def _all_of(values, kind, name):
    values = [values] if isinstance(values, kind) else values
    if not isinstance(values, (tuple, list)) or not all(isinstance(value, kind) for value in values):
        raise InputError(f"{name}={values!r} must be a list of {kind.__name__}(...).")
    return tuple(values)


def socket_starts(tubes, bosses, wall_mm):
    """Distances [mm] from the centre at which sockets begin so that wall_mm is left beside each of them."""
    starts = [wall_mm] * len(tubes)
    axes = [unit_vector(t.direction, "direction") for t in tubes]
    for i, j in combinations(range(len(tubes)), 2):
        angle = _angle(axes[i], axes[j], f"tubes {i + 1} and {j + 1}")
        # Each socket stays half a wall clear of the plane midway between the two axes.
        clear = (max(tubes[i].socket_r_mm, tubes[j].socket_r_mm) * np.cos(angle / 2) + wall_mm / 2) / np.sin(angle / 2)
        starts[i], starts[j] = max(starts[i], clear), max(starts[j], clear)
    for k, boss in enumerate(bosses):
        axis = unit_vector(boss.axis, "axis")
        for i, along in enumerate(axes):
            side = axis if axis @ along > 0 else -axis  # a bore runs both ways
            angle = _angle(along, side, f"tube {i + 1} and the axis of boss {k + 1}")
            clear = (boss.bore_mm / 2 + wall_mm + tubes[i].socket_r_mm * np.cos(angle)) / np.sin(angle)
            starts[i] = max(starts[i], clear)
    return starts


def _angle(a, b, names):
    angle = np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)
    if np.degrees(angle) < LEAST_ANGLE_DEG - 1e-9:
        raise InputError(
            f"{names} are {np.degrees(angle):.3g} degrees apart; {LEAST_ANGLE_DEG:g} are needed: turn one of them."
        )
    return angle


def badly_drawn(arm_mm=5.0):
    """A node drawn badly on purpose, to be mended: a heavy bearing boss at the end of a thin arm, far from its hub.

    arm_mm: how thick the arm is [mm]. Hub of 52 mm, boss of 40 mm with a bore of 14 mm. Raises: InputError.
    """
    from manifold3d import Manifold

    check_numbers(arrays=False, arm_mm=arm_mm)
    hub = Manifold.cylinder(42, 26, -1, 64, True)
    boss = Manifold.cylinder(34, 20, -1, 64, True).translate((100, 0, 0))
    arm = Manifold.cube((100, 18, arm_mm), True).translate((50, 0, 0))
    bore = Manifold.cylinder(60, 7, -1, 64, True).translate((100, 0, 0))
    return Part.from_arrays("badly_drawn", *mesh_of(hub + boss + arm - bore))
