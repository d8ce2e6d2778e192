"""Which inputs move an answer: one at a time from low to high, and all together (Sobol indices).

An output is any function {input: array (n,)} → array (n,); `output_of` makes the usual ones of plans.
Moving one input at a time shows by how much and which way, but never two together. Sobol indices share out the
variance when all move: the first-order index of an input is the share that goes away once it alone is known, the
total index the share that stays when all but it are known. Where total is well above first-order, the input acts
through others.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from pourprint.decide.inputs import outcomes, with_delay
from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import in_words, table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import below, check_seed
from pourprint.plans.plan import feasible, made, ranged
from pourprint.risk.simulation import UNCERTAIN

KINDS = ("unit_cost", "days")  # of outputs
RESAMPLES, CONFIDENCE = 400, 0.95  # of the bootstrap, and of the intervals from it [-]


@dataclass(frozen=True)
class Output:
    """A named answer of one or two plans: call it with {input: array (n,)} to get the answers (n,) in `unit`."""

    name: str
    unit: str
    of: Callable = field(repr=False)
    entries: Mapping = field(repr=False)

    def __call__(self, changes):
        return self.of(changes)


def output_of(plan, kind="unit_cost", against=None, price_of_day=0.0):
    """An Output of a plan, or of the difference to another plan.

    Parameters: `plan`, `against` feasible Plans of single numbers for one job; `kind` "unit_cost" [currency] (of a
    kit, with the price of its share of the days) or "days" [d]; `price_of_day` [currency/d].
    Returns: Output. Raises: InputError.
    """
    check_known(KINDS, kind=kind)
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    plans = [made(one) for one in (plan, against) if one is not None]
    for one in plans:
        one.single_only("output_of()")

    def answer(one, changes):
        cost, days = outcomes(one, changes, clock=kind == "days" or price_of_day > 0)
        quantity = changes.get("quantity", one.job.quantity)
        return days if kind == "days" else with_delay(cost, days, price_of_day) / quantity

    def of(changes):
        found = [answer(one, changes) for one in plans]
        return found[0] - found[1] if against is not None else found[0]

    name = "days" if kind == "days" else f"cost of a {plan.job.kit.noun}"
    name += f", {plan.title.lower()}" + (f" less {against.title.lower()}" if against is not None else "")
    name += f", a day at {price_of_day:g}" * (kind != "days" and price_of_day > 0)
    entries = {key: entry for one in plans for key, entry in ranged(one).items()}
    return Output(name, "d" if kind == "days" else plan.rates.currency, of, entries)


@dataclass(frozen=True)
class Bars:
    """One bar an input, longest first: its `entries`, the answers `at_low`, `at_high` (k,), and `base` at all values.

    `refused`: inputs, one end of which makes a route infeasible; they have no bar.
    """

    output: Output
    base: float
    entries: Mapping
    at_low: np.ndarray
    at_high: np.ndarray
    refused: tuple[str, ...]

    @property
    def swing(self):
        """By how much the answers at an input's low and high differ (k,)."""
        return np.abs(self.at_high - self.at_low)

    def table(self):
        """A pandas table: input, low, value, high and unit, the answers there, and by how much they differ."""
        answers = zip(self.at_low, self.at_high, self.swing, strict=True)
        rows = [
            (in_words(key), entry.low, entry.value, entry.high, entry.unit, *answer)
            for (key, entry), answer in zip(self.entries.items(), answers, strict=True)
        ]
        columns = ["input", "low", "value", "high", "unit", "answer_at_low", "answer_at_high", "swing"]
        return table_of(rows, "input", columns)


def tornado(output, entries=None, most=12):
    """Move each input alone to its low and its high, all others at their values.

    Parameters: `output` Output, or any function as above; `entries` {key: Entry} (default: all that the output's
    plans may read); `most` bars to keep [-]. Returns: Bars, those that move nothing left out.
    """
    entries = _entries(output, entries)
    keys, count, alone = [*entries], len(entries), {}
    for i, (key, entry) in enumerate(entries.items()):  # all at their values, then each at its low, then at its high
        alone[key] = np.full(2 * count + 1, float(entry.value))
        alone[key][[1 + i, 1 + count + i]] = entry.low, entry.high
    answers = np.asarray(output(alone), dtype=float)
    ends = answers[1:].reshape(2, -1)
    finite = np.isfinite(ends).all(axis=0)
    # A bar reaches from the base too, where both its ends lie on one side.
    bar = np.where(finite, np.ptp(np.vstack([np.full(len(keys), answers[0]), np.where(finite, ends, 0)]), axis=0), 0)
    order = [i for i in np.argsort(-bar, kind="stable")[:most] if bar[i] > 1e-9 * abs(answers[0])]
    refused = tuple(key for key, good in zip(keys, finite, strict=True) if not good)
    return Bars(output, float(answers[0]), {keys[i]: entries[keys[i]] for i in order}, *ends[:, order], refused)


def uncertain_inputs(plans):
    """The inputs that are uncertain and matter: {key: Entry}.

    Parameters: `plans` {route: Plan or NoPlan} of single numbers for one job and rate card. Returns: of what runs draw
    (`risk.simulation.uncertain`) the entries that, alone moved to their low or high, change a feasible plan's cost or
    days, but make no route infeasible. Yields are not among them: a plan carries, but does not price them.
    """
    bars = [tornado(output_of(plan, kind), most=None) for plan in feasible(plans).values() for kind in KINDS]
    refused = {key for one in bars for key in one.refused}
    known = [(key, entry) for one in bars for key, entry in one.output.entries.items() if key in one.entries]
    return {key: entry for key, entry in known if key not in refused and entry.kind in UNCERTAIN}


def _entries(output, entries):
    entries = getattr(output, "entries", None) if entries is None else entries
    if not entries:
        raise InputError("entries must name at least one input: {key: Entry}.")
    return entries


@dataclass(frozen=True)
class Indices:
    """Sobol indices [-] of an output, largest total first.

    `entries` {key: Entry}; `first`, `total` (k,); their intervals `first_range`, `total_range` (k, 2) at the level
    CONFIDENCE.
    """

    entries: Mapping
    first: np.ndarray
    total: np.ndarray
    first_range: np.ndarray
    total_range: np.ndarray

    def table(self):
        """A pandas table: input, first-order and total index with their intervals."""
        import pandas as pd

        values = [self.first, *self.first_range.T, self.total, *self.total_range.T]
        columns = ["first_order", "first_low", "first_high", "total", "total_low", "total_high"]
        return pd.DataFrame(np.transpose(values), index=[in_words(key) for key in self.entries], columns=columns)

    def words(self):
        """What the indices say, in sentences."""
        names = [in_words(key) for key in self.entries]
        joint = [n for n, t, f in zip(names, self.total_range[:, 0], self.first_range[:, 1], strict=True) if t > f]
        said = (
            f"Knowing {names[0]} alone would take away {max(self.first[0], 0):.0%} of the variance; all {len(names)} "
            f"inputs, each alone, explain {np.clip(self.first.sum(), 0, 1):.0%}."
        )
        return said + (f" Acting together with others: {', '.join(joint)}." if joint else "")


def sobol(output, entries=None, n=1024, most=8, seed=1):
    """Sobol indices, first-order and total, with bootstrap intervals, of inputs drawn independently from their ranges.

    `scipy.stats.sobol_indices` estimates them (Saltelli 2010, on a scrambled Sobol sequence): a dependency that the
    course has anyway; the tests hold it against SALib and the exact indices of the Ishigami function. The bootstrap
    is seeded here, which SciPy's own is not. The output is evaluated at n·(k + 2) points, so without `entries` only
    the `most` longest bars of the tornado are taken; all other inputs stand at their values.
    Parameters: `n` a power of two [-]; `seed`. Returns: Indices. Raises: InputError, also where the output is not
    finite. Small negative indices are sampling noise.
    """
    from scipy.stats import qmc, sobol_indices

    check_numbers(arrays=False, n=n, most=most)
    check_seed(seed)
    if n % 1 != 0 or n != 2 ** int(np.log2(n)):
        raise InputError(f"n={n!r} must be a power of two such as 1024.")
    entries = tornado(output, None, int(most)).entries if entries is None else entries
    keys, rng, n = [*_entries(output, entries)], np.random.default_rng(seed), int(n)
    if (k := len(keys)) < 2:
        raise InputError(f"Sobol indices share out a variance among inputs: name at least two, not {keys}.")
    unit = qmc.Sobol(2 * k, rng=rng).random(n)
    a, b = unit[:, :k], unit[:, k:]
    mixed = [np.where(np.arange(k) == i, b, a) for i in range(k)]
    points = np.concatenate([a, b, *mixed])
    drawn = {key: below(entries[key], points[:, i]) for i, key in enumerate(keys)}
    answers = np.array(output(drawn), dtype=float)
    if not np.isfinite(answers).all():
        raise InputError(
            f"a route cannot make the job in {np.mean(~np.isfinite(answers)):.1%} of the draws: leave out the "
            f"input that limits it, or narrow its range."
        )
    answers = answers.reshape(k + 2, n)

    def indices(rows):
        f = answers[:, rows]
        found = sobol_indices(func={"f_A": f[:1], "f_B": f[1:2], "f_AB": f[2:, None]}, n=n)
        return np.stack([found.first_order.ravel(), found.total_order.ravel()])

    first, total = indices(slice(None))
    resampled = np.stack([indices(rng.integers(n, size=n)) for _ in range(RESAMPLES)])
    tails = [(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2]
    first_range, total_range = np.moveaxis(np.quantile(resampled, tails, axis=0), 0, -1)
    order = np.argsort(-total)
    ranked = {keys[i]: entries[keys[i]] for i in order}
    return Indices(ranked, *(found[order] for found in (first, total, first_range, total_range)))
