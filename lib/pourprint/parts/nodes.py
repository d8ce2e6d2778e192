"""Make a node from tubes, angles and walls: one watertight mesh, to be varied; the frame's, too."""

import math
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import mesh_of, rotated_up, unit_vector
from pourprint.parts.part import Part

LEAST_FILLET_MM = 2.0  # smaller ones would need so fine a grid that a slider could not follow
SINK_MM = 0.05  # fillets start this far below the exact arms, so that their coarse facets never stand out
LEAST_ANGLE_DEG = 20.0  # between two tubes, or a tube and a bore; below, sockets need very long arms


@dataclass(frozen=True)
class Tube:
    """A tube bonded into the node: direction (3,) outward, outer diameter_mm, depth_mm of bond."""

    direction: tuple[float, float, float]
    diameter_mm: float
    depth_mm: float = 40.0

    def __post_init__(self):
        unit_vector(self.direction, "direction")
        check_numbers(arrays=False, diameter_mm=self.diameter_mm, depth_mm=self.depth_mm)


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


def make_node(
    tubes: tuple[Tube, ...],
    wall_mm: float = 4.0,
    bosses: tuple[Boss, ...] = (),
    hub_shell_mm: float | None = None,
    blend_mm: float = 2.0,
    drain_mm: float = 6.0,
    gap_mm: float = 0.2,
    fillet_mm: float = 0.0,
    segments: int = 64,
    name: str = "node",
) -> Part:
    """One watertight node: an arm with a blind socket for every tube, bored bosses, and a ball at the centre.

    wall_mm: metal around a socket, and least metal between sockets and beside bores [mm].
    hub_shell_mm: None for a solid hub, else the thickness of its shell [mm], which is then the least metal
    between hollow and sockets. Holes of drain_mm [mm] through the sockets' bottoms let powder, resin and sand
    out of the hollow; with 0 there are none, and the part's notes tell of the closed void.
    blend_mm: how far the ball stands out beyond the thickest arm [mm]; it softens the corners between arms.
    fillet_mm: radius [mm] of the fillets where arms, bosses and ball meet; 0 leaves sharp corners. Exact where
    surfaces meet at right angles, flatter at blunt corners; its facets are about 2 mm.
    gap_mm: radial bond gap, so a socket's diameter is the tube's + 2 gap_mm. segments [-]: corners of a
    circle, a multiple of 4; polygons keep their circle's area and balls their volume.
    Returns a Part with a mesh, centre at the origin. Raises InputError for a node that cannot be.
    """
    tubes, bosses = _all_of(tubes, Tube, "tubes"), _all_of(bosses, Boss, "bosses")
    if not tubes:
        raise InputError("tubes=() must hold one or more Tube(...).")
    check_numbers(arrays=False, wall_mm=wall_mm, segments=segments)
    check_numbers(True, False, blend_mm=blend_mm, drain_mm=drain_mm, gap_mm=gap_mm, fillet_mm=fillet_mm)
    if not isinstance(segments, (int, np.integer)) or segments % 4 or not 8 <= segments <= 512:
        raise InputError(f"segments={segments!r} must be a multiple of 4 from 8 to 512.")
    bore_r = [t.diameter_mm / 2 + gap_mm for t in tubes]
    starts = socket_starts(tubes, bosses, bore_r, wall_mm)
    ball_r = max(bore_r) + wall_mm + blend_mm
    if any(drain_mm / 2 > r for r in bore_r):
        raise InputError(f"drain_mm={drain_mm!r} must not be wider than a socket.")

    from manifold3d import Manifold, OpType

    bar = partial(rod, segments=segments)

    def ball(radius):
        unit = Manifold.sphere(1, segments)
        return unit.scale([radius * np.cbrt(4 / 3 * np.pi / unit.volume())] * 3)

    arms = list(zip(tubes, bore_r, starts, strict=True))
    # Far enough to pass everything.
    reach = ball_r + sum(b.length_mm for b in bosses) + max(d + t.depth_mm for t, _, d in arms)
    sleeves = [(b.axis, b.bore_mm / 2 + b.wall_mm, -b.length_mm / 2, b.length_mm / 2) for b in bosses]
    bars = [(t.direction, r + wall_mm, 0.0, d + t.depth_mm) for t, r, d in arms] + sleeves
    # Sockets are cut a little beyond the arm's end, so that no film is left there.
    holes = [bar(t.direction, r, d, d + t.depth_mm + 1) for t, r, d in arms]
    holes += [bar(b.axis, b.bore_mm / 2, -reach, reach) for b in bosses]
    if hub_shell_mm is not None:
        check_numbers(arrays=False, hub_shell_mm=hub_shell_mm)
        holes.append(_hollow(ball, bar, arms, [bar(*one) for one in sleeves], ball_r, wall_mm, hub_shell_mm))
        if drain_mm:
            holes += [bar(t.direction, drain_mm / 2, d - hub_shell_mm - 1, d + 1) for t, _, d in arms]
    rounds = _fillets(fillet_mm, ball_r, bars, max(starts) + 2 * wall_mm) if fillet_mm else []
    solid = Manifold.batch_boolean([ball(ball_r), *(bar(*one) for one in bars), *rounds], OpType.Add)
    node = Manifold.batch_boolean([solid, *holes], OpType.Subtract)
    for i, (t, _, d) in enumerate(arms, start=1):
        if (node ^ bar(t.direction, t.diameter_mm / 2, d, reach)).volume() > 1:
            raise InputError(
                f"tube {i} cannot be slid into its socket: other metal is in the way; make depth_mm longer, or"
                " blend_mm or the bosses smaller."
            )
    part = Part.from_arrays(name, *mesh_of(node))
    if part.bodies != 1:
        raise InputError(f"this node falls into {part.bodies} pieces; use smaller bores or thicker walls.")
    return part


def _hollow(ball, bar, arms, sleeves, ball_r, wall_mm, shell):
    """The room inside a hub's shell [mm]: a Manifold. Raises: InputError where none is left."""
    from manifold3d import Manifold, OpType

    rooms = [ball(ball_r - shell)] if ball_r > shell else []
    rooms += [bar(t.direction, r + wall_mm - shell, 0, d - shell) for t, r, d in arms if min(d, r + wall_mm) > shell]
    kept = sleeves + [bar(t.direction, r + shell, d - shell, d + t.depth_mm) for t, r, d in arms]
    hollow = Manifold.batch_boolean(rooms, OpType.Add) - Manifold.batch_boolean(kept, OpType.Add)
    if hollow.volume() < 1:
        raise InputError(f"hub_shell_mm={shell!r} leaves no hollow in this hub; make it thinner or None.")
    return hollow


def _fillets(fillet_mm, ball_r, bars, parted_mm):
    """The body with rounded corners between ball and bars, in a list; `parted_mm` from the centre arms stand alone."""
    from manifold3d import Manifold

    if not LEAST_FILLET_MM <= fillet_mm <= ball_r:
        raise InputError(f"fillet_mm={fillet_mm!r} must be 0, or from {LEAST_FILLET_MM:g} to {ball_r:.1f} mm here.")
    # Beyond this the arms have parted by a wall and a fillet; there is no corner left to fill.
    size = max(ball_r, parted_mm) + 2 * fillet_mm
    distance = _rounded_distance(ball_r, bars, fillet_mm)
    return [Manifold.level_set(distance, [-size] * 3 + [size] * 3, max(fillet_mm / 3, size / 22), SINK_MM)]


def rod(direction, radius, start, end, segments):
    """A Manifold: the round bar about a direction (3,) from start to end; its polygon keeps a circle's area."""
    from manifold3d import Manifold

    round_r = radius * np.sqrt(2 * np.pi / segments / np.sin(2 * np.pi / segments))
    turn = np.column_stack([rotated_up(np.eye(3), direction), np.zeros(3)])
    return Manifold.cylinder(end - start, round_r, -1, segments).translate((0, 0, start)).transform(turn)


def _rounded_distance(ball_r, rods, fillet_mm):
    """A function (x, y, z) → depth [mm] below the surface of ball and rods, their corners filled with fillets.

    Two distances a, b join as max(r, min(a, b)) − |(max(r − a, 0), max(r − b, 0))|: a circular fillet.
    """
    rods = [(*map(float, unit_vector(axis, "direction")), radius, start, end) for axis, radius, start, end in rods]

    def depth(x, y, z):
        # Called for every point of the grid: plain floats are several times faster than arrays of three.
        joined = math.sqrt(x * x + y * y + z * z) - ball_r
        for u, v, w, radius, start, end in rods:
            along = x * u + y * v + z * w
            across = math.sqrt(max(x * x + y * y + z * z - along * along, 0.0))
            rod = max(across - radius, start - along, along - end)
            corner = math.hypot(max(fillet_mm - joined, 0.0), max(fillet_mm - rod, 0.0))
            joined = max(fillet_mm, min(joined, rod)) - corner
        return -joined

    return depth


def _all_of(values, kind, name):
    values = [values] if isinstance(values, kind) else values
    if not isinstance(values, (tuple, list)) or not all(isinstance(value, kind) for value in values):
        raise InputError(f"{name}={values!r} must be a list of {kind.__name__}(...).")
    return tuple(values)


def socket_starts(tubes, bosses, bore_r, wall_mm):
    """Distances [mm] from the centre at which sockets begin so that wall_mm is left beside each of them."""
    starts = [wall_mm] * len(tubes)
    axes = [unit_vector(t.direction, "direction") for t in tubes]
    for i, j in combinations(range(len(tubes)), 2):
        angle = _angle(axes[i], axes[j], f"tubes {i + 1} and {j + 1}")
        # Each socket stays half a wall clear of the plane midway between the two axes.
        clear = (max(bore_r[i], bore_r[j]) * np.cos(angle / 2) + wall_mm / 2) / np.sin(angle / 2)
        starts[i], starts[j] = max(starts[i], clear), max(starts[j], clear)
    for k, boss in enumerate(bosses):
        axis = unit_vector(boss.axis, "axis")
        for i, along in enumerate(axes):
            side = axis if axis @ along > 0 else -axis  # a bore runs both ways
            angle = _angle(along, side, f"tube {i + 1} and the axis of boss {k + 1}")
            clear = (boss.bore_mm / 2 + wall_mm + bore_r[i] * np.cos(angle)) / np.sin(angle)
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
