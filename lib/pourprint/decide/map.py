"""Which route where: the map of the best route over two inputs, with its borders.

Costs here are those of the whole job with the price of its days, C + d·T.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from pourprint.decide.inputs import WHOLE, is_linear
from pourprint.decide.rivals import CANNOT_COSTS, NOBODY_COSTS, Rivals, lead_lost
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError

PARTS, NARROW = 5, 100  # of an edge: parts looked at together, and to which share of it a border is found at least


@dataclass(frozen=True)
class DecisionMap:
    """The best route over two inputs.

    `x`, `y` names and `xs` (m,), `ys` (k,) values of the axes; `rivals` what is compared; `costs` (routes + 1, k, m)
    of the job with its days in each of `routes` [currency].
    """

    x: str
    y: str
    xs: np.ndarray
    ys: np.ndarray
    rivals: Rivals
    costs: np.ndarray

    @property
    def routes(self):
        """Names of the routes, and last that of nobody."""
        return self.rivals.names

    @cached_property
    def best(self):
        """Index into `routes` of the cheapest at each point (k, m)."""
        return np.argmin(self.costs, axis=0)

    @cached_property
    def margin(self):
        """How much dearer the second best is at each point [-] (k, m), infinite where only one route can."""
        first, second = np.partition(self.costs, 1, axis=0)[:2]
        return np.where(second < NOBODY_COSTS, second / first - 1, np.inf)

    def shares(self):
        """{route: share of the map's points where it is best [-]}, largest first; only those that win somewhere."""
        counts = np.bincount(self.best.ravel(), minlength=len(self.routes)) / self.best.size
        order = np.argsort(-counts)
        return {self.routes[i]: float(counts[i]) for i in order if counts[i]}

    @cached_property
    def crossings(self):
        """Where winners change along the edges of the grid: {cell (row, column): [(pair of indices into the routes,
        point x and y), …]} for all cells that the edge bounds."""
        found = defaultdict(list)
        grids = {self.x: self.xs.astype(float), self.y: self.ys.astype(float)}
        for turned, (name, other) in enumerate(((self.x, self.y), (self.y, self.x))):
            # (routes + 1, the other input's values, this one's)
            table = self.costs.swapaxes(1, 2) if turned else self.costs
            j, i = np.nonzero(np.diff(np.argmin(table, axis=0), axis=1))
            fixed, ends = grids[other][j], np.stack([grids[name][i], grids[name][i + 1]])
            costs, whole = np.stack([table[:, j, i], table[:, j, i + 1]], axis=1), name in WHOLE
            for _ in self.routes:  # one edge may hold several borders
                before, ask = np.argmin(costs[:, 0], axis=0), partial(self._costs, name, other, fixed)
                at, after, there = lead_lost(ask, ends, costs, is_linear(name), whole, PARTS, NARROW)
                points = np.stack([fixed, at - 0.5 * whole][:: 1 if turned else -1], axis=1)
                for row, column, pair, point in zip(j, i, zip(before, after, strict=True), points, strict=True):
                    for cell in {max(row - 1, 0), min(row, len(grids[other]) - 2)}:
                        place = (column, cell) if turned else (cell, column)
                        found[place].append((tuple(sorted(pair)), point))
                on = after != np.argmin(costs[:, 1], axis=0)
                if not whole:  # here the old leader and the new one cost the same
                    there[before, np.arange(len(before))] = CANNOT_COSTS
                j, i, fixed = j[on], i[on], fixed[on]
                ends, costs = np.stack([at, ends[1]])[:, on], np.stack([there, costs[:, 1]], axis=1)[:, :, on]
        return found

    def _costs(self, name, other, fixed, values, which):
        """Costs (routes + 1, p, k) at `values` (p, k) of one input and the `fixed` ones of another that are marked."""
        points = {name: values.ravel(), other: np.broadcast_to(fixed[which], values.shape).ravel()}
        return self.rivals.costs(points).reshape(-1, *values.shape)

    @cached_property
    def borders(self):
        """Where the answer turns: {(route, route): segments (n, 2, 2), the last axis x and y}.

        Each border crosses the grid's edges where the two cost the same: exactly along the price of a day and along
        every price of the rate card (costs are linear in them), between two neighbouring whole numbers half-way, else
        to a hundredth of an edge at least. Jumps, such as one more cluster, are found alike. Between edges a border is
        drawn straight, and three pairs meet in the middle. What comes and goes between two points of the grid with the
        same winner is not seen.
        """
        segments = defaultdict(list)
        for around in self.crossings.values():
            pairs = [pair for pair, _ in around]
            twos = {pair for pair in pairs if pairs.count(pair) == 2}
            for two in twos:
                segments[two].append(np.stack([point for pair, point in around if pair == two]))
            rest = [(pair, point) for pair, point in around if pair not in twos]
            if len(rest) > 1:
                middle = np.mean([point for _, point in rest], axis=0)
                for pair, point in rest:
                    segments[pair].append(np.stack([point, middle]))
        return {tuple(self.routes[i] for i in pair): np.stack(found) for pair, found in segments.items()}


def decision_map(plans, axes, price_of_day=0.0):
    """Which route is best over two inputs.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `axes` {input: rising values (n,)}, two of them,
    the first across: "price_of_day" [currency/d], "quantity", "batch_size", "volume_cm3" or any number of the rate
    card or process tables; `price_of_day` [currency/d] where it is no axis.
    Returns: DecisionMap. Raises: InputError.
    """
    rivals = Rivals.of(plans, price_of_day)
    if not isinstance(axes, Mapping) or len(axes) != 2:
        raise InputError(f"axes must be a table of two inputs {{input: rising values}}, not {axes!r}.")
    check_numbers(zero_allowed=True, **axes)
    (x, xs), (y, ys) = ((name, np.asarray(values)) for name, values in axes.items())
    for name, values in ((x, xs), (y, ys)):
        if values.ndim != 1 or values.size < 2 or np.any(np.diff(values) <= 0):
            raise InputError(f"the values of {name!r} must be a rising row of at least two numbers.")
    return DecisionMap(x, y, xs, ys, rivals, rivals.costs({x: xs, y: ys[:, None]}))
