"""The inner loop of the freezing model, compiled by numba; imported only where it is used.

Temperatures stand on a grid of cells, all of plain mould but for listed ones: metal, mould beside metal or air.
Listed cells are worked out one by one with the neighbours and links given for each, plain ones in one sweep.
One thread: on small grids in a busy computer, threads wait for each other longer than they compute.
"""

from numba import njit
from numpy import float32


@njit(cache=True)
def stage(
    warm, heat, warm_out, heat_out, cells, neighbours, links, loss, room, metal, curve, sweep, first, last, mu, nu, step
):
    """One stage of a super time step: out = mu·last + nu·out + step·rate(last); the grid's rim stays as it is.

    warm (nx, ny, nz), heat (n,): the last stage, temperatures [K above the surroundings] and, of the listed
    cells, enthalpies [J/m3]; warm_out, heat_out: the stage before, overwritten by this one. cells (n,),
    neighbours (n, 6): places in the flat grid. links (n, 6), loss (n,): heat flow to them and to the air
    [W/m3K]. room (n,): what a cell holds over its volume [-]. The first `metal` listed cells are metal, with
    curve: enthalpies and temperatures at solidus and liquidus, heat capacities [J/m3K] of metal and mould.
    sweep: rate of plain mould [1/s]; first, last (nx, ny): where it begins and ends along z. step [s].
    """
    solid_h, liquid_h, solidus, liquidus, c_metal, c_mould = curve
    mush = (liquidus - solidus) / (liquid_h - solid_h)
    flat, flat_out = warm.reshape(-1), warm_out.reshape(-1)
    for n in range(cells.size):
        t = flat[cells[n]]
        flow = -loss[n] * t
        for q in range(6):
            flow += links[n, q] * (flat[neighbours[n, q]] - t)
        heat_out[n] = mu * heat[n] + nu * heat_out[n] + step * flow / room[n]
    passed = step * sweep
    kept, past, passed = float32(mu - 6 * passed), float32(nu), float32(passed)
    for i in range(1, warm.shape[0] - 1):
        for j in range(1, warm.shape[1] - 1):
            for k in range(first[i, j], last[i, j]):
                beside = warm[i - 1, j, k] + warm[i + 1, j, k] + warm[i, j - 1, k] + warm[i, j + 1, k]
                beside += warm[i, j, k - 1] + warm[i, j, k + 1]
                warm_out[i, j, k] = kept * warm[i, j, k] + past * warm_out[i, j, k] + passed * beside
    for n in range(cells.size):
        h = heat_out[n]
        if n >= metal:
            t = h / c_mould
        elif h < solid_h:
            t = h / c_metal
        elif h < liquid_h:
            t = solidus + mush * (h - solid_h)
        else:
            t = liquidus + (h - liquid_h) / c_metal
        flat_out[cells[n]] = t
