"""The inner loops of filling and feeding, compiled by numba; imported only where they are used.

Grids are flat arrays whose outermost cells are empty, with heights as the last axis; `steps` (6,) lead from a cell to
its neighbours.
"""

from heapq import heappop, heappush

import numpy as np
from numba import njit


@njit(cache=True)
def flood(metal, high, sources, steps):
    """Fill a cavity, always the lowest cell that the metal can reach, the first reached of equals.

    metal (n,) bool: the cavity. high: cells along the height. sources (m,): where metal enters.
    Returns: cells in the order in which they fill (k,), and for each the stage (k,), which counts changes of height.
    """
    seen, count, now, before = np.zeros(metal.size, np.bool_), 0, -1, -1
    order, stage = np.empty(metal.size, np.int64), np.empty(metal.size, np.int64)
    reached = [(cell % high, number, cell) for number, cell in enumerate(sources)]
    seen[sources] = True
    number = sources.size
    while reached:
        low, _, cell = heappop(reached)
        if low != before:
            before, now = low, now + 1
        order[count], stage[count] = cell, now
        count += 1
        for other in cell + steps:
            if metal[other] and not seen[other]:
                seen[other] = True
                heappush(reached, (other % high, number, other))
                number += 1
    return order[:count], stage[:count]


@njit(cache=True)
def pockets(order, key, lasts, amount, source, steps, least, prominence):
    """What is cut off from the sources as cells vanish, those of small key first.

    order (k,): cells with falling key. key, amount (n,): when each cell vanishes, and how much it holds; lasts (n,):
    the key of those that hold something, else −inf: a pocket's last cell is one of them. source (n,) bool. least:
    amount of a pocket that counts; prominence: by how much its last cell outlasts its cutting off, over that cell's
    key. A pocket that falls into two before it vanishes counts as two: each has what it held then, and the one that
    lasts longer the rest. Equal keys vanish together, so that it does not matter how cells are numbered.
    Returns: for each pocket its last cell, the key at its cutting off (−inf: it never reached a source), its amount.
    """
    root, fed, peak = np.full(key.size, -1), source.copy(), np.arange(key.size)
    # What each holds now, what of it other pockets have, and what was its own before cells of the present key came.
    held, given, own = amount.copy(), np.zeros(key.size), np.zeros(key.size)
    stamp = np.full(key.size, -1)
    found = [(0, 0.0, 0.0)]
    start = 0
    while start < order.size:
        end, t = start, key[order[start]]
        while end < order.size and key[order[end]] == t:
            root[order[end]] = order[end]
            stamp[order[end]] = start
            end += 1
        for n in range(start, end):
            for step in steps:
                other = order[n] + step
                if root[other] < 0:
                    continue
                a, b = order[n], other
                while root[a] != a:
                    root[a] = root[root[a]]
                    a = root[a]
                while root[b] != b:
                    root[b] = root[root[b]]
                    b = root[b]
                if a == b:
                    continue
                for one in (a, b):
                    if stamp[one] != start:
                        stamp[one], own[one] = start, held[one] - given[one]
                # a stays: what is fed, else what lasts longer, else what is larger, else what is numbered lower
                longer = lasts[peak[b]] - lasts[peak[a]]
                if not longer < 0 and not longer > 0:
                    longer = own[b] - own[a] if own[a] != own[b] else float(peak[a] - peak[b])
                if fed[b] > fed[a] or (fed[a] == fed[b] and longer > 0):
                    a, b = b, a
                if not fed[b] and own[b] >= least and lasts[peak[b]] - t >= prominence * lasts[peak[b]]:
                    found.append((peak[b], t, own[b]))
                    given[b] += own[b]
                root[b] = a
                held[a] += held[b]
                given[a] += given[b]
        start = end
    for cell in order:
        if root[cell] == cell and not fed[cell] and held[cell] - given[cell] >= least:
            found.append((peak[cell], -np.inf, held[cell] - given[cell]))
    return found[1:]
