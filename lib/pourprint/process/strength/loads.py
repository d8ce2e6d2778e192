"""What a frame's tubes and nodes carry in its standard cases.

Static, small displacements, nodes rigid to their sockets' mouths, tyres as springs; no fatigue, no impact but the
drop's factor, no local failure of a tube's end. Teaching estimates: no result here approves a joint.
"""

import math
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from pourprint.ledger.errors import InputError
from pourprint.process.strength.beams import Bar, solve_frame

GRAVITY = 9.80665  # m/s2, standard
SHEAR_SHARE = 0.5  # of a thin round tube's section that carries shear (Cowper 1966, thin wall, from memory)


@dataclass(frozen=True)
class Case:
    """A load case: acceleration (3,) on every mass [g]; numbers of the wheels that stand and of those that hold
    along x; whether pivots rest against their stops."""

    name: str
    pull_g: tuple[float, float, float]
    standing: tuple[int, ...]
    braked: tuple[int, ...]
    stopped: bool = False


@dataclass(frozen=True, eq=False)
class FrameLoads:
    """Loads in a frame. cases: names; drop_factor [-]; displacements {point: (6, cases)} [mm, rad], turns about x, y, z
    last; ends {(tube, point): (force, moment)} of the tube on the node at its socket's mouth, or at the boss's centre
    where it pivots, each (3, cases) [N, N mm] along x, y, z."""

    frame: object
    cases: tuple[str, ...]
    drop_factor: float
    displacements: dict
    ends: dict

    def at_kind(self, kind):
        """Loads on alike nodes (NodeKind), turned into the first's axes: names of the cases (point, case), and
        {tube of the first's socket or boss: (force, moment)}, each (3, points × cases)."""
        found = {name: [] for name in kind.tubes[0] + self.frame.pivoting_at(kind.points[0])}
        for point, turn, bonded in zip(kind.points, kind.turns, kind.tubes, strict=True):
            for some, here in zip(found.values(), bonded + self.frame.pivoting_at(point), strict=True):
                some.append([turn.T @ part for part in self.ends[here, point]])
        labels = tuple((point, case) for point in kind.points for case in self.cases)
        return labels, {
            name: tuple(np.hstack(parts) for parts in zip(*some, strict=True)) for name, some in found.items()
        }

    def table(self):
        """Each tube's hardest case as a pandas table: force along it [N], bending [Nm], stress [MPa] against its
        tubing's strength, and the margins [-]: strength over stress less one, and so for buckling (hinged ends;
        infinite where nothing pushes)."""
        import pandas as pd

        rows = []
        for tube in self.frame.tubes.values():
            area, inertia = _section(tube)
            entries = self.frame.tubing[tube.tubing]
            forces, moments = (np.stack([self.ends[tube.name, point][i] for point in tube.between]) for i in (0, 1))
            along = self.frame.direction(tube, tube.between[0])
            pull = -np.einsum("i,ic->c", along, forces[1])  # what the tube pulls its second node back with
            twist = np.einsum("i,eic->ec", along, moments)
            bending = np.linalg.norm(moments - twist[:, None] * along[:, None], axis=1).max(axis=0)
            stress = np.abs(pull) / area + bending * tube.thin_mm / 2 / inertia
            worst = int(np.argmax(stress))
            euler = np.pi**2 * 1000 * entries["youngs_modulus"].value * inertia / self.frame.length_mm(tube) ** 2
            pushed = -pull.min()
            strength = entries["strength"].value / stress[worst] - 1
            buckling = euler / pushed - 1 if pushed > 0 else math.inf
            row = tube.name, self.cases[worst], pull[worst], bending[worst] / 1000, stress[worst], strength, buckling
            rows.append(row)
        margins = "margin of strength [-]", "margin of buckling [-]"
        columns = ["tube", "case", "pull [N]", "bending [Nm]", "stress [MPa]", *margins]
        return pd.DataFrame(rows, columns=columns).set_index("tube")

    def moved(self):
        """How far each case moves the frame, as a pandas table: the point that moves most and its way [mm]."""
        import pandas as pd

        cases = pd.Index(self.cases, name="case")
        ways = pd.DataFrame({p: np.linalg.norm(u[:3], axis=0) for p, u in self.displacements.items()}, cases)
        return pd.DataFrame({"point": ways.idxmax(axis=1), "moves [mm]": ways.max(axis=1)})


def frame_loads(frame):
    """Forces in a frame's tubes and on its nodes, in its standard cases.

    frame: Frame with wheels; what its points carry holds the masses of their nodes.
    Cases: standing; slope_along (nose up), slope_across; off_POINT for each wheel in the air without which the frame
    still stands, pivots against their stops; side; drop (standing times 1 + √(1 + 2 h/δ), δ how far the mass settles
    when standing); blocked (the foremost wheel alone holds along x). Tyres give alike along x, y and z.
    Returns: FrameLoads. Raises: InputError; for a mechanism it names the joint.
    """
    if not frame.wheels:
        raise InputError(f"frame {frame.name!r} has no wheels to stand on; give it [[wheel]] tables.")
    mass = _masses(frame)
    wheels, given = tuple(range(len(frame.wheels))), frame.cases
    if not _stands(frame, wheels):
        raise InputError(f"frame {frame.name!r} falls over: it needs three wheels or more, not all in a row.")
    front = max(wheels, key=lambda i: frame.points[frame.wheels[i].point].at[0])  # noqa: PD008
    a, b = np.radians([given.slope_along_deg, given.slope_across_deg])
    down = (0.0, 0.0, -1.0)
    cases = [
        Case("standing", down, wheels, wheels),
        Case("slope_along", (-np.sin(a), 0.0, -np.cos(a)), wheels, wheels),
        Case("slope_across", (0.0, -np.sin(b), -np.cos(b)), wheels, wheels),
        Case("side", (0.0, given.side_g, -1.0), wheels, wheels),
    ]
    for i, wheel in enumerate(frame.wheels):
        others = wheels[:i] + wheels[i + 1 :]
        if _stands(frame, others):
            cases.append(Case(f"off_{wheel.point}", down, others, wheels, stopped=True))
    cases.append(Case("blocked", (given.blocked_g, 0.0, -1.0), wheels, (front,)))
    mouths = {point: frame.mouths_mm(point) for point in frame.points}
    with threadpool_limits(1):  # many threads on small matrices are slower than one
        solved = [_solved(frame, mouths, mass, case) for case in cases]
    moved = np.concatenate([displacements for displacements, _ in solved], axis=2)
    settled = -(mass @ moved[:, 2, 0]) / mass.sum()
    factor = float(1 + np.sqrt(1 + 2 * given.drop_mm / settled))
    displacements = {name: _with_drop(moved[i], factor) for i, name in enumerate(frame.points)}
    ends = {}
    for tube in frame.tubes.values():
        on_node = -_with_drop(np.concatenate([forces[tube.name] for _, forces in solved], axis=1), factor)
        for point, own in zip(tube.between, np.split(on_node, 2), strict=True):
            ends[tube.name, point] = own[:3], own[3:]
    return FrameLoads(frame, (*(case.name for case in cases), "drop"), factor, displacements, ends)


def _stands(frame, wheels):
    """Whether the feet of some wheels (numbers) span a ground to stand on: three or more, not in a row."""
    some = (frame.wheels[i] for i in wheels)
    feet = np.array([np.add(frame.points[wheel.point].at, (0, wheel.side_mm, 0))[:2] for wheel in some])
    return len(feet) > 2 and np.linalg.matrix_rank(feet - feet[0], tol=1.0) == 2  # mm


def _with_drop(values, factor):
    """Values (…, cases) with the drop after them: the first case, standing, times the factor."""
    return np.concatenate([values, factor * values[..., :1]], axis=-1)


def _section(tube):
    """Area [mm2] and second moment [mm4] of a tube's section, of the thin end of one that tapers."""
    outer, inner = tube.thin_mm, tube.thin_mm - 2 * tube.wall_mm
    return np.pi / 4 * (outer**2 - inner**2), np.pi / 64 * (outer**4 - inner**4)


def _masses(frame):
    """Mass (points,) at each point [kg]: what it carries, and half of each tube that ends there."""
    mass = {name: point.mass_kg for name, point in frame.points.items()}
    for tube in frame.tubes.values():
        for point in tube.between:
            mass[point] += _section(tube)[0] * frame.length_mm(tube) * frame.tubing[tube.tubing]["density"].value / 2e6
    return np.array(list(mass.values()))


def _solved(frame, mouths, mass, case):
    """Displacements and forces in one case."""
    bars = []
    for tube in frame.tubes.values():
        area, inertia = _section(tube)
        e, g = (1000 * frame.tubing[tube.tubing][f"{kind}_modulus"].value for kind in ("youngs", "shear"))
        soft, across = [], None
        for i, point in enumerate(tube.between):
            if tube.pivots_at == point:
                axis = frame.points[point].pivot.axis
                shaft = abs(frame.direction(tube, point) @ axis) > 0.5 * np.linalg.norm(axis)
                across = None if shaft else axis
                soft += [(6 * i + (3 if shaft else 4), math.inf)] * (not case.stopped)
            elif math.isfinite(tube.root_nm_rad):
                soft += [(6 * i + k, 1 / (1000 * tube.root_nm_rad)) for k in (4, 5)]
        reach = tuple(mouths[point].get(tube.name, 0.0) for point in tube.between)
        stiff = (e * area, e * inertia, 2 * g * inertia, SHEAR_SHARE * g * area)
        bars.append(Bar(tube.name, tube.between, *stiff, reach, tuple(soft), across))
    loads = np.zeros((len(mass), 6, 1))
    loads[:, :3, 0] = GRAVITY * mass[:, None] * case.pull_g
    try:
        return solve_frame({name: point.at for name, point in frame.points.items()}, bars, loads, _ground(frame, case))
    except InputError as error:
        raise InputError(f"case {case.name}: {error}") from None


def _ground(frame, case):
    """The ground under the wheels that stand, and the differential, as springs for solve_frame."""
    names, springs = list(frame.points), []
    for i in case.standing:
        wheel = frame.wheels[i]
        for axis in np.eye(3)[0 if i in case.braked else 1 :]:
            row = np.zeros((len(names), 6))
            row[names.index(wheel.point)] = [*axis, *np.cross((0.0, wheel.side_mm, -wheel.radius_mm), axis)]
            springs.append((row.ravel(), wheel.tyre_n_mm))
    if both := frame.differential:
        row = np.zeros((len(names), 6))
        for some, sign in ((both.rockers, 1), (both.body, -1)):
            for point in some:
                row[names.index(point), 4] += sign / len(some)
        springs.append((row.ravel(), 1000 * both.stiffness_nm_rad))
    return springs
