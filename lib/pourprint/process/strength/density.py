"""What every search for lightness by densities does: blur what lies close together, and move metal where it pays."""

import numpy as np

PENALTY = 3.0
MOVE = 0.2  # the most by which a density changes at once


class Blur:
    """Weighted mean of the cells within a radius [cells], on the cells of a room (…) bool alone."""

    def __init__(self, room, radius):
        self.at, self.shape = np.nonzero(room), room.shape
        reach = int(np.ceil(radius))
        way = np.sqrt(sum(g.astype(float) ** 2 for g in np.mgrid[(slice(-reach, reach + 1),) * room.ndim]))
        self.weight = np.maximum(radius - way, 0)
        self.total = self.summed(np.ones(len(self.at[0])))

    def summed(self, values):
        """Weighted sums (cells,) of values (cells,)."""
        from scipy.ndimage import convolve

        grid = np.zeros(self.shape)
        grid[self.at] = values
        return convolve(grid, self.weight, mode="constant")[self.at]

    def __call__(self, values, back=False):
        """Filtered values, or with back the transpose, for slopes."""
        return self.summed(values / self.total) if back else self.summed(values) / self.total


def filled(x, pull, goal, real_of, fixed=False):
    """Densities (cells,) by optimality criteria, each moved by √pull, so that what they become fills `goal` cells.

    pull: energy saved by a cell's metal over what it adds; fixed: cells that stay full.
    """
    low, high = 1e-12 * pull.max(), 1e3 * pull.max()
    floor, roof = (np.where(fixed, 1.0, some) for some in (np.maximum(x - MOVE, 0), np.minimum(x + MOVE, 1)))
    while high - low > 1e-4 * high:
        middle = np.sqrt(low * high)
        new = np.clip(x * np.sqrt(np.maximum(pull, 0) / middle), floor, roof)
        low, high = (middle, high) if real_of(new).sum() > goal else (low, middle)
    return new
