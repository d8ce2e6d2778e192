"""Which route where: the map of the best route over two inputs, with its borders.

Costs here are those of the whole job with the price of its days, C + d·T.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.decide.inputs import PRICE, WHOLE, is_linear, outcomes, single_plans, with_delay
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError

NOBODY = "no route can"
_HUGE = 1e15  # [currency] what it costs that nobody can; a route that cannot costs more still


@dataclass(frozen=True)
class DecisionMap:
    """The best route over two inputs.

    `x`, `y` names and `xs` (m,), `ys` (k,) values of the axes; `plans` {route: Plan}; `costs` {route: (k, m) cost of
    the job with its days [currency]}, infinite where it cannot; `price_of_day` [currency/d] where it is no axis.
    """

    x: str
    y: str
    xs: np.ndarray
    ys: np.ndarray
    plans: Mapping
    costs: Mapping
    price_of_day: float

    @property
    def routes(self):
        """Names of the routes, and last that of nobody."""
        return (*self.costs, NOBODY)

    @cached_property
    def _table(self):
        return _with_nobody(np.stack([*self.costs.values()]))

    @cached_property
    def best(self):
        """Index into `routes` of the cheapest at each point (k, m)."""
        return np.argmin(self._table, axis=0)

    @cached_property
    def margin(self):
        """How much dearer the second best is at each point [-] (k, m), infinite where only one route can."""
        first, second = np.partition(self._table, 1, axis=0)[:2]
        return np.where(second < _HUGE, second / first - 1, np.inf)

    def shares(self):
        """{route: share of the map's points where it is best [-]}, largest first; only those that win somewhere."""
        counts = np.bincount(self.best.ravel(), minlength=len(self.routes)) / self.best.size
        order = np.argsort(-counts)
        return {self.routes[i]: float(counts[i]) for i in order if counts[i]}

    @cached_property
    def borders(self):
        """Where the answer turns: {(route, route): segments (n, 2, 2), the last axis x and y}.

        Each border crosses the grid's edges where the two cost the same: in closed form along the price of a day and
        along every price of the rate card (costs are linear in them), between two neighbouring whole numbers
        half-way, else by root finding to a hundredth of an edge at least (Chandrupatla's method,
        `scipy.optimize.elementwise.find_root`). Jumps, such as one more cluster, are found alike. Between edges a
        border is drawn straight. What comes and goes between two points of the grid with the same winner is not seen.
        """
        return _joined(*_crossings(self), self.routes)

    def _at(self, x, y, asked):
        """Costs at points (n,) of those routes, and of nobody, whose indices are asked for: (routes + 1, n)."""
        point = {name: np.rint(v) if name in WHOLE else v for name, v in ((self.x, x), (self.y, y))}
        # Costs are linear in a price: each value of the other input is planned once, at two prices.
        price = next(filter(is_linear, point), None)
        back, share = np.arange(np.size(x)), 0.0
        if price:
            at, other = point[price], next(name for name in point if name != price)
            point[other], back = np.unique(np.broadcast_to(point[other], np.shape(x)), return_inverse=True)
            ends = np.array([[np.min(at)], [np.max(at) + 1.0]])
            point[price], share = ends, (at - ends[0]) / (ends[1] - ends[0])
        price_of_day = point.pop(PRICE, self.price_of_day)
        costs = np.full((len(self.plans), np.size(x)), np.inf)
        for i in set(np.ravel(asked).astype(int).tolist()) - {len(self.plans)}:
            found = with_delay(*outcomes([*self.plans.values()][i], point), price_of_day)
            low, high = np.broadcast_to(found, (2, found.shape[-1]))[:, back]
            can = np.isfinite(low)
            costs[i, can] = (low + share * (np.where(can, high, 0.0) - np.where(can, low, 0.0)))[can]
        return _with_nobody(costs)


def _with_nobody(costs):
    return np.concatenate([np.nan_to_num(costs, posinf=1e3 * _HUGE), np.full_like(costs[:1], _HUGE)])


def decision_map(plans, axes, price_of_day=0.0):
    """Which route is best over two inputs.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `axes` {input: rising values (n,)}, two of them,
    the first across: "price_of_day" [currency/d], "quantity", "batch_size", "volume_cm3" or any number of the rate
    card or process tables; `price_of_day` [currency/d] where it is no axis.
    Returns: DecisionMap. Raises: InputError.
    """
    made = single_plans(plans)
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    if not isinstance(axes, Mapping) or len(axes) != 2:
        raise InputError(f"axes must be a table of two inputs {{input: rising values}}, not {axes!r}.")
    check_numbers(zero_allowed=True, **axes)
    (x, xs), (y, ys) = ((name, np.asarray(values)) for name, values in axes.items())
    for name, values in ((x, xs), (y, ys)):
        if values.ndim != 1 or values.size < 2 or np.any(np.diff(values) <= 0):
            raise InputError(f"the values of {name!r} must be a rising row of at least two numbers.")
    grid = {x: xs, y: ys[:, None]}
    price = grid.pop(PRICE, float(price_of_day))
    costs = {}
    for route, plan in made.items():
        cost, days = outcomes(plan, grid)
        costs[route] = np.broadcast_to(with_delay(cost, days, price), (ys.size, xs.size))
    return DecisionMap(x, y, xs, ys, made, costs, float(price_of_day))


def _crossings(chart):
    """Where winners change along the edges of the grid.

    Returns: points (n, 2); pairs (n, 2) of indices into `chart.routes`; cells: for each point the cells that it
    bounds [(row, column), …].
    """
    best, xs, ys = chart.best, chart.xs.astype(float), chart.ys.astype(float)
    points, pairs, cells = [np.empty((0, 2))], [np.empty((0, 2), dtype=int)], []
    for axis, name in ((1, chart.x), (0, chart.y)):
        step = np.array([axis == 0, axis == 1], dtype=int)
        corners = np.argwhere(np.diff(best, axis=axis) != 0)
        rows, columns = np.moveaxis(np.stack([corners, corners + step]), -1, 0)
        ends = np.stack([xs[columns], ys[rows]], axis=1)  # (2 ends, x and y, n edges)
        costs = np.moveaxis(chart._table[:, rows, columns], 0, 1)  # (2 ends, routes + 1, n)
        for turn in reversed(range(len(chart.routes))):
            if not len(corners):
                break
            rivals = np.argmin(costs, axis=1)
            at, there = _tie(chart, name, ends, costs, rivals)
            # Where a third is cheaper still, the edge holds two borders: go on with either half.
            third, tie = np.argmin(there, axis=0), np.take_along_axis(there, rivals, axis=0).min(axis=0)
            split = (there.min(axis=0) < tie * (1 - 1e-9)) & (rivals != third).all(axis=0) & (turn > 0)
            if name in WHOLE:  # nothing lies between two neighbouring numbers
                split &= (ends[1] - ends[0]).sum(axis=0) > 1
            points.append(at[:, ~split].T)
            pairs.append(np.sort(rivals[:, ~split].T))
            for j, i in corners[~split].tolist():
                both = (j, i), (j - step[1], i - step[0])
                cells.append([cell for cell in both if 0 <= cell[0] < ys.size - 1 and 0 <= cell[1] < xs.size - 1])
            corners = np.tile(corners[split], (2, 1))
            ends, costs = (
                np.concatenate([np.stack([a, mid]), np.stack([mid, b])], axis=-1)[..., np.tile(split, 2)]
                for (a, b), mid in ((ends, at), (costs, there))
            )
    return np.vstack(points), np.vstack(pairs), cells


def _tie(chart, name, ends, costs, rivals):
    """Where along each edge its rivals cost the same: points (2, n), and what all routes cost there (routes + 1, n)."""
    first, span = ends[0], ends[1] - ends[0]
    ahead, behind = (np.subtract(*np.take_along_axis(each, rivals, axis=0)) for each in costs)
    straight = ahead / (ahead - behind)
    if is_linear(name):
        return first + straight * span, costs[0] + straight * (costs[1] - costs[0])

    def difference(share, x, y, dx, dy, a, b):
        pair = np.stack([a, b]).astype(int)
        return np.subtract(*np.take_along_axis(chart._at(x + share * dx, y + share * dy, pair), pair, axis=0))

    from scipy.optimize.elementwise import find_root

    gap = span.sum(axis=0)
    share, search = np.full(gap.shape, 0.5), (gap > 1 if name in WHOLE else gap > 0)
    if np.any(search):
        near = 0.2 / gap.max() if name in WHOLE else 0.01
        args = [values[search] for values in (*first, *span, *rivals)]
        found = find_root(difference, (0 * args[0], 0 * args[0] + 1), args=args, tolerances={"xatol": near, "fatol": 0})
        # A route that keeps one layout for a whole array may lose its sign at an end: then the line of the ends holds.
        share[search] = np.where(found.success, found.x, straight[search])
    if name in WHOLE:  # half-way between the two numbers
        share = (np.floor(share * gap + 1e-9) + 0.5) / gap
    at = first + share * span
    return at, chart._at(*at, range(len(chart.plans)))


def _joined(points, pairs, cells, routes):
    """Segments through the cells of the grid: two crossings of one pair are joined, three pairs meet in the middle."""
    inside, segments = defaultdict(list), defaultdict(list)
    for i, around in enumerate(cells):
        for cell in around:
            inside[cell].append(i)
    for crossings in inside.values():
        by_pair = defaultdict(list)
        for i in crossings:
            by_pair[tuple(pairs[i])].append(i)
        twos = {pair: found for pair, found in by_pair.items() if len(found) == 2}
        for pair, found in twos.items():
            segments[pair].append(points[found])
        rest = [i for pair, found in by_pair.items() if pair not in twos for i in found]
        if len(rest) > 1:
            middle = points[rest].mean(axis=0)
            for i in rest:
                segments[tuple(pairs[i])].append(np.stack([points[i], middle]))
    return {tuple(routes[i] for i in pair): np.stack(found) for pair, found in segments.items()}
