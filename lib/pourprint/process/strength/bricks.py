"""Finite elements on a grid of cubes: brick stiffness, a multigrid solver, stresses.

Linear, small displacements, isotropic. A staircase of cubes has false peaks at its corners: they are not a result.
Stiffness is trusted to a few per cent where walls are three cells or more; stress only away from loads and steps.
"""

import numpy as np

from pourprint.ledger.errors import InputError

CORNERS = np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)])
WEIGHT = 1.6  # of a step of the solver's smoothing
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


class Lattice:
    """The corners of the cells that are `used` (nx, ny, nz) bool. cells (e, 3): indices of the cells; nodes (n, 3):
    indices of their corners; corner (e, 8): the number of each cell's corners; freedoms (e, 24): those of its freedoms;
    shape: cells of the whole grid along x, y, z."""

    def __init__(self, used):
        self.shape, self.cells = used.shape, np.argwhere(used)
        size = np.array(used.shape) + 1
        flat = np.ravel_multi_index(tuple(np.moveaxis(self.cells[:, None] + CORNERS, -1, 0)), size)
        found, corner = np.unique(flat, return_inverse=True)
        self.nodes, self.corner = np.stack(np.unravel_index(found, size), 1), corner.reshape(-1, 8)
        self.freedoms = (3 * self.corner[:, :, None] + np.arange(3)).reshape(-1, 24)

    def at_corners(self, cells):
        """Which nodes (n,) stand at a corner of one of some cells (e,) bool."""
        found = np.zeros(len(self.nodes), bool)
        found[self.corner[cells]] = True
        return found

    def pins(self, among):
        """The six freedoms (n, 3) bool of some nodes (n,) bool that best keep the part from drifting and turning; they
        carry nothing where loads balance."""
        from scipy.linalg import qr

        some = np.flatnonzero(among)
        turns = np.cross(np.eye(3), self.nodes[some][:, None])
        motions = np.concatenate([np.broadcast_to(np.eye(3), turns.shape), turns], axis=1)  # as one body: (some, 6, 3)
        best = qr(motions.transpose(1, 0, 2).reshape(6, -1), mode="r", pivoting=True)[1][:6]
        held = np.zeros((len(self.nodes), 3), bool)
        held[some[best // 3], best % 3] = True
        return held


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

    def stiffness(self, scale):
        """Stiffness (3 n, 3 n), sparse, of all freedoms; scale (e,): stiffness of each cell over a full one."""
        from scipy import sparse

        blocks = np.empty((len(self._columns), 3, 3))
        for i, j in np.ndindex(3, 3):
            values = np.multiply.outer(scale, self.element[i::3, j::3])
            blocks[:, i, j] = np.bincount(self._place, values.ravel(), len(blocks))
        size = 3 * len(self.lattice.nodes)
        return sparse.bsr_array((blocks, self._columns, self._starts), (size, size)).tocsr()

    def solve(self, scale, loads, start=None, tolerance=1e-6, most=400, settled=True):
        """Displacements (n, 3, cases) under loads (n, 3, cases) [N]; scale as for `stiffness`.

        start: displacements to begin with; most rounds. Raises: InputError where these do not reach the tolerance,
        unless settled is False.
        """
        matrix = self.stiffness(scale)[self.free][:, self.free]
        moved = np.zeros((3 * len(self.lattice.nodes), loads.shape[2]))
        begin = moved if start is None else start.reshape(moved.shape)
        right = loads.reshape(moved.shape)[self.free]
        levels = _levels(matrix, self._down)
        moved[self.free] = _conjugate(matrix, levels, right, begin[self.free], tolerance, most, settled)
        return moved.reshape(loads.shape)


def _transfers(lattice, free):
    """Interpolation matrices from each coarser grid to the next finer, down to a small one, of the freedoms in use."""
    from scipy import sparse

    size, down = np.array(lattice.shape) + 1, []
    node = np.ravel_multi_index(tuple(lattice.nodes.T), size)
    keep = (3 * node[:, None] + np.arange(3)).ravel()[free]  # numbers of the freedoms on the whole grid
    while len(keep) > SMALL and size.max() > 3:
        x, y, z = map(_halved, size)
        whole = sparse.kron(sparse.kron(x, y), sparse.kron(z, sparse.eye_array(3)), format="csr")[keep]
        keep, size = np.unique(whole.indices), size // 2 + 1
        down.append(sparse.csr_array(whole[:, keep], dtype=np.float32))
    return down


def _halved(count):
    """Interpolation (count, count // 2 + 1) on a line: a node between two coarse ones takes half of each."""
    from scipy import sparse

    i = np.arange(count)
    return sparse.coo_array((np.full(2 * count, 0.5), (np.tile(i, 2), np.concatenate([i // 2, (i + 1) // 2]))))


def _levels(matrix, down):
    """[(matrix, damping, interpolation, its transpose)] from fine to coarse; the last is an inverse.

    In single precision: it only steers the solver, whose own residual is in double. Damped by the sums of rows, which
    settles at any weight below 2 (Baker, Falgout, Kolev & Yang 2011, from memory).
    """
    from scipy import sparse

    levels, matrix = [], matrix.astype(np.float32)
    for step in down:
        sums, back = np.abs(matrix).sum(1), sparse.csr_array(step.T)
        levels.append((matrix, (WEIGHT / np.maximum(sums, 1e-12 * sums.max()))[:, None], step, back))
        matrix = sparse.csr_array(back @ (matrix @ step))
    full = matrix.toarray().astype(float)
    full[np.diag_indices_from(full)] += 1e-8 * full.diagonal().max()
    return [*levels, np.linalg.inv(full).astype(np.float32)]


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


def stresses(lattice, moved, youngs, poisson, cell_mm):
    """Stress (6, e, cases) [MPa], in the order of `elasticity`, at the centre of each full cell for displacements
    (n, 3, cases)."""
    elastic = elasticity(youngs, poisson) @ brick(youngs, poisson, cell_mm)[1]
    return np.einsum("ij,ejc->iec", elastic, moved.reshape(-1, moved.shape[2])[lattice.freedoms])


def von_mises(stress):
    """Von Mises stress (…) of stresses (6, …)."""
    xx, yy, zz, xy, yz, zx = stress
    return np.sqrt(((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2) / 2 + 3 * (xy**2 + yz**2 + zx**2))
