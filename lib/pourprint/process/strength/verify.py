"""A look at finished shapes with finite elements that the search for lightness did not use: stiffness and stress.

Cubes weighted by their share of metal, bricks that bend. Sockets and bores are looked at twice: empty, as if tubes and
bearings gave no support, and as if these were rigid; the truth lies between. Not to be believed: stress at the loaded
places and at steps of the staircase; walls of fewer than two cells; anything of fatigue, pores, residual stress or the
bond.
"""

import numpy as np
from threadpoolctl import threadpool_limits

from pourprint.ledger.entries import joints, table_of
from pourprint.process.freezing.voxels import voxels
from pourprint.process.strength.bricks import Lattice, Solver, brick, stresses, von_mises
from pourprint.process.strength.lighten import spread

LEAST = 0.2  # share of metal below which a cell is left out
AWAY_MM = 2.0  # stress is read at least this far from loads and holds
TOP = 0.005  # share of the metal with the highest stress that is left out: the staircase's corners


def verify(task, parts, alloy, cell_mm=2.0):
    """Shapes compared under the same loads in the same cells, as a pandas table: mass [g]; stiffness over the first's
    with empty and with rigid holes, all cases together [-]; of the stress below which all but TOP of the metal stays,
    holes empty, the highest [MPa], the number of its case, and the margin: yield over it less one [-].

    task: Task; parts: {name: Part}; alloy: Alloy; cell_mm: edge of a cell [mm]. Only cells that are full in every shape
    are loaded; no cell is held, since the loads balance: six freedoms of three nodes only keep the part from drifting.
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
    rows = []
    for name, grid in grids.items():
        lattice = Lattice(grid.fraction >= LEAST)
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
        read = share > 0.95
        for hole in task.holes:
            read &= ~hole.ring(centres, 1.5 * cell_mm + AWAY_MM)
        stress = von_mises(stresses(lattice, moved, youngs, poisson, cell_mm) @ made)
        top = np.quantile(stress[read], 1 - TOP, axis=0)
        give = np.einsum("nkm,nkl->ml", loads, moved)
        rows.append(
            {
                "shape": name,
                "cell [mm]": cell_mm,
                "mass [g]": parts[name].volume_cm3 * alloy["density"],
                "stiffness, holes empty [-]": 1 / np.einsum("mc,ml,lc->", made, give, made),
                "stiffness, holes rigid [-]": 1 / _rigid_energy(task, lattice, element, share, points, loaded),
                "stress [MPa]": top.max(),
                "case": int(top.argmax()),
                "margin [-]": alloy["yield_strength"] / top.max() - 1,
            }
        )
    table = table_of(rows, "shape")
    stiffness = table.filter(like="stiffness").columns
    table[stiffness] /= table[stiffness].iloc[0]
    return table


def _rigid_energy(task, lattice, element, share, points, loaded):
    """Energy of all cases [N mm] where each hole's points `loaded` move as one: from the forces that unit moves ask."""
    unit, stiff = np.zeros((*points.shape, 6 * len(task.holes))), np.zeros(len(points), bool)
    for i, (hole, which) in enumerate(zip(task.holes, loaded, strict=True)):
        own = which & ~stiff  # what two sleeves share moves with the first
        stiff |= own
        unit[own, :, 6 * i : 6 * i + 3] = np.eye(3)
        for k in range(3):
            unit[own, :, 6 * i + 3 + k] = np.cross(np.eye(3)[k], points[own] - hole.seat_mm)
    unit = unit[..., 6:]  # the first hole stands still
    solver, flat = Solver(lattice, element, stiff), unit.reshape(3 * len(points), -1)
    pulled = -(stiffness := solver.stiffness(share)) @ flat
    with threadpool_limits(1):
        moved = flat + solver.solve(share, pulled.reshape(unit.shape), tolerance=1e-5).reshape(flat.shape)
    loads = task.loads[6:]
    return np.einsum("fc,fc->", loads, np.linalg.solve(flat.T @ stiffness @ moved, loads))
