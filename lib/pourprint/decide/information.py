"""How sure a choice is, what choosing wrong costs, and what to measure first, from samples of cost and days.

Costs here are those of the whole job with the price of its days, C + d·T.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from pourprint.decide.compare import envelope, tie_price_of_day
from pourprint.decide.inputs import outcomes_of, single_plans, with_delay
from pourprint.decide.sensitivity import uncertain_inputs
from pourprint.ledger.checks import check_numbers, plain
from pourprint.ledger.entries import in_words, table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import draw, stream
from pourprint.plans.plan import feasible
from pourprint.risk.simulation import Runs, simulate_all


@dataclass(frozen=True)
class Samples:
    """What many draws say of each route: the same draw at the same place in all of them (common random numbers).

    `cost` {route: (n,) total cost of the job [currency]} and `days` {route: (n,) calendar days [d]}, infinite where
    a route cannot; `inputs` {key: (n,)} what was drawn, as far as it could be measured. Costs and days come from
    `sample_plans`, or from a simulation of failures (`Samples.of`).
    """

    cost: Mapping
    days: Mapping
    inputs: Mapping = field(default_factory=dict)

    def __post_init__(self):
        arrays = [*self.cost.values(), *self.days.values(), *self.inputs.values()]
        sizes = {np.shape(array) for array in arrays}
        if not self.cost or self.cost.keys() != self.days.keys() or len(sizes) != 1 or len(min(sizes)) != 1:
            raise InputError(
                "samples need cost and days of the same routes, and all arrays one row of the same length, "
                f"not shapes {sorted(sizes)} for {', '.join(map(str, {**self.cost, **self.days}))}."
            )

    @classmethod
    def of(cls, runs):
        """Samples of simulated runs {route: runs with cost, days and inputs}, all drawn with one seed."""
        inputs = {key: drawn for run in runs.values() for key, drawn in run.inputs.items()}
        return cls({r: run.cost for r, run in runs.items()}, {r: run.days for r, run in runs.items()}, inputs)

    @property
    def n(self):
        """How many draws [-]."""
        return len(next(iter(self.cost.values())))

    def with_delay(self, price_of_day):
        """Cost with the price of the days [currency]: (routes, n)."""
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
        return np.stack([with_delay(self.cost[route], self.days[route], price_of_day) for route in self.cost])


def sample_plans(plans, n=4000, seed=1):
    """Draw all uncertain inputs together and plan every route with the same draws.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `n` draws [-] of each of `uncertain_inputs(plans)`,
    independent of each other; `seed`. Returns: Samples. Raises: InputError. Limits: inputs that move together in truth
    (all wages, say) do not here; failures are not drawn, plans do not price them.
    """
    inputs = draw(uncertain_inputs(single_plans(plans)), n, seed)
    return Samples(*outcomes_of(plans, inputs), inputs)


def probability_best(samples, price_of_day=0.0):
    """How often each route is best among the draws.

    Parameters: `price_of_day` [currency/d], one number or (k,). Returns: {route: share [-] of its shape}. The
    standard error of a share p is √(p(1 − p)/n).
    """
    prices = np.asarray(price_of_day, dtype=float)
    wins = [np.argmin(samples.with_delay(float(price)), axis=0) for price in prices.ravel()]
    share = {r: [np.mean(winner == i) for winner in wins] for i, r in enumerate(samples.cost)}
    return {route: plain(np.reshape(found, prices.shape)) for route, found in share.items()}


def expected_regret(samples, price_of_day=0.0):
    """What choosing a route now costs on average, against choosing with hindsight in every draw.

    Returns: {route: mean of its cost − the cheapest's [currency]}. The least, that of the route of lowest mean, is
    the expected value of perfect information. Source: Raiffa & Schlaifer 1961, Applied Statistical Decision Theory
    (from memory).
    """
    costs = samples.with_delay(price_of_day)
    return dict(zip(samples.cost, (costs - costs.min(axis=0)).mean(axis=1).tolist(), strict=True))


# What to measure first --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Worth:
    """What knowing something before choosing is worth [currency], and the standard error of that."""

    value: float
    error: float

    @property
    def told(self):
        """Whether it is told apart from nothing: above two standard errors."""
        return self.value > 2 * self.error


@dataclass(frozen=True)
class Information:
    """What it is worth to know `everything`, each of `inputs` {key: Worth}, and each of `groups` {section: Worth}.

    Both stand in order, the most worth first. `choice`: the route of lowest mean, taken without knowing more.
    """

    choice: str
    everything: Worth
    inputs: Mapping[str, Worth]
    groups: Mapping[str, Worth]
    currency: str

    def measure_first(self, most=3):
        """The ranking as sentences."""
        money = self.currency
        said = [f"Knowing everything before choosing would be worth {self.everything.value:,.0f} {money} to this job."]
        top = [(key, worth.value) for key, worth in self.inputs.items() if worth.told][:most]
        groups = [(key, worth.value) for key, worth in self.groups.items() if worth.told][:1]
        if top:
            said += [f"Measure first: {in_words(top[0][0])}, worth up to {top[0][1]:,.0f} {money}."]
        if top[1:]:
            said += ["Then: " + ", ".join(f"{in_words(key)} ({worth:,.0f})" for key, worth in top[1:]) + "."]
        if not top:
            said += ["No single input, known alone, is worth so much that these draws tell it from nothing."]
        if groups and groups[0][1] > 1.2 * (top[0][1] if top else 0):
            said += [f"All of “{in_words(groups[0][0])}” known together: {groups[0][1]:,.0f} {money}."]
        return " ".join(said)

    def table(self):
        """A pandas table: what is known, worth and standard error [currency], and the share of knowing everything."""
        import pandas as pd

        groups = {f"all of “{in_words(key)}”": worth for key, worth in self.groups.items()}
        rows = {"everything": self.everything, **groups, **{in_words(k): w for k, w in self.inputs.items()}}
        whole = self.everything.value or 1.0
        table = {name: (worth.value, worth.error, worth.value / whole) for name, worth in rows.items()}
        return pd.DataFrame.from_dict(table, orient="index", columns=["worth", "standard_error", "share"])


def value_of_information(samples, price_of_day=0.0, currency="EUR"):
    """What it is worth, before choosing, to know everything, one input, or all inputs of one section of the ledger.

    Everything: min over routes of the mean cost, less the mean of the cheapest in each draw. An input: what choosing
    by E[cost | input] saves over choosing the lowest mean. The conditional means are regressions, cubic in each
    input and added up (regression estimate: Strong, Oakley & Brennan 2014, Medical Decision Making 34:311–326; from
    memory), fitted on half of the draws and put to the test on the other half, so that a curve fitted to noise earns
    nothing. Worth is for this job alone; later jobs earn it again.
    Limits: a threshold inside an input's range is smoothed, inputs of a group add up without acting through each
    other, and routes that fail in some draw are left out of the choice: all make the worth of knowing too small.
    Parameters: `samples` with inputs; `price_of_day` [currency/d]. Returns: Information. Raises: InputError.
    """
    costs = samples.with_delay(price_of_day)
    sure = np.isfinite(costs).all(axis=1)
    if not sure.any():
        raise InputError("no route can make the job in every draw: narrow the ranges, or fix what limits them.")
    routes, costs = [r for r, good in zip(samples.cost, sure, strict=True) if good], costs[sure]
    sections = defaultdict(list)
    for key in samples.inputs:
        sections[key.rpartition(".")[0]].append(key)
    groups = {name: keys for name, keys in sections.items() if len(keys) > 1}
    most = max([3 * len(keys) for keys in groups.values()], default=3)
    if samples.inputs and samples.n < 20 * most:
        raise InputError(f"{samples.n} draws are too few to tell what {most // 3} inputs are worth: draw {20 * most}.")
    base = int(np.argmin(costs.mean(axis=1)))
    curves = {key: _curves(values) for key, values in samples.inputs.items()}
    found = {key: _worth(curve, costs, base) for key, curve in curves.items()}
    together = {name: _worth(np.hstack([curves[key] for key in keys]), costs, base) for name, keys in groups.items()}
    # Who knows a group knows each of it, however noisy the estimate.
    together |= {
        name: max(worth, *(found[key] for key in groups[name]), key=lambda each: each.value)
        for name, worth in together.items()
    }
    ranked = [dict(sorted(each.items(), key=lambda item: -item[1].value)) for each in (found, together)]
    return Information(routes[base], _saving(costs, base, np.argmin(costs, axis=0)), *ranked, currency)


def _curves(values):
    """The first three powers of an input (n,), standardised: (n, 3)."""
    spread = np.std(values)
    return np.vander((values - np.mean(values)) / (spread if spread > 0 else 1.0), 4)[:, :3]


def _worth(curves, costs, base):
    """Worth of choosing by the costs (routes, n) that `curves` (n, k) let expect, instead of the route `base`."""
    basis = np.column_stack([np.ones(len(curves)), curves])
    choice = np.empty(len(curves), dtype=int)
    for fit, test in ((slice(0, None, 2), slice(1, None, 2)), (slice(1, None, 2), slice(0, None, 2))):
        square = basis[fit].T @ basis[fit]
        weights, *_ = np.linalg.lstsq(square, basis[fit].T @ costs[:, fit].T, rcond=None)
        choice[test] = np.argmin(basis[test] @ weights, axis=1)
    return _saving(costs, base, choice)


def _saving(costs, base, choice):
    saved = costs[base] - np.take_along_axis(costs, choice[None], axis=0)[0]
    return Worth(float(saved.mean()), float(saved.std() / np.sqrt(saved.size)))


FEW_BATCHES = 4_000  # of each route and quantity, for a table of many


def flips(runs, repeats=200, seed=1):
    """Which route costs least on average, days priced, as the price of a day rises, and how sure each turn is.

    Parameters: `runs` {route: Runs} of one n and seed; `repeats` of the runs drawn again (bootstrap); `seed`.
    Returns: pandas table by route in order of price: `from_price` [currency/d], `low`, `high` that hold 95% of the
    repeats. Raises: InputError. Source: lower envelope of the lines C + d·T (exact); Efron 1979 (from memory).
    """
    if not isinstance(runs, Mapping) or not runs or not all(isinstance(run, Runs) for run in runs.values()):
        raise InputError(f"runs must be a table {{route: runs}} as from simulate_all(plans), not {runs!r}.")
    check_numbers(arrays=False, repeats=repeats)
    samples, rng = Samples.of(runs), stream(seed, "bootstrap")
    turns = envelope({route: (float(run.cost.mean()), float(run.days.mean())) for route, run in runs.items()})
    again = rng.integers(samples.n, size=(int(repeats), samples.n))
    means = {route: (run.cost[again].mean(axis=-1), run.days[again].mean(axis=-1)) for route, run in runs.items()}
    rows = [{"route": runs[turns[0][1]].plan.title, "from_price": 0.0, "low": 0.0, "high": 0.0}]
    for (_, left), (price, right) in pairwise(turns):
        low, high = np.nanquantile(tie_price_of_day(*means[left], *means[right]), (0.025, 0.975))
        rows.append({"route": runs[right].plan.title, "from_price": price, "low": low, "high": high})
    return table_of(rows, "route")


def by_quantity(plans, quantities, prices=(0.0,), n=1000, seed=1, **options):
    """Cost, days and chance of being best of each route at some quantities and prices of a day.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers; `quantities` (k,) whole numbers; `prices` of a day
    [currency/d]; `n` runs at most: many batches make do with fewer, at least 100; `options` as of `simulate`.
    Returns: pandas table by price, quantity and route, the best by mean first: mean and 5 to 95% of a kit's cost
    with its share of the days, the same of the days, and how often the route costs least. Raises: InputError.
    """
    check_numbers(zero_allowed=True, prices=prices)
    check_numbers(quantities=quantities)
    rows = []
    for quantity in np.atleast_1d(quantities):
        asked = {route: plan.at(quantity=quantity) for route, plan in feasible(plans).items()}
        batches = max((plan.batches for plan in asked.values()), default=1)
        runs = simulate_all(asked, min(n, max(100, int(FEW_BATCHES // batches))), seed, **options)
        for price in np.atleast_1d(prices).astype(float):
            share = probability_best(Samples.of(runs), price)
            for route, run in runs.items():
                pair = (run.with_delay(price) / quantity, run.days)
                spread = (v for values in pair for v in (values.mean(), *np.quantile(values, (0.05, 0.95))))
                rows.append((price, int(quantity), run.plan.title, *spread, share[route]))
    columns = ["cost", "cost_5%", "cost_95%", "days", "days_5%", "days_95%", "chance_best"]
    index = ["price_of_day", "quantity", "route"]
    return table_of(rows, index, [*index, *columns]).sort_values([*index[:2], "cost"])
