"""Material where it is needed, in two dimensions: half of a beam, quick enough to watch while it forms.

Density method with penalty (SIMP) and optimality criteria, as in the educational 88-line code (Andreassen et al. 2011).
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.strength.density import PENALTY, Blur, filled

POISSON = 0.3
SETTLED = 0.01  # change of a density at which the search ends
VOID = 1e-9  # modulus of an empty cell over that of a full one


@dataclass(frozen=True, eq=False)
class Design:
    """A design on its way: iteration; density (ny, nx) [-], rows from the top; compliance of a unit load on a unit
    modulus."""

    iteration: int
    density: np.ndarray
    compliance: float


def _square():
    """Stiffness (8, 8) of a unit square of unit modulus in plane stress; corners anticlockwise from bottom left."""
    k = np.zeros((8, 8))
    elastic = np.array([[1, POISSON, 0], [POISSON, 1, 0], [0, 0, (1 - POISSON) / 2]]) / (1 - POISSON**2)
    at = np.array([-1, 1]) / np.sqrt(3)
    sx, sy = np.array([-1, 1, 1, -1]), np.array([-1, -1, 1, 1])
    for x in at:
        for y in at:
            dx, dy = sx * (1 + sy * y) / 2, sy * (1 + sx * x) / 2
            strain = np.zeros((3, 8))
            strain[0, ::2], strain[1, 1::2], strain[2, ::2], strain[2, 1::2] = dx, dy, dy, dx
            k += strain.T @ elastic @ strain / 4
    return k


def lighten_beam(nx=60, ny=20, share=0.5, radius=2.4, densities=False, most=200, aside=0.0):
    """Designs of half a beam on two supports, one an iteration: a generator that may be left.

    Loaded from above in the middle, or with aside > 0 at that share of the way to each support [-].

    nx, ny: cells along and across; share of the room that may be filled [-]; radius of the filter [cells]; densities:
    filter densities instead of sensitivities; most iterations; it ends when no density changes by SETTLED.
    Yields: Design. Raises: InputError. Limits: one load, plane stress, a local optimum.
    """
    from scipy.linalg import solveh_banded
    from threadpoolctl import threadpool_limits

    check_numbers(arrays=False, nx=nx, ny=ny, share=share, radius=radius)
    if not (share < 1 and 0 <= aside < 1):
        raise InputError(f"share={share!r} must be below 1, the part of the room that is filled; {aside=} from 0 to 1.")
    element = _square()
    left, top = np.meshgrid(np.arange(nx), np.arange(ny))
    corner = left * (ny + 1) + top  # nodes run down each column, so that the band is as narrow as the short side
    nodes = np.stack([corner + 1, corner + ny + 2, corner + ny + 1, corner], -1).reshape(-1, 4)
    freedoms = np.stack([2 * nodes, 2 * nodes + 1], -1).reshape(-1, 8)
    size, band = 2 * (nx + 1) * (ny + 1), 2 * ny + 6
    rows, columns = np.broadcast_arrays(freedoms[:, :, None], freedoms[:, None])
    lower = rows >= columns
    place = ((rows - columns) * size + columns)[lower]
    fixed = np.append(np.arange(0, 2 * (ny + 1), 2), size - 1)  # symmetry on the left, a roller bottom right
    force = np.zeros(size)
    force[2 * (ny + 1) * round(aside * nx) + 1] = -1.0
    blur = Blur(np.ones((ny, nx), bool), radius)
    x = real = np.full(nx * ny, float(share))
    for iteration in range(1, int(most) + 1):
        with threadpool_limits(1):  # many threads on a narrow band are far slower than one
            modulus = VOID + real**PENALTY * (1 - VOID)
            values = (modulus[:, None, None] * element)[lower]
            banded = np.bincount(place, values, band * size).reshape(band, size)
            banded[0, fixed] += 1e9
            moved = solveh_banded(banded, force, lower=True, check_finite=False)
        moved[fixed] = 0
        energy = np.einsum("ei,ij,ej->e", moved[freedoms], element, moved[freedoms])
        compliance = float((modulus * energy).sum())
        pull = PENALTY * real ** (PENALTY - 1) * (1 - VOID) * energy
        if densities:
            pull = blur(pull, back=True) / blur(np.ones_like(x), back=True)
        else:
            pull = blur(x * pull) / np.maximum(x, 1e-3)
        new = filled(x, pull, share * nx * ny, blur if densities else np.copy)
        settled, x = np.abs(new - x).max() < SETTLED, new
        real = blur(x) if densities else x
        yield Design(iteration, real.reshape(ny, nx), compliance)
        if settled:
            return
