"""In which turn the parts of a cluster fill, poured from the top, whether in time, and how their runner feeds them."""

from dataclasses import replace

import numpy as np

from pourprint.process.cavity import Rigging, Stand, Stub, cavity
from pourprint.process.freezing.solidification import Melt, default_cell_mm, rim_mm
from pourprint.process.freezing.voxels import voxels
from pourprint.process.misrun import band, wall_stops_s
from pourprint.process.pores import feed
from pourprint.process.shell.clusters import Seat, places
from pourprint.process.shell.turns import fill_in_turn

CELLS = 200_000  # of the box of part and runner: about a second


def cluster_turns(sizes, kits=1):
    """In which turn the parts of a full cluster fill, as a pandas table; one row a tier of one part.

    Parameters: `sizes` ShellSizes of single numbers, of parts with meshes; `kits` that are laid out. The pour takes
    what the rule for gating gives: a factor times the root of the mass. What of a part stands above its gate,
    `above_cm3`, has no way for its air but through the shell. `filling` is the Band of the part's mean wall.
    Raises: InputError.
    """
    import pandas as pd

    rates, placed = sizes.rates, places(sizes.hang(kits)[0])
    halves = [_parted(item.part, one, sizes) for item, one in zip(sizes.job.kit.parts, sizes.stances, strict=True)]
    feet = np.array([(foot, foot, 0.0, 0.0) for _, _, foot in placed])
    gate, top, below, above = (np.array([halves[kind] for kind, _, _ in placed]) + feet).T
    area = np.pi / 4 * float(sizes.runner_mm) ** 2
    metal_cm3 = below.sum() + above.sum() + area * sizes.rack.runner_length.item() / 1000
    seconds = rates["gating.pour_factor"] * np.sqrt(metal_cm3 * sizes.job.alloy["density"] / 1000)
    begin, full = fill_in_turn(gate, top, below, above, area, metal_cm3 / seconds)
    names = [sizes.job.kit.parts[kind].part.name for kind, _, _ in placed]
    limit, melt, shell = rates.entries["printed_mould.fill_share"], Melt.of(sizes.job.alloy), sizes.mould()
    stiff = {item.part.name: wall_stops_s(float(item.part.wall_mm), melt, shell) for item in sizes.job.kit.parts}
    rows = {
        "part": names,
        "tier_mm": [foot for _, _, foot in placed],
        "begins_s": begin,
        "full_s": full,
        "above_cm3": above,
        "wall_stiff_s": [stiff[name] for name in names],
        "filling": [str(band((b - a) / stiff[name], limit)) for name, a, b in zip(names, begin, full, strict=True)],
    }
    table = pd.DataFrame(rows).groupby(["tier_mm", "part"], as_index=False).first()
    return table.sort_values(["begins_s", "tier_mm"]).set_index("part").round(2)


def runner_feeding(sizes, kind, cells=CELLS):
    """One part of a cluster as it freezes with its gate and its stretch of the runner, which is its feeder: Feeding.

    Parameters: as of `cluster_turns`; `kind` which part of the kit; `cells` how many at most. The gate is a square bar
    of the same section; neighbours, which keep the shell hot, and the rest of the runner are left out. Raises:
    InputError.
    """
    part, melt, shell = sizes.job.kit.parts[kind].part, Melt.of(sizes.job.alloy), sizes.mould()
    vertices, faces, land, inward, _ = _hung(part, sizes.stances[kind], sizes)
    side, wide = float(sizes.gate_mm[part]) * np.sqrt(np.pi) / 2, float(sizes.runner_mm)
    length, rim = float(sizes.gate_length_mm) + wide / 2, rim_mm(part.modulus_mm, melt, shell)
    way = np.pi if inward < 0 else 0.0
    gate = Rigging((), (way,), land[2] - side / 2, side**2, length)  # to the runner's axis
    (u, v, _), low, high = Stub.of(vertices, faces, gate, way).end_mm, vertices.min(0), vertices.max(0)
    runner = Stand((u, v), low[2], wide, high[2] - low[2], 0.0, low[2])
    room = np.max([high, runner.room_mm[1]], axis=0) - np.min([low, runner.room_mm[0]], axis=0)
    cell_mm = min(default_cell_mm(room, rim, cells), gate.gate_width_mm)
    made = cavity(vertices, faces, replace(gate, feeders=(runner,)), cell_mm, rim)
    return feed(made, melt, shell, sizes.job.alloy["shrinkage"] / 100)


def hung_on_part(sizes, kind, place_mm):
    """A place of `runner_feeding` (..., 3) on the part as drawn [mm]."""
    *_, (matrix, low) = _hung(sizes.job.kit.parts[kind].part, sizes.stances[kind], sizes)
    return (np.asarray(place_mm) + low) @ np.linalg.inv(matrix)


def _hung(part, stance, sizes):
    """A part's pattern as it hangs, its outward axis along x: (vertices from their low corner, faces, where its gate
    meets it (3,) [mm], on which side along x, −1 or 1; the way there from the part as drawn: matrix, low corner)."""
    vertices, faces = part.needed_mesh("poured")
    seat, turn = part.study(Seat).scaled(sizes.scale), stance.turn
    matrix = seat.frame.T[:, turn] * sizes.scale
    placed, low_end = vertices @ matrix, seat.low_end[turn[0]]
    faces, low = faces if np.linalg.det(matrix) > 0 else faces[:, ::-1], placed.min(0)
    land = seat.lands_mm[turn[0], 0 if low_end else 1][turn]
    return placed - low, faces, land, -1 if low_end else 1, (matrix, low)


def _parted(part, stance, sizes):
    """(gate, top [mm] over the part's foot, volume below and above the gate [cm3]) of a part as it hangs."""
    placed, faces, land, *_ = _hung(part, stance, sizes)
    grid = voxels(placed, faces, float(np.ptp(placed, axis=0).max()) / 60)
    gate = float(land[2])
    level = grid.origin_mm[2] + (np.arange(grid.fraction.shape[2]) + 0.5) * grid.cell_mm
    slabs = grid.fraction.sum((0, 1)) * grid.cell_mm**3 / 1000
    return gate, float(placed[:, 2].max()), float(slabs[level < gate].sum()), float(slabs[level >= gate].sum())
