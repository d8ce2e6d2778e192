"""Bricks against the patch test, the cantilever, the bar and Kirsch's plate; the lesson's beam by its benchmark."""

import numpy as np
import pytest

from pourprint.ledger.errors import InputError
from pourprint.process.strength.beam_lesson import lighten_beam
from pourprint.process.strength.bricks import Lattice, Solver, brick, elasticity, stresses, von_mises

E, NU = 70e3, 0.33


def test_patch_of_cubes():
    """Any linear field is held exactly: no force inside, and the exact stress in every cell."""
    lattice = Lattice(np.ones((3, 4, 2), bool))
    slope = np.random.default_rng(0).normal(size=(3, 3)) * 1e-3
    moved = (lattice.nodes * 2.0 @ slope.T)[:, :, None]
    k, strain = brick(E, NU, 2.0)
    force = np.zeros(3 * len(lattice.nodes))
    np.add.at(force, lattice.freedoms, moved.reshape(-1)[lattice.freedoms] @ k.T)
    inside = np.all((lattice.nodes > 0) & (lattice.nodes < lattice.shape), axis=1)
    assert inside.any()
    assert np.abs(force.reshape(-1, 3)[inside]).max() < 1e-10 * np.abs(force).max()
    exact = np.array([slope[0, 0], slope[1, 1], slope[2, 2], slope[0, 1] + slope[1, 0], slope[1, 2] + slope[2, 1],
                      slope[2, 0] + slope[0, 2]])  # fmt: skip
    assert moved.reshape(-1)[lattice.freedoms] @ strain.T == pytest.approx(
        np.tile(exact, (24, 1)), rel=1e-10, abs=1e-13
    )
    s = elasticity(E, NU) @ exact
    expected = np.sqrt(((s[0] - s[1]) ** 2 + (s[1] - s[2]) ** 2 + (s[2] - s[0]) ** 2) / 2 + 3 * (s[3:] ** 2).sum())
    assert von_mises(stresses(lattice, moved, E, NU, 2.0))[:, 0] == pytest.approx(expected)


def cantilever(cells, deep):
    """Tip deflection [mm] of 80 × 4 × 4 mm under 10 N, over the Timoshenko beam's."""
    h = 4.0 / deep
    lattice = Lattice(np.ones((cells, deep, deep), bool))
    held = lattice.nodes[:, 0] == 0
    loads = np.zeros((len(lattice.nodes), 3, 1))
    tip = lattice.nodes[:, 0] == cells
    # Shear spread as the cells' faces take it: corners of the grid count a quarter.
    share = np.prod(np.where((lattice.nodes[:, 1:] == 0) | (lattice.nodes[:, 1:] == deep), 0.5, 1.0), axis=1) * tip
    loads[:, 2, 0] = 10 * share / share.sum()
    moved = Solver(lattice, brick(E, NU, h)[0], held).solve(np.ones(len(lattice.cells)), loads, tolerance=1e-9)
    length = cells * h
    inertia, shear = 4**4 / 12, 5 / 6 * 16 * E / 2 / (1 + NU)
    return moved[tip, 2, 0].mean() / (10 * length**3 / (3 * E * inertia) + 10 * length / shear)


def test_cantilever_bends_as_a_beam():
    """Euler and Timoshenko: within 2% with two cells through the depth, and with one."""
    assert cantilever(40, 2) == pytest.approx(1, abs=0.02)
    assert cantilever(20, 1) == pytest.approx(1, abs=0.02)


def test_hole_in_a_plate():
    """Kirsch: σ = ½ S (2 + r²/a² …) beside a round hole; the stress at cell centres, fitted along the section by
    S (1 + ½ (a/r)² + 3/2 (a/r)⁴), extrapolates to 3 S within 5%; the highest cell alone is far below."""
    nx, a = 80, 10.0
    x, y = (np.mgrid[0:nx, 0:nx] + 0.5) * 1.0
    full = (np.hypot(x, y) >= a)[:, :, None]
    lattice = Lattice(full)
    nodes = lattice.nodes
    right = nodes[:, 0] == nx
    loads = np.zeros((len(nodes), 3, 1))
    loads[right, 0, 0] = np.where((nodes[right, 1] == 0) | (nodes[right, 1] == nx), 0.5, 1.0) / 2  # 1 MPa
    k = brick(E, NU, 1.0)[0]
    solver = Planes(lattice, k)
    moved = solver.solve(np.ones(len(lattice.cells)), loads, tolerance=1e-8)
    stress = (elasticity(E, NU) @ brick(E, NU, 1.0)[1] @ moved.reshape(-1)[lattice.freedoms].T)[0]
    line = (lattice.cells[:, 0] == 0) & (lattice.cells[:, 1] < 40)
    r = lattice.cells[line, 1] + 0.5
    keep = r > a + 1.5  # not the steps of the staircase
    shape = 1 + 0.5 * (a / r[keep]) ** 2 + 1.5 * (a / r[keep]) ** 4
    fitted = (stress[line][keep] @ shape) / (shape @ shape) * 3
    assert fitted == pytest.approx(3.0, rel=0.05)


class Planes(Solver):
    """A solver whose freedoms are held singly: symmetry at x = 0 and y = 0, plane stress by one held point in z."""

    def __init__(self, lattice, element):
        held = np.zeros((len(lattice.nodes), 3), bool)
        held[:, :2] = lattice.nodes[:, :2] == 0
        held[:, 2] = lattice.nodes[:, 2] == 0
        super().__init__(lattice, element, held)


def test_a_coarse_and_a_fine_grid_give_the_same_bar():
    for cells in ((12, 3, 3), (24, 6, 6)):
        h = 36.0 / cells[0]
        lattice = Lattice(np.ones(cells, bool))
        loads = np.zeros((len(lattice.nodes), 3, 1))
        end = lattice.nodes[:, 0] == cells[0]
        inner = np.prod(np.where((lattice.nodes[:, 1:] % cells[1]) == 0, 0.5, 1.0), axis=1) * end
        loads[:, 0, 0] = 100 * inner / inner.sum()
        solver = Solver(lattice, brick(E, 0.0, h)[0], lattice.nodes[:, 0] == 0)
        moved = solver.solve(np.ones(len(lattice.cells)), loads, tolerance=1e-10)
        assert moved[end, 0, 0] == pytest.approx(100 * 36 / (E * 81), rel=1e-7)  # P L / E A, exact without Poisson


def test_a_part_that_nothing_holds_is_refused():
    lattice = Lattice(np.ones((2, 2, 2), bool))
    with pytest.raises(InputError, match="nothing holds"):
        Solver(lattice, brick(E, NU, 1.0)[0], np.zeros(27, bool))


@pytest.mark.parametrize(
    ("size", "radius", "densities", "compliance"),
    [
        ((60, 20), 2.4, False, 216.81),  # Andreassen et al. 2011
        ((60, 20), 2.4, True, 233.71),  # these three from memory of the same paper's code
        ((60, 20), 1.5, False, 203.2),
        ((150, 50), 6.0, False, 219.52),
    ],
)
def test_half_mbb_beam_of_the_educational_benchmark(size, radius, densities, compliance):
    *_, last = lighten_beam(*size, 0.5, radius, densities)
    assert last.compliance == pytest.approx(compliance, rel=1e-3)
    assert last.density.mean() == pytest.approx(0.5, abs=1e-3)


def test_the_lesson_can_be_left_at_any_iteration():
    designs = lighten_beam(30, 10)
    first, second = next(designs), next(designs)
    designs.close()
    assert (first.iteration, second.iteration) == (1, 2)
    assert second.compliance < first.compliance


def test_pinned_bar_is_pulled_as_by_hand_and_rigid_moves_cost_nothing():
    """Hooke: a bar pulled at both ends by balanced forces grows by F L / (E A), wherever it is pinned; forces of a turn
    and a shift as one body are nothing."""
    lattice = Lattice(np.ones((10, 2, 2), bool))
    element = brick(E, 0.0, 1.0)[0]
    pins = lattice.pins(np.ones(len(lattice.nodes), bool))
    assert pins.sum() == 6
    share = np.prod(np.where(lattice.nodes[:, 1:] == 1, 1.0, 0.5), axis=1) / 4
    loads = np.zeros((len(lattice.nodes), 3, 1))
    loads[:, 0, 0] = share * ((lattice.nodes[:, 0] == 10) * 1.0 - (lattice.nodes[:, 0] == 0)) * 100
    solver, full = Solver(lattice, element, pins), np.ones(len(lattice.cells))
    moved = solver.solve(full, loads, tolerance=1e-10)
    ends = [moved[lattice.nodes[:, 0] == x, 0, 0].mean() for x in (0, 10)]
    assert ends[1] - ends[0] == pytest.approx(100 * 10 / (E * 4), rel=1e-6)
    body = np.cross([0.1, -0.2, 0.3], lattice.nodes) + np.array([1, 2, 3])
    assert np.abs(solver.stiffness(full) @ body.ravel()).max() < 1e-9 * E
