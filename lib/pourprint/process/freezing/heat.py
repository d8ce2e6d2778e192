"""The inner loop of the freezing model, compiled by numba; imported only where it is used.

Temperatures stand on a grid of cells, all of plain mould but for listed ones: metal, mould beside metal or air.
Listed cells are worked out one by one with the links given for each, plain ones in one sweep.
One thread: on small grids in a busy computer, threads wait for each other longer than they compute. Three functions,
as the compiler makes each of them faster than all in one.
"""

from numba import njit
from numpy import float32


def stage(warm, heat, warm_out, heat_out, cells, steps, links, loss, room, metal, curve, sweep, mu, nu, step):
    """One stage of a super time step: out = mu·last + nu·out + step·rate(last); the grid's rim stays as it is.

    warm (nx, ny, nz), heat (n,): the last stage, temperatures [K above the surroundings] and, of the listed
    cells, enthalpies [J/m3]; warm_out, heat_out: the stage before, overwritten by this one. cells (n,): their
    places in the flat grid, `steps` (6,) to their neighbours. links (n, 6), loss (n,): heat flow to those and to the
    air [W/m3K]. room (n,): what a cell holds over its volume [-]. The first `metal` listed cells are metal, with
    curve: enthalpies and temperatures at solidus and liquidus, heat capacities [J/m3K] of metal and mould.
    sweep: rate of plain mould [1/s], 0 where there is none. step [s].
    """
    passed = step * sweep
    _flow(warm.reshape(-1), heat, heat_out, cells, steps, links, loss, room, mu, nu, step)
    if sweep:
        _sweep(warm, warm_out, float32(mu - 6 * passed), float32(nu), float32(passed))
    _warmth(warm_out.reshape(-1), heat_out, cells, metal, curve)


@njit(cache=True)
def _flow(flat, heat, heat_out, cells, steps, links, loss, room, mu, nu, step):
    """Enthalpies of listed cells."""
    for n in range(cells.size):
        t = flat[cells[n]]
        flow = -loss[n] * t
        for q in range(6):
            flow += links[n, q] * (flat[cells[n] + steps[q]] - t)
        heat_out[n] = mu * heat[n] + nu * heat_out[n] + step * flow / room[n]


@njit(cache=True)
def _sweep(warm, warm_out, kept, past, passed):
    """Temperatures of plain mould, a row at a time: that is what the compiler can make vectors of."""
    for i in range(1, warm.shape[0] - 1):
        for j in range(1, warm.shape[1] - 1):
            here, out = warm[i, j, 1:-1], warm_out[i, j, 1:-1]
            left, right = warm[i - 1, j, 1:-1], warm[i + 1, j, 1:-1]
            front, back = warm[i, j - 1, 1:-1], warm[i, j + 1, 1:-1]
            below, above = warm[i, j, :-2], warm[i, j, 2:]
            for k in range(out.size):
                beside = left[k] + right[k] + front[k] + back[k] + (below[k] + above[k])
                out[k] = kept * here[k] + past * out[k] + passed * beside


@njit(cache=True)
def _warmth(flat_out, heat_out, cells, metal, curve):
    """Temperatures of listed cells from their enthalpies."""
    solid_h, liquid_h, solidus, liquidus, c_metal, c_mould = curve
    mush = (liquidus - solidus) / (liquid_h - solid_h)
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
