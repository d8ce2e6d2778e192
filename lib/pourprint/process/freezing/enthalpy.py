"""Transient heat flow on voxels by the enthalpy method: when each cell of metal becomes solid.

Super time steps: RKL1 of Meyer, Balsara & Aslam 2012 (from memory). First order in time, second in space.
"""

import numpy as np

from pourprint.ledger.errors import InputError

STAGES = 15  # of a super time step: more save little and blur the clock
GROWTH = 0.05  # longest time step over the time already passed [-]
LEAST_FULL = 0.3  # of a cell that may count as full [-]
MOST_THIN = 0.02  # of the metal may lie in walls too thin for the grid [-]
LONGEST_S = 4 * 3600.0
BESIDE = (np.abs(np.indices((3, 3, 3)) - 1).sum(0) == 1).astype(float)  # the six neighbours of a cell


def filled(share):
    """Which cells of a grid count as full, and how much each of them holds.

    The fullest cells count, as many as their volume together needs. The others give what they hold to their full
    neighbours, so that each wall keeps its volume. share (nx, ny, nz): 0 to 1.
    Returns: room (nx, ny, nz) [-], about 0.4 to 1.6 where full, else 1; full, bool.
    """
    from scipy.ndimage import correlate

    # Cells of the same share count together, or a flat wall would get holes.
    levels, counts = np.unique(share[share > LEAST_FULL].round(6), return_counts=True)
    number = np.cumsum(counts[::-1])[::-1]
    least = levels[np.argmin(np.abs(number - share.sum()))] if levels.size else LEAST_FULL
    full = share >= least - 1e-6
    around = correlate(full.astype(float), BESIDE, mode="constant")
    given = np.where(full | (around == 0), 0.0, share / np.maximum(around, 1))
    room = share + correlate(given, BESIDE, mode="constant")
    if not full.any():
        return np.ones(share.shape), full
    # What has no full neighbour (corners, edges: some 0.01%) is spread over all.
    return np.where(full, room * (share.sum() / room[full].sum()), 1.0), full


def steps_of(shape):
    """From a cell of a flat grid to its six neighbours (6,)."""
    return np.array([sign * step for step in (shape[1] * shape[2], shape[2], 1) for sign in (-1, 1)])


def freezing_times(share, cell_mm, melt, mould, solid=1.0, chill=None, until=None):
    """Freeze the metal of a grid: the cavity is full at the pouring temperature at time 0.

    share (nx, ny, nz): metal in each cell [-]. cell_mm [mm]. melt, mould: see `solidification`; a mould of finite
    thickness stands in air, and nothing flows through the grid's edge; sand's edge stays at its start.
    solid: share of the freezing range that a cell must have passed to count as solid, 1 for the solidus [-]; several
    give as many times. chill: None, or (which cells outside the metal are chills, their conductivity [W/mK] and heat
    [J/m3K]), in sand only. until (nx, ny, nz) bool: stop when these are solid, and leave the rest at inf.
    Returns: times (nx, ny, nz), or (n, nx, ny, nz) of n values of solid [s], nan outside the metal; heat that has left
    the grid, over all at the start [-]. Raises InputError where the metal does not freeze.
    """
    from scipy.ndimage import binary_dilation

    share = np.asarray(share, dtype=float)
    edge = np.pad(np.zeros(share.shape, dtype=bool), 1, constant_values=True)
    room, metal, listed, away = _places(np.pad(share, 1), edge, cell_mm, mould)
    shell, count = np.isfinite(mould.thickness_mm), int(metal.sum())
    datum = mould.air_c if shell else mould.start_c
    # 0 metal, 1 mould, 2 air, 3 beyond the grid: neither links nor loss; 4 chill.
    kind = np.where(metal, 0, np.where(listed | (not shell), 1, np.where(edge, 3, 2)))
    conductivity = [melt.conductivity_w_mk, mould.conductivity_w_mk, 0.0, 0.0, 0.0]
    if chill is not None:
        cold = np.pad(chill[0], 1) & ~metal & ~edge
        kind[cold], conductivity[4] = 4, chill[1]
        room = np.where(cold, chill[2] / (mould.density_kg_m3 * mould.heat_j_kgk), room)
        listed = listed | cold | (binary_dilation(cold) & ~metal & ~edge)
    kind = kind.reshape(-1)
    cells = np.concatenate([np.flatnonzero(metal), np.flatnonzero(listed)]).astype(np.int32)
    steps = steps_of(metal.shape).astype(np.int32)
    neighbours = cells[:, None] + steps
    links, capacity = _links(cells, neighbours, kind, room, cell_mm, melt, mould, np.array(conductivity))
    loss = _loss(cells, kind, neighbours, away, cell_mm, mould) if shell else np.zeros(len(cells))

    c_metal, c_mould = melt.density_kg_m3 * melt.heat_j_kgk, float(mould.density_kg_m3 * mould.heat_j_kgk)
    solidus, liquidus = melt.solidus_c - datum, melt.liquidus_c - datum
    solid_h = c_metal * solidus
    liquid_h = c_metal * liquidus + melt.density_kg_m3 * melt.latent_j_kg
    curve = (solid_h, liquid_h, solidus, liquidus, c_metal, c_mould)
    start = np.array([melt.pour_c, mould.start_c, datum, datum, mould.start_c]) - datum
    warm = start[kind].astype(np.float32).reshape(metal.shape)
    heat = np.where(kind[cells] == 0, liquid_h + c_metal * (melt.pour_c - melt.liquidus_c), c_mould * start[1])
    heat = heat.astype(np.float32)
    sweep = 0.0 if shell else mould.diffusivity_mm2_s / cell_mm**2
    rooms = room.reshape(-1)[cells]
    known = cells, steps, links, loss, rooms, count, curve, sweep
    limit = min((capacity / (links.sum(1) + loss)).min(), 1 / (6 * sweep) if sweep else np.inf)

    def total(warm, heat):
        plain = c_mould * (warm.sum(dtype=float) - warm.reshape(-1)[cells].sum(dtype=float)) if sweep else 0.0
        return (heat * rooms).sum(dtype=float) + plain

    before = total(warm, heat)
    targets = liquid_h - np.atleast_1d(solid) * (liquid_h - solid_h)
    awaited = np.ones(count, dtype=bool) if until is None else np.pad(until, 1)[metal]
    times, warm, heat = _march(warm, heat, known, limit, targets, awaited, mould)
    result = np.full((len(targets), *metal.shape), np.nan)
    result.reshape(len(targets), -1)[:, cells[:count]] = times
    result = result[:, 1:-1, 1:-1, 1:-1]
    return result[0] if np.ndim(solid) == 0 else result, 1 - total(warm, heat) / before


def _places(share, edge, cell_mm, mould):
    """What each cell holds over its volume [-], which are metal and which are listed mould, bool, and how far each is
    from the metal [cells]. Raises InputError where the grid is too coarse."""
    from scipy.ndimage import binary_dilation, distance_transform_edt

    room, metal = filled(share)
    if not metal.any():
        raise InputError(f"cell_mm={cell_mm!r} must be finer: no cell of the grid holds enough metal.")
    thin = share[~binary_dilation(metal)].sum() / share.sum()
    if thin > MOST_THIN:
        raise InputError(f"cell_mm={cell_mm!r} must be finer: {thin:.0%} of the metal is in walls that it cannot hold.")
    away = distance_transform_edt(~metal)
    if not np.isfinite(mould.thickness_mm):
        return room, metal, binary_dilation(metal) & ~metal, away
    wall, held = filled(np.where(metal, 0.0, np.clip(mould.thickness_mm / cell_mm - away + 1, 0, 1)))
    held &= ~edge
    if not held.any():
        raise InputError(f"cell_mm={cell_mm!r} must be finer: no cell of the grid holds enough shell.")
    return np.where(held, wall, room), metal, held, away


def _march(warm, heat, known, limit, targets, awaited, mould):
    """Step by step until each awaited metal cell holds no more than the least of `targets` [J/m3].

    known: what `heat.stage` needs besides; limit [s]: longest step that is stable by itself.
    Returns: when each cell passed each target (targets, metal) [s], inf where it has not; last warm and heat.
    """
    from pourprint.process.freezing import heat as kernel

    count = known[5]
    times, clock = np.full((len(targets), count), np.inf), 0.0
    warm_out, heat_out = warm.copy(), heat.copy()
    while np.isinf(times[:, awaited]).any():
        if clock > LONGEST_S:
            raise InputError(
                f"start_c={mould.start_c!r} and loss_w_m2k={mould.loss_w_m2k!r} leave metal liquid after "
                f"{LONGEST_S / 3600:.0f} h; take a cooler shell or a larger loss."
            )
        step = min(max(GROWTH * clock, limit), limit * (STAGES**2 + STAGES) / 2)
        stages = int(np.ceil((np.sqrt(1 + 8 * step / limit) - 1) / 2 - 1e-9))
        old = heat[:count].copy()
        for j in range(1, stages + 1):
            mu = (2 * j - 1) / j
            kernel.stage(warm, heat, warm_out, heat_out, *known, mu, (1 - j) / j, mu * step * 2 / (stages**2 + stages))
            warm, warm_out, heat, heat_out = warm_out, warm, heat_out, heat
        for passed, target in zip(times, targets.tolist(), strict=True):
            now = np.isinf(passed) & (heat[:count] <= target)
            gone = (old[now] - target) / np.maximum(old[now] - heat[:count][now], 1e-30)
            passed[now] = clock + step * np.clip(gone, 0, 1)
        clock += step
    return times, warm, heat


def _links(cells, neighbours, kind, room, cell_mm, melt, mould, conductivity):
    """Links (n, 6) of listed cells to their neighbours [W/m3K], and their heat capacities (n,) [J/m3K].

    conductivity (kinds,): of each kind of cell, 0 where nothing flows but the loss [W/mK].
    """
    k = np.maximum(conductivity, 1e-30)
    between = 2 / (1 / k[:, None] + 1 / k) / (cell_mm / 1e3) ** 2
    links = between[kind[cells][:, None], kind[neighbours]]
    # Along a wall that fills its cells in part, heat flows through that part of their faces.
    rooms = room.reshape(-1)
    narrow = np.minimum(np.minimum(rooms[neighbours], rooms[cells][:, None]), 1)
    links *= np.where(kind[neighbours] == kind[cells][:, None], narrow, 1)
    capacity = np.array([melt.density_kg_m3 * melt.heat_j_kgk, mould.density_kg_m3 * mould.heat_j_kgk])
    return links, capacity[np.minimum(kind[cells], 1)] * rooms[cells]


def _loss(cells, kind, neighbours, away, cell_mm, mould):
    """Loss of listed cells to the air [W/m3K], the area of the staircase of faces put right by its slope."""
    open_faces = (kind[neighbours] == 2).sum(1)
    slope = np.abs([part.reshape(-1)[cells] for part in np.gradient(away)])
    staircase = slope.sum(0) / np.maximum(np.sqrt((slope**2).sum(0)), 1e-9)
    return mould.loss_w_m2k * open_faces / np.maximum(staircase, 1) / (cell_mm / 1e3)
