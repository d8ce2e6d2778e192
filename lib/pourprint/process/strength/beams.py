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
    """A bar between two points (numbers), round: EA [N], EI and GJ [N mm²], GA of shear [N], infinite for slender.

    offset_mm: rigid stretches at its two ends. soft: {freedom: compliance} of its ends in the bar's own axes (0 to 5
    the first end: along, two across, twist, two bends; 6 to 11 the second), [mm/N] or [rad/N mm]; infinite: released.
    across: direction of the first of the two across, square to the bar, where it matters which (3,).
    """

    name: str
    ends: tuple[int, int]
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
    """Stiffness (12, 12) with sprung ends in series and released ones free, and the motion (12, 12) of the bar's ends
    that follows from the points'."""
    free = [i for i, softness in bar.soft if math.isinf(softness)]
    sprung = np.zeros(12)
    for i, softness in bar.soft:
        sprung[i] = 0 if math.isinf(softness) else softness
    follow = np.linalg.inv(np.eye(12) + sprung[:, None] * k)
    k = k @ follow
    if free:
        try:
            moved = np.linalg.solve(k[np.ix_(free, free)], k[free])
        except np.linalg.LinAlgError:
            moved = np.full((len(free), 12), np.inf)
        if np.abs(moved).max() > 1e9:
            raise InputError(f"bar {bar.name!r} is released at both ends so that it moves by itself: hold one of them.")
        k = k - k[:, free] @ moved
        follow = follow.copy()
        follow[free] = np.eye(12)[free] - moved
    return k, follow


def _placed(bar, points):
    """Length between the rigid ends [mm], and the (12, 12) matrix from the points' freedoms to the bar's own."""
    a, b = np.asarray(points, dtype=float)[list(bar.ends)]
    along = unit_vector(b - a, f"bar {bar.name}")
    length = np.linalg.norm(b - a) - sum(bar.offset_mm)
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
    return length, matrix


def _freedoms(bar):
    return np.add.outer(6 * np.array(bar.ends), np.arange(6)).ravel()


@dataclass(frozen=True, eq=False)
class Solved:
    """Displacements (points, 6, cases) [mm, rad]; forces {bar: (12, cases)} of the points on the bar's own ends, in its
    own axes [N, N mm]; axes {bar: (3, 3)} its directions as rows, along first."""

    displacements: np.ndarray
    forces: dict[str, np.ndarray]
    axes: dict[str, np.ndarray]


def solve_frame(points, bars, loads, supports=()):
    """Displacements and bar forces of a frame.

    points (n, 3) [mm]; bars: Bar; loads (n, 6, cases) [N, N mm] on the points; supports: (row (6n,), stiffness), each a
    spring [N/mm or N mm/rad] against the motion row @ u, infinite for one that does not give. Returns: Solved.
    Raises: InputError that names the joint by which the frame is a mechanism. Limits: small displacements, no buckling.
    Source: exact for such bars (direct stiffness method).
    """
    points = np.asarray(points, dtype=float)
    loads = np.asarray(loads, dtype=float)
    size = 6 * len(points)
    total = np.zeros((size, size))
    built = {}
    for bar in bars:
        length, matrix = _placed(bar, points)
        k, follow = _softened(bar, _local(bar, length))
        at = _freedoms(bar)
        total[np.ix_(at, at)] += matrix.T @ k @ matrix
        built[bar.name] = (at, matrix, k, follow)
    held = [np.asarray(row, dtype=float) for row, stiff in supports if math.isinf(stiff)]
    for row, stiff in supports:
        if not math.isinf(stiff):
            total += stiff * np.outer(row, row)
    free = np.eye(size)
    if held:  # the motions that the rigid supports leave
        _, value, across = np.linalg.svd(np.array(held))
        free = across[int((value > 1e-12 * value[0]).sum()) :].T
        if all(np.count_nonzero(row) == 1 for row in held):  # freedoms held one by one: no mixing, no rounding
            free = np.eye(size)[:, np.all(np.array(held) == 0, axis=0)]
    reduced = free.T @ total @ free
    _check_held(reduced, free, bars, built)
    moved = free @ np.linalg.solve(reduced, free.T @ loads.reshape(size, -1))
    forces = {name: k @ matrix @ moved[at] for name, (at, matrix, k, _) in built.items()}
    axes = {name: matrix[:3, :3] for name, (_, matrix, *_) in built.items()}
    return Solved(moved.reshape(*loads.shape[:2], -1), forces, axes)


def _check_held(reduced, free, bars, built):
    """Raise InputError that names the joint that lets the frame move, where some motion meets no resistance."""
    scale = np.tile([1.0] * 3 + [1 / TURN_MM] * 3, len(free) // 6)
    metric = free.T @ (scale[:, None] * free)  # a turn counts by the way that a point at TURN_MM goes
    value, motion = np.linalg.eigh(metric @ reduced @ metric.T)
    if value[0] > LEAST_HELD * value[-1]:
        return
    moved = free @ metric.T @ motion[:, 0]
    turned = {}
    for bar in bars:
        at, matrix, _, follow = built[bar.name]
        ends = matrix @ moved[at]
        for i, softness in bar.soft:
            if math.isinf(softness):
                joint = bar.name, bar.ends[i // 6]
                turned[joint] = max(turned.get(joint, 0.0), abs((follow @ ends - ends)[i]))
    joint = max(turned, key=turned.get, default=None)
    if joint is None or turned[joint] < 1e-6 * np.abs(moved).max():
        where = int(np.argmax(np.abs(moved * scale))) // 6
        raise Mechanism(None, where, f"nothing holds the frame: point {where} moves without resistance; add supports.")
    raise Mechanism(*joint, f"the frame is a mechanism: bar {joint[0]!r} turns freely at its end at point {joint[1]}.")


class Mechanism(InputError):
    """A frame that moves without resistance: bar (name or None) and point (number) of the joint that lets it."""

    def __init__(self, bar, point, message):
        super().__init__(message)
        self.bar, self.point = bar, point
