"""Space frames of straight round bars: small displacements, rigid ends, sprung ends and releases.

Forces N, lengths mm, moments N mm, rotations rad. Six freedoms a point: x, y, z and the turns about them.
"""

import math
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import unit_vector
from pourprint.process.geometry import frame_along

LEAST_HELD = 1e-11  # of the stiffest motion; a frame that resists some motion less than this is a mechanism
TURN_MM = 100.0  # a turn of 1 rad counts as this displacement when motions are compared


@dataclass(frozen=True, eq=False)
class Bar:
    """A bar between two points (names), round: EA [N], EI and GJ [N mm²], GA of shear [N], infinite for slender.

    offset_mm: rigid stretches at its two ends. soft: {freedom: compliance} of its ends in the bar's own axes (0 to 5
    the first end: along, two across, twist, two bends; 6 to 11 the second), [mm/N] or [rad/N mm]; infinite: released.
    across: direction of the first of the two across, square to the bar, where it matters which (3,).
    """

    name: str
    ends: tuple[str, str]
    ea: float
    ei: float
    gj: float
    ga: float = math.inf
    offset_mm: tuple[float, float] = (0.0, 0.0)
    soft: tuple[tuple[int, float], ...] = ()
    across: tuple[float, float, float] | None = None


def _local(bar, length):
    """Stiffness (12, 12) of a free bar in its own axes, shear included (Timoshenko). Source: exact."""
    k = np.zeros((12, 12))
    for i, stiff in ((0, bar.ea), (3, bar.gj)):
        k[np.ix_([i, i + 6], [i, i + 6])] = stiff / length * np.array([[1, -1], [-1, 1]])
    shear = 12 * bar.ei / (bar.ga * length**2)
    a, b = 12 * bar.ei / length**3 / (1 + shear), 6 * bar.ei / length**2 / (1 + shear)
    c, d = ((f + shear) * bar.ei / length / (1 + shear) for f in (4, 2))
    d -= 2 * shear * bar.ei / length / (1 + shear)
    for at, s in (((1, 5, 7, 11), 1), ((2, 4, 8, 10), -1)):  # a turn about y tilts z the other way
        k[np.ix_(at, at)] = [
            [a, s * b, -a, s * b],
            [s * b, c, -s * b, d],
            [-a, -s * b, a, -s * b],
            [s * b, d, -s * b, c],
        ]
    return k


def _softened(bar, k):
    """Stiffness (12, 12) of a bar with its soft ends, and the motion (12, 12) of its ends that follows from the
    points': where it is sprung or released, what the bar pulls there is what the spring, if any, takes."""
    at, softness = [i for i, _ in bar.soft], np.array([softness for _, softness in bar.soft])
    try:
        slip = np.linalg.solve(k[np.ix_(at, at)] + np.diag(1 / softness), k[at])
    except np.linalg.LinAlgError:
        slip = np.full((len(at), 12), np.inf)
    if np.abs(slip).max(initial=0) > 1e9:
        raise InputError(f"bar {bar.name!r} is released at both ends so that it moves by itself: hold one of them.")
    follow = np.eye(12)
    follow[at] -= slip
    return k @ follow, follow


def _placed(bar, points):
    """Length between the rigid ends [mm]; the bar's own axes (3, 3) as rows, along first; and the matrix (12, 12) from
    the points' freedoms to the bar's own."""
    way = np.subtract(points[bar.ends[1]], points[bar.ends[0]])
    along = unit_vector(way, f"bar {bar.name}")
    length = np.linalg.norm(way) - sum(bar.offset_mm)
    if length <= 0:
        raise InputError(f"bar {bar.name!r} has no length left between its rigid ends; set its points further apart.")
    axes = np.roll(frame_along(along), 1, axis=0)
    if bar.across is not None:
        first = unit_vector(bar.across, "across")
        axes = np.stack([along, first, np.cross(along, first)])
    matrix = np.zeros((12, 12))
    for end, reach in ((0, bar.offset_mm[0]), (6, -bar.offset_mm[1])):
        x, y, z = along * reach
        arm = np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])  # u at the rigid arm's end: u + turn × arm
        matrix[end : end + 3, end : end + 3] = matrix[end + 3 : end + 6, end + 3 : end + 6] = axes
        matrix[end : end + 3, end + 3 : end + 6] = axes @ arm
    return length, axes, matrix


def solve_frame(points, bars, loads, springs=(), held=()):
    """Displacements and bar forces of a frame.

    points {name: (3,)} [mm]; bars: Bar; loads (n, 6, cases) [N, N mm] on the points; springs: (row (6n,), stiffness),
    each [N/mm or N mm/rad] against the motion row @ u; held: numbers of the freedoms (of 6n) that do not move.
    Returns: displacements (n, 6, cases) [mm, rad]; {bar: (12, cases)}, forces and moments of the points on its two ends
    along x, y, z [N, N mm]. Raises: InputError that names the joint by which the frame is a mechanism.
    Limits: small displacements, no buckling. Source: exact for such bars (direct stiffness method).
    """
    names, size = list(points), 6 * len(points)
    total, built = np.zeros((size, size)), {}
    for bar in bars:
        length, axes, matrix = _placed(bar, points)
        k, follow = _softened(bar, _local(bar, length))
        at = np.concatenate([6 * names.index(end) + np.arange(6) for end in bar.ends])
        total[np.ix_(at, at)] += matrix.T @ k @ matrix
        pull = np.kron(np.eye(4), axes.T) @ k @ matrix
        built[bar.name] = (at, matrix, follow, pull)
    for row, stiff in springs:
        total += stiff * np.outer(row, row)
    free = np.setdiff1d(np.arange(size), held)
    reduced = total[np.ix_(free, free)]
    _check_held(reduced, free, names, bars, built)
    moved = np.zeros((size, loads.shape[2]))
    moved[free] = np.linalg.solve(reduced, loads.reshape(size, -1)[free])
    return moved.reshape(loads.shape), {name: pull @ moved[at] for name, (at, *_, pull) in built.items()}


def _check_held(reduced, free, names, bars, built):
    """Raise InputError that names the joint that lets the frame move, where some motion meets no resistance."""
    scale = np.tile([1.0] * 3 + [1 / TURN_MM] * 3, len(names))  # a turn counts by the way of a point at TURN_MM
    value, motion = np.linalg.eigh(reduced * np.outer(scale[free], scale[free]))
    if value[0] > LEAST_HELD * value[-1]:
        return
    moved = np.zeros(len(scale))
    moved[free] = scale[free] * motion[:, 0]
    turned = {}
    for bar in bars:
        at, matrix, follow, _ = built[bar.name]
        ends = matrix @ moved[at]
        for i, softness in bar.soft:
            if math.isinf(softness):
                joint = bar.name, bar.ends[i // 6]
                turned[joint] = max(turned.get(joint, 0.0), abs((follow @ ends - ends)[i]))
    joint = max(turned, key=turned.get, default=None)
    if joint is None or turned[joint] < 1e-6 * np.abs(moved).max():
        where = names[int(np.argmax(np.abs(moved * scale))) // 6]
        raise InputError(f"nothing holds the frame: point {where} moves without resistance; add supports.")
    raise InputError(
        f"the frame is a mechanism: {joint[0]} turns freely at point {joint[1]}; hold it, or take the pivot out."
    )
