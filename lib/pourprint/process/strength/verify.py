"""A look at finished shapes with finite elements that the search for lightness did not use: stiffness and stress.

Cubes weighted by their share of metal, bricks that bend. Sockets and bores are looked at twice: empty, as if tubes and
bearings gave no support, and as if these were rigid; the truth lies between. Not to be believed: stress at the loaded
places and at steps of the staircase; walls of fewer than two cells; anything of fatigue, pores, residual stress or the
bond.
"""

from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from pourprint.ledger.entries import joints
from pourprint.process.freezing.voxels import voxels
from pourprint.process.strength.bricks import Lattice, Solver, brick, von_mises
from pourprint.process.strength.lighten import spread

LEAST = 0.2  # share of metal below which a cell is left out
AWAY_MM = 2.0  # stress is read at least this far from loads and holds
TOP = 0.005  # share of the metal with the highest stress that is left out: the staircase's corners


@dataclass(frozen=True, eq=False)
class Verified:
    """One shape on cells of cell_mm: mass_g; of each case its energy (cases,) [N mm] with empty holes, and
    rigid_energies with rigid ones, and the stress below which all but TOP of the metal stays (cases,) [MPa], holes
    empty."""

    name: str
    cell_mm: float
    mass_g: float
    energies: np.ndarray
    rigid_energies: np.ndarray
    stresses_mpa: np.ndarray


def verify(task, parts, alloy, cell_mm=2.0):
    """Shapes compared under the same loads in the same cells: {name: Part} → {name: Verified}.

    task: Task; alloy: Alloy; cell_mm: edge of a cell [mm]. Only cells that are full in every shape are loaded; no cell
    is held, since the loads balance: six freedoms of three nodes only keep the part from drifting.
    Raises: InputError where these are too few.
    """
    poisson = joints()[f"poisson.{alloy.family}"].value
    youngs = 1000 * alloy["youngs_modulus"]
    corners = np.concatenate([part.needed_mesh("verified")[0] for part in parts.values()])
    box = corners.min(0), corners.max(0)
    grids = {name: voxels(*part.mesh, cell_mm, box=box) for name, part in parts.items()}
    full = np.all([grid.fraction >= 0.9 for grid in grids.values()], axis=0)
    mixes, made = task.mixes()
    element = brick(youngs, poisson, cell_mm)[0]
    found = {}
    for name, grid in grids.items():
        lattice = Lattice.of(grid.fraction >= LEAST)
        points = grid.origin_mm + lattice.nodes * cell_mm
        centres = grid.origin_mm + (lattice.cells + 0.5) * cell_mm
        shared = full[tuple(lattice.cells.T)]
        rings = [shared & hole.ring(centres, 1.5 * cell_mm) for hole in task.holes]
        loaded = [lattice.at_corners(ring) for ring in rings]
        loads = np.einsum("nkf,fm->nkm", spread(task, points, loaded), mixes)
        share = grid.fraction[tuple(lattice.cells.T)]
        with threadpool_limits(1):
            pins = lattice.pins(np.any(loaded, axis=0))
            moved = Solver(lattice, element, pins).solve(share, loads, tolerance=1e-5)
        give = np.einsum("nkm,nkl->ml", loads, moved)
        energies = np.einsum("mc,ml,lc->c", made, give, made)
        read = share > 0.95
        for hole in task.holes:
            read &= ~hole.ring(centres, 1.5 * cell_mm + AWAY_MM)
        stress = _stresses(lattice, moved, made, youngs, poisson, cell_mm)
        top = np.quantile(stress[read], 1 - TOP, axis=0)
        mass = parts[name].volume_cm3 * alloy["density"]
        rigid = _rigid_energies(task, lattice, element, share, points, loaded)
        found[name] = Verified(name, cell_mm, mass, energies, rigid, top)
    return found


def _rigid_energies(task, lattice, element, share, points, loaded):
    """Energy (cases,) [N mm] where each hole's points `loaded` move as one: from the forces that unit moves ask."""
    unit, stiff = np.zeros((*points.shape, 6 * len(task.holes))), np.zeros(len(points), bool)
    for i, (hole, which) in enumerate(zip(task.holes, loaded, strict=True)):
        own = which & ~stiff  # what two sleeves share moves with the first
        stiff |= own
        unit[own, :, 6 * i : 6 * i + 3] = np.eye(3)
        for k in range(3):
            unit[own, :, 6 * i + 3 + k] = np.cross(np.eye(3)[k], points[own] - hole.seat_mm)
    unit = unit[..., 6:]  # the first hole stands still
    pulled = -lattice.forces(element, share, unit)
    with threadpool_limits(1):
        moved = unit + Solver(lattice, element, stiff).solve(share, pulled, tolerance=1e-5)
    stiffness = np.einsum("nkf,nkg->fg", unit, lattice.forces(element, share, moved))
    loads = task.loads[6:]
    return np.einsum("fc,fc->c", loads, np.linalg.solve(stiffness, loads))


def _stresses(lattice, moved, made, youngs, poisson, cell_mm):
    """Von Mises stress [MPa] of each cell and case (e, cases), case by case so that it stays small."""
    cases = (moved @ made[:, [i]] for i in range(made.shape[1]))
    return np.hstack([von_mises(lattice, case, youngs, poisson, cell_mm) for case in cases])


def verified_table(found, alloy):
    """Verified shapes side by side, as a pandas table: mass [g]; stiffness over the first's with empty and with rigid
    holes [-]; highest stress [MPa], its case's number, and margin against yield less one [-]."""
    import pandas as pd

    first = next(iter(found.values()))
    rows = [
        {
            "shape": name,
            "cell [mm]": one.cell_mm,
            "mass [g]": one.mass_g,
            "stiffness, holes empty [-]": first.energies.sum() / one.energies.sum(),
            "stiffness, holes rigid [-]": first.rigid_energies.sum() / one.rigid_energies.sum(),
            "stress [MPa]": one.stresses_mpa.max(),
            "case": int(one.stresses_mpa.argmax()),
            "margin [-]": alloy["yield_strength"] / one.stresses_mpa.max() - 1,
        }
        for name, one in found.items()
    ]
    return pd.DataFrame(rows).set_index("shape")
