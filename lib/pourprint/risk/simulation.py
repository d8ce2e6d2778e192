"""Failures, rework and uncertain inputs: how sure are cost and days?

A step's first-pass yield is the chance that a lot (part, cluster, box, mould, plate or batch) passes it at the first
try; what fails goes back to an earlier step and is made again, while the batch waits for it, so that kits stay
together. We found no published first-pass yields of these routes: they are scenario inputs with a range.
Not modelled: pieces lost for good, failures that come in series, and other jobs in the shop.
"""

import datetime as dt
import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import PRICES, Kind
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import SHAPES, check_seed, draw, stream
from pourprint.ledger.workdays import end_of, moment_of
from pourprint.plans.plan import Plan, feasible, made, ranged
from pourprint.plans.steps import priced
from pourprint.risk.failing_batch import Run
from pourprint.risk.legs import Legs

MOST_AGAIN = 0.9  # chance of a fault of the design: above it, mend how one designs first
UNCERTAIN = (*PRICES, Kind.TIME, Kind.SPEED, Kind.YIELD)


def uncertain(plan):
    """The prices, times, speeds and yields that a plan reads and that have a range: {key: Entry}.

    What a lab knows of its machines (sizes, limits) and of the part is not among them.
    """
    return {key: entry for key, entry in ranged(made(plan)).items() if entry.kind in UNCERTAIN}


@dataclass(frozen=True)
class Runs:
    """What a plan's job may come to: n runs with cost, time and failures drawn together.

    `cost` [currency], `days` calendar days from the start to delivery [d], `attempts` pieces begun for each good one
    [-], `design_errors` found [-], each (n,); `inputs` {key: (n,)} what was drawn, `amounts` {rate key: (n,)} what the
    jobs took, as `weighed`.
    """

    plan: Plan
    cost: np.ndarray = field(repr=False)
    days: np.ndarray = field(repr=False)
    attempts: np.ndarray = field(repr=False)
    design_errors: np.ndarray = field(repr=False)
    inputs: Mapping = field(repr=False)
    amounts: Mapping = field(repr=False)

    @property
    def n(self):
        """How many runs [-]."""
        return self.cost.size

    def with_delay(self, price_of_day):
        """Cost with the price of all days: (n,) [currency]."""
        check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
        return self.cost + price_of_day * self.days

    def days_until(self, deadline):
        """Calendar days from the start to a deadline: days [d], or a date (its end) or moment. Raises: InputError."""
        if isinstance(deadline, int | float | np.number) and not isinstance(deadline, bool):
            check_numbers(arrays=False, deadline=deadline)
            return float(deadline)
        start = self.plan.begin
        try:
            end = end_of(deadline)
        except InputError:
            raise InputError(f'deadline must be days, or a date such as "2026-12-18", not {deadline!r}.') from None
        if end <= start:
            raise InputError(
                f"the deadline, {moment_of(deadline):%d %b %Y}, must be after the start, {start:%d %b %Y}."
            )
        return (end - start) / dt.timedelta(days=1)

    def chance(self, deadline):
        """Chance of delivery by a deadline (days from the start, date or moment) [-]; uncertain by √(p(1 − p)/n)."""
        return float(np.mean(self.days <= self.days_until(deadline)))

    def answer(self, deadline):
        """A sentence on a deadline, also on one that cannot be met."""
        days, chance = self.days_until(deadline), self.chance(deadline)
        usual = np.quantile(self.days, 0.9)
        if chance > 0:
            error = np.sqrt(chance * (1 - chance) / self.n)
            unsure = f" (±{2 * error:.1%})" if 0.005 < chance < 0.995 else ""
            said = f"{of_runs(chance)} chance{unsure} of delivery" if chance < 1 else f"all {self.n:,} runs deliver"
            return f"{self.plan.title}: {said} within {_days(days)}; nine runs of ten take at most {usual:.0f}."
        return (
            f"{self.plan.title} cannot deliver within {_days(days)}: the quickest of {self.n:,} runs takes "
            f"{self.days.min():.0f}, nine of ten up to {usual:.0f}. Move the date, make fewer, or take another route."
        )


def of_runs(share):
    """A share [-] of runs in whole per cent, but no "100%" or "0%" as long as one run is otherwise."""
    if 0.995 <= share < 1:
        return "over 99%"
    return "under 1%" if 0 < share <= 0.005 else f"{share:.0%}"


def _days(days):
    return f"{days:.0f} day{'' if round(days) == 1 else 's'}"


def simulate(plan, n=10_000, seed=1, inputs="triangular", time_spread=None, spares=0, design_again=0.0):
    """Draw cost and calendar time of a plan together, with failures, rework and uncertain inputs.

    Parameters: `plan` of single numbers; `n` runs; `seed` whole number: one seed gives every route the same prices,
    times and yields, so that differences are sharp; `inputs` how the plan's `uncertain` inputs spread within their
    ranges: "triangular", "PERT", "log-normal", or None to keep their values; `time_spread` standard deviation of a
    visit's hands-on time over its mean [-] (default: risk.time_spread); `spares` pieces begun in each batch beyond
    those wanted; `design_again` chance that an assembled first batch shows a fault of the design [-], upon which all
    work begins anew. Returns: Runs. Raises: InputError.
    Further batches that were begun before a design fault shows are not counted.
    """
    return drawn(plan, n, seed, inputs).run(time_spread, spares, design_again)


@dataclass(frozen=True)
class Drawn:
    """A plan with its uncertain inputs drawn, to be run at any quantity and in any batches: make it with `drawn`.

    `inputs` {key: (n,)}; `legs` the plan's work at them.
    """

    plan: Plan
    legs: Legs = field(repr=False)
    inputs: Mapping = field(repr=False)
    seed: int

    def at(self, quantity, batch_size):
        """The same draws for another quantity and batch size [-]: nothing is drawn or planned anew."""
        check_numbers(arrays=False, quantity=quantity, batch_size=batch_size)
        return replace(self, plan=self.plan.at(quantity=quantity, batch_size=batch_size))

    def run(self, time_spread=None, spares=0, design_again=0.0):
        """Run the plan with failures and rework; parameters as of `simulate`. Returns: Runs. Raises: InputError."""
        check_numbers(zero_allowed=True, arrays=False, at_most=MOST_AGAIN, design_again=design_again)
        # A design error comes whenever the row's own number is below the chance: sliders move the same runs.
        row = stream(self.seed, "design").random(self.legs.n)
        errors = np.floor(np.log(1 - row) / np.log(max(design_again, 1e-300)))  # so small a chance never comes true
        return self.led(errors.astype(int), time_spread, spares)

    def led(self, errors, time_spread=None, spares=0):
        """The same with so many design `errors` (n,) in each run."""
        plan, n = self.plan, self.legs.n
        time_spread = plan.rates["risk.time_spread"] if time_spread is None else time_spread
        check_numbers(zero_allowed=True, arrays=False, time_spread=time_spread)
        check_numbers(zero_allowed=True, arrays=False, whole=True, spares=spares)
        run = Run(plan, self.legs, int(spares))
        size = max(1, BLOCK // sum(many for *_, many in run.kinds))
        parts = [slice(at, min(at + size, n)) for at in range(0, n, size)]
        block = partial(run.block, time_spread=time_spread, errors=errors)
        rng = stream(self.seed, "failures and times")  # and one more for each further block: cores may not matter
        with ThreadPoolExecutor(os.cpu_count()) as pool:  # the first alone: it loads what all of them run
            blocks = [block(parts[0], rng), *pool.map(block, parts[1:], rng.spawn(len(parts) - 1))]
        done, attempts, days = (np.concatenate(parts, axis=-1) for parts in zip(*blocks, strict=True))
        amounts = {key: legs.sum(axis=0) for key, legs in self.legs.amounts(done).items()}
        cost = priced(amounts, self.legs.sampled.rates)
        return Runs(plan, cost, days, attempts, errors, self.inputs, amounts)


def drawn(plan, n=10_000, seed=1, inputs="triangular"):
    """The uncertain inputs of a plan, drawn; parameters as of `simulate`. Returns: Drawn. Raises: InputError."""
    check_numbers(arrays=False, whole=True, at_most=1_000_000, n=n)
    check_seed(seed)
    made(plan).single_only("simulate()")
    if inputs is not None and inputs not in SHAPES:
        raise InputError(f"inputs must be one of {', '.join(SHAPES)}, or None to keep them, not {inputs!r}.")
    values = draw(uncertain(plan), n, seed, inputs) if inputs else {}
    sampled = plan.at(rates=plan.rates.replace(values)) if values else plan
    return Drawn(plan, Legs(plan, sampled, int(n)), values, seed)


BLOCK = 2000  # batches walked together, drawn from a stream of their own: more are slower and fill the memory


def simulate_all(plans, n=10_000, seed=1, **options):
    """`simulate` every feasible plan with the same draws: {route: Runs}; `options` as there."""
    return {route: simulate(plan, n, seed, **options) for route, plan in feasible(plans).items()}


@dataclass(frozen=True)
class DesignError:
    """What one fault of the design costs: `cost` [currency] and `days` [d] more, each (n,), in paired runs."""

    cost: np.ndarray
    days: np.ndarray


def design_error(plan, n=2000, seed=1, inputs="triangular", time_spread=None, spares=0):
    """What one fault of the design costs that the first assembly shows; parameters as of `simulate`.

    Returns: DesignError. The first batch is scrapped, one-off work is done again.
    """
    ready = drawn(plan, n, seed, inputs)
    without, once = (ready.led(np.full(ready.legs.n, k), time_spread, spares) for k in (0, 1))
    return DesignError(once.cost - without.cost, once.days - without.days)
