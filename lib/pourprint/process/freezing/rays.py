"""The inner loop of looking through a mesh, compiled by numba; imported only where it is used."""

import numpy as np
from numba import njit


@njit(cache=True)
def crossings(u, v, w, across, up):
    """All crossings of rays with facets (3, k): the ray i·up + j, its height, its sign, +1 where the facet looks up.

    u, v, w (3, m): corners of each facet in grid units, where ray i runs at u = i and row j at v = j; w any unit.
    across, up: rays along u and v. A facet meets the rows j with low ≤ j < high of its v, exactly, and in each row the
    rays i between its two edges.
    """
    table, found = np.empty((3, 4 * u.shape[1] + 64)), 0
    row = np.empty(3, np.int64)
    u_at, w_at = np.empty(2), np.empty(2)
    for facet in range(u.shape[1]):
        for corner in range(3):
            row[corner] = min(max(np.ceil(v[corner, facet]), 0), up)
        for j in range(min(row[0], row[1], row[2]), max(row[0], row[1], row[2])):
            for edge in range(3):
                # From the lower to the upper end, so that both facets of an edge find the same number.
                low, high, side = edge, (edge + 1) % 3, 0
                if v[low, facet] > v[high, facet]:
                    low, high, side = high, low, 1
                if row[low] <= j < row[high]:
                    share = (j - v[low, facet]) / (v[high, facet] - v[low, facet])
                    u_at[side] = u[low, facet] + share * (u[high, facet] - u[low, facet])
                    w_at[side] = w[low, facet] + share * (w[high, facet] - w[low, facet])
            rising = int(min(max(np.ceil(u_at[0]), 0), across))
            falling = int(min(max(np.ceil(u_at[1]), 0), across))
            first, last = min(rising, falling), max(rising, falling)
            if found + last - first > table.shape[1]:
                table = np.concatenate((table, np.empty((3, found + last - first))), axis=1)
            for i in range(first, last):
                share = min(max((i - u_at[1]) / (u_at[0] - u_at[1]), 0.0), 1.0)
                table[0, found], table[2, found] = i * up + j, 1 if rising > falling else -1
                table[1, found] = w_at[1] + share * (w_at[0] - w_at[1])
                found += 1
    return table[:, :found]
