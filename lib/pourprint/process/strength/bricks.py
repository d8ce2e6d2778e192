"""Finite elements on a grid of cubes: brick stiffness, a multigrid solver, stresses.

Linear, small displacements, isotropic. A staircase of cubes has false peaks at its corners: they are not a result.
Stiffness is trusted to a few per cent where walls are three cells or more; stress only away from loads and steps.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import InputError

CORNERS = np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)])
SMALL = 400  # freedoms that are solved directly on the coarsest grid


def elasticity(youngs, poisson):
    """Isotropic stiffness (6, 6): xx, yy, zz, xy, yz, zx with engineering shears. Source: exact (Hooke)."""
    lame, shear = youngs * poisson / (1 + poisson) / (1 - 2 * poisson), youngs / 2 / (1 + poisson)
    c = np.diag([2 * shear] * 3 + [shear] * 3)
    c[:3, :3] += lame
    return c


def _strain(slopes):
    """Strain (6, 3 n) of n displacement shapes with slopes (n, 3)."""
    b = np.zeros((6, 3 * len(slopes)))
    x, y, z = slopes.T
    b[0, 0::3], b[1, 1::3], b[2, 2::3] = x, y, z
    b[3, 0::3], b[3, 1::3], b[4, 1::3], b[4, 2::3], b[5, 0::3], b[5, 2::3] = y, x, z, y, z, x
    return b


def brick(youngs, poisson, cell_mm):
    """Stiffness (24, 24) of a cube [N/mm], and the strain (6, 24) at its centre; corners as in CORNERS.

    With incompatible modes, so that one cell bends as it should; plain ones are far too stiff. Source: Wilson's
    element; on cubes it passes the patch test as it is (Taylor, Beresford & Wilson 1976).
    """
    sign, c = 2 * CORNERS - 1, elasticity(youngs, poisson)
    at = np.array(np.meshgrid(*[[-1, 1]] * 3)).reshape(3, -1).T / np.sqrt(3)
    k, cross, own = np.zeros((24, 24)), np.zeros((24, 9)), np.zeros((9, 9))

    def slopes(p):
        f = 1 + sign * p
        return sign * np.stack([f[:, 1] * f[:, 2], f[:, 0] * f[:, 2], f[:, 0] * f[:, 1]], 1) / 8 * (2 / cell_mm)

    for p in at:
        b, extra = _strain(slopes(p)), _strain(np.diag(-2 * p) * 2 / cell_mm)
        k += b.T @ c @ b * cell_mm**3 / 8
        cross += b.T @ c @ extra * cell_mm**3 / 8
        own += extra.T @ c @ extra * cell_mm**3 / 8
    return k - cross @ np.linalg.solve(own, cross.T), _strain(slopes(np.zeros(3)))


@dataclass(frozen=True, eq=False)
class Lattice:
    """The corners of the cells in use. cells (e, 3): indices of the cells; nodes (n, 3): indices of their corners;
    corner (e, 8): the number of each cell's corners; shape: cells of the whole grid along x, y, z."""

    shape: tuple[int, int, int]
    cells: np.ndarray
    nodes: np.ndarray
    corner: np.ndarray

    @classmethod
    def of(cls, used):
        """The lattice of the cells that are used (nx, ny, nz) bool."""
        cells = np.argwhere(used)
        size = np.array(used.shape) + 1
        flat = np.ravel_multi_index(tuple(np.moveaxis(cells[:, None] + CORNERS, -1, 0)), size)
        found, corner = np.unique(flat, return_inverse=True)
        return cls(used.shape, cells, np.stack(np.unravel_index(found, size), 1), corner.reshape(-1, 8))

    def at_corners(self, cells):
        """Which nodes (n,) stand at a corner of one of some cells (e,) bool."""
        found = np.zeros(len(self.nodes), bool)
        found[self.corner[cells]] = True
        return found

    def pins(self, among):
        """The six freedoms (n, 3) bool of three nodes `among` some (n,) bool that keep the part from drifting and
        turning; they carry nothing where loads balance."""
        some = np.flatnonzero(among)
        way = self.nodes[some] - self.nodes[some[0]]
        far = np.argmax((way**2).sum(1))
        off = np.cross(way[far], way)
        aside = np.argmax((off**2).sum(1))
        held = np.zeros((len(self.nodes), 3), bool)
        held[some[0]] = True
        held[some[far]] = np.arange(3) != np.argmax(np.abs(way[far]))
        held[some[aside], np.argmax(np.abs(off[aside]))] = True
        return held

    def forces(self, element, scale, moved):
        """Forces (n, 3, cases) on the nodes that hold displacements (n, 3, cases); element, scale as in Solver."""
        cases = moved.shape[2]
        pulls = np.einsum("ij,ejc,e->eic", element, moved.reshape(-1, cases)[self.freedoms], scale, optimize=True)
        at = self.freedoms.ravel()
        pulls = pulls.reshape(-1, cases)
        summed = [np.bincount(at, pulls[:, c], 3 * len(self.nodes)) for c in range(cases)]
        return np.stack(summed, 1).reshape(moved.shape)

    @property
    def freedoms(self):
        """Numbers (e, 24) of the freedoms of each cell."""
        return (3 * self.corner[:, :, None] + np.arange(3)).reshape(-1, 24)


class Solver:
    """Displacements on a lattice by conjugate gradients with a geometric multigrid, all load cases together.

    element: stiffness (24, 24) of a full cell. held (n,) or (n, 3) bool: nodes, or freedoms, that do not move.
    """

    def __init__(self, lattice, element, held):
        self.lattice, self.element = lattice, element
        self.free = np.flatnonzero(~(np.repeat(held, 3) if held.ndim == 1 else held.ravel()))
        if not held.any():
            raise InputError("nothing holds the part: mark the nodes that do not move.")
        self._down = _transfers(lattice, self.free)
        # Where each pair of a cell's corners goes, found once: the matrix is then filled by one bincount a direction.
        count = len(lattice.nodes)
        pairs = lattice.corner[:, :, None] * count + lattice.corner[:, None]
        found, place = np.unique(pairs.ravel(), return_inverse=True)
        self._place, self._columns = place.ravel().astype(np.int32), (found % count).astype(np.int32)
        self._starts = np.searchsorted(found, np.arange(count + 1) * count).astype(np.int32)

    def solve(self, scale, loads, start=None, tolerance=1e-6, most=400, settled=True):
        """Displacements (n, 3, cases) under loads (n, 3, cases) [N]; scale (e,): stiffness of each cell over a full.

        start: displacements to begin with; most rounds. Raises: InputError where these do not reach the tolerance,
        unless settled is False.
        """
        from scipy import sparse

        blocks = np.empty((len(self._columns), 3, 3))
        for i, j in np.ndindex(3, 3):
            values = np.multiply.outer(scale, self.element[i::3, j::3])
            blocks[:, i, j] = np.bincount(self._place, values.ravel(), len(blocks))
        size = 3 * len(self.lattice.nodes)
        matrix = sparse.bsr_array((blocks, self._columns, self._starts), (size, size)).tocsr()[self.free][:, self.free]
        levels = _levels(matrix, self._down)
        cases = loads.shape[2]
        right = loads.reshape(-1, cases)[self.free]
        x = np.zeros_like(right) if start is None else start.reshape(-1, cases)[self.free]
        x = _conjugate(matrix, levels, right, x, tolerance, most, settled)
        moved = np.zeros((3 * len(self.lattice.nodes), cases))
        moved[self.free] = x
        return moved.reshape(-1, 3, cases)


def _transfers(lattice, free):
    """Interpolation matrices from each coarser grid to the next finer, down to a small one."""
    from scipy import sparse

    nodes, down = lattice.nodes, []
    keep, size = free, len(free)
    while size > SMALL and nodes.max() > 2:
        low = nodes // 2
        rows, columns, weights = [], [], []
        wide = nodes.max(0) // 2 + 2
        for corner in CORNERS:  # a node between two coarse ones takes half of each
            odd = nodes % 2
            share = np.where(odd == 1, 0.5, 1.0 - corner).prod(1)
            rows.append(np.flatnonzero(share))
            columns.append(np.ravel_multi_index(tuple((low + corner)[share > 0].T), wide))
            weights.append(share[share > 0])
        found, column = np.unique(np.concatenate(columns), return_inverse=True)
        one = sparse.csr_array((np.concatenate(weights), (np.concatenate(rows), column)), (len(nodes), len(found)))
        three = sparse.kron(one, sparse.eye_array(3), format="csr")[keep]
        used = np.flatnonzero(np.abs(three).sum(0) > 0)
        down.append(sparse.csr_array(three[:, used], dtype=np.float32))
        nodes, keep, size = np.stack(np.unravel_index(found, wide), 1), used, len(used)
    return down


def _levels(matrix, down):
    """[(matrix, damped inverse diagonal, interpolation, its transpose)] from fine to coarse; the last is an inverse.

    In single precision: it only steers the solver, whose own residual is in double.
    """
    from scipy import sparse

    levels = []
    matrix = matrix.astype(np.float32)
    for step in down:
        diagonal = matrix.diagonal()
        inverse = 1 / np.maximum(diagonal, 1e-12 * diagonal.max())
        v = np.random.default_rng(0).normal(size=len(diagonal)).astype(np.float32)
        for _ in range(8):  # the greatest eigenvalue, near enough
            v = inverse * (matrix @ v)
            most = np.linalg.norm(v)
            v /= most
        levels.append((matrix, (1.4 * inverse / most)[:, None], step, sparse.csr_array(step.T)))
        matrix = sparse.csr_array(levels[-1][3] @ (matrix @ step))
    full = matrix.toarray().astype(float)
    full[np.diag_indices_from(full)] += 1e-8 * full.diagonal().max()
    levels.append(np.linalg.inv(full).astype(np.float32))
    return levels


def _cycle(levels, depth, residual):
    """One V-cycle: a symmetric approximation of the inverse applied to residuals (n, cases)."""
    if depth == len(levels) - 1:
        return levels[depth] @ residual
    matrix, damped, step, back = levels[depth]
    x = damped * residual
    x += damped * (residual - matrix @ x)
    x += step @ _cycle(levels, depth + 1, back @ (residual - matrix @ x))
    for _ in range(2):
        x += damped * (residual - matrix @ x)
    return x


def _conjugate(matrix, levels, right, x, tolerance, most, settled):
    residual = right - matrix @ x
    goal = tolerance * np.maximum(np.linalg.norm(right, axis=0), 1e-30)
    way, before = np.zeros_like(x), np.ones(x.shape[1])
    for _ in range(most):
        if np.all(np.linalg.norm(residual, axis=0) <= goal):
            return x
        size = np.maximum(np.abs(residual).max(axis=0), 1e-300)
        better = size * _cycle(levels, 0, (residual / size).astype(np.float32))
        now = (residual * better).sum(0)
        way = better + way * np.where(before > 0, now / before, 0)
        pushed = matrix @ way
        length = now / np.maximum((way * pushed).sum(0), 1e-300)
        x = x + length * way
        residual -= length * pushed
        before = now
    if not settled:
        return x
    raise InputError(f"the solver did not settle in {most} rounds: is every piece of the part held?")


def von_mises(lattice, moved, youngs, poisson, cell_mm):
    """Von Mises stress [MPa] at the centre of each full cell (e, cases) for displacements (n, 3, cases)."""
    _, strain = brick(youngs, poisson, cell_mm)
    cases = moved.shape[2]
    ends = moved.reshape(-1, cases)[lattice.freedoms]
    xx, yy, zz, xy, yz, zx = np.einsum("ij,ejc->iec", elasticity(youngs, poisson) @ strain, ends)
    return np.sqrt(((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2) / 2 + 3 * (xy**2 + yz**2 + zx**2))
