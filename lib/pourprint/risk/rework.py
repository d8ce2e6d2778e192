"""Failures and rework in closed form: exact mean and spread of cost, without drawing anything.

The same model as the simulation of `risk`, with every input at its value and hands-on times without spread.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.plans.plan import made
from pourprint.plans.steps import priced
from pourprint.risk.failing_batch import Run
from pourprint.risk.legs import Legs
from pourprint.risk.simulation import MOST_AGAIN
from pourprint.risk.yields import expected_visits


@dataclass(frozen=True)
class Rework:
    """Exact mean and standard deviation of a job with rework, all inputs at their values.

    `cost`, `cost_sd` [currency]; `visits` {step: how often a piece goes through it [-]}; `rework_cost` {step: what its
    failures cost in the whole job, all that they send back included [currency]}; `failure_free_cost` [currency].
    """

    cost: float
    cost_sd: float
    visits: Mapping[str, float]
    rework_cost: Mapping[str, float]
    failure_free_cost: float


MOST_PIECES = 1500  # in a batch: the closed form holds a table of their square for each step


def rework(plan, design_again=0.0):
    """Expected cost of a plan with its failures, in closed form.

    Parameters: `plan` of single numbers; `design_again` chance that the first assembly shows a fault of the design
    [-], below 1, upon which all work begins anew. Returns: Rework. Raises: InputError. Method: absorbing Markov chain
    on (step, pieces in hand), solved for first and second moment (exact); hands-on times without spread.
    """
    check_numbers(zero_allowed=True, arrays=False, at_most=MOST_AGAIN, design_again=design_again)
    (run,) = _runs_of((plan,))
    (counts, _, lots), legs = run.chain, run.legs
    spoil = legs.spoil[:, 0].copy()
    spoil[-1] = design_again
    plainly = priced(legs.amounts(np.stack([counts] * 2)), plan.rates)
    (mean,), (variance,) = _moments(legs.back, lots, spoil, plainly[None])
    asked = [(part, run.begun(kits), many) for part, kits, many in run.kinds]
    cost, cost_variance, base = (
        float(sum(many * of[part, pieces].sum() for part, pieces, many in asked)) for of in (mean, variance, plainly)
    )
    extra = {}
    for part, pieces, many in asked:
        for leg, more in zip(legs.base[part], (mean - plainly)[part, pieces], strict=True):
            if more > 0:
                extra[leg.name] = extra.get(leg.name, 0.0) + many * float(more)
    own = slice(legs.one_off, len(legs.base) - 1)
    visits, _ = expected_visits(1 - spoil[own], np.maximum(legs.back[own] - own.start, 0))
    names = (leg.name for leg in legs.base[own])
    return Rework(cost, cost_variance**0.5, dict(zip(names, map(float, visits), strict=True)), extra, base)


def mean_amounts(plans):
    """What one plan takes at k quantities or batch sizes in the mean, with all that failures send back.

    Parameters: `plans` (k,), single numbers each. Returns: {rate key: (k,) amounts of the whole jobs, as `weighed`}: no
    price is in it. Raises, method: as for `rework`, in one walk with the pieces of the largest batch.
    """
    runs = _runs_of(plans)
    (counts, _, lots), legs = max(runs, key=lambda run: run.begun(run.kinds[0][1])).chain, runs[0].legs
    keyed = legs.amounts(np.stack([counts] * 2))
    mean, _ = _moments(legs.back, lots, legs.spoil[:, 0], np.stack([*keyed.values()]))
    found = [sum(many * mean[:, part, run.begun(kits)].sum(axis=1) for part, kits, many in run.kinds) for run in runs]
    return dict(zip(keyed, np.transpose(found), strict=True))


def _runs_of(plans):
    """The Runs of one plan at some quantities or batch sizes, ready for the closed form. Raises: InputError."""
    for plan in plans:
        made(plan).single_only("rework()")
    legs = Legs(plans[0], plans[0])
    runs = [Run(plan, legs) for plan in plans]
    pieces = max(run.begun(run.kinds[0][1]) for run in runs)
    if pieces > MOST_PIECES:
        raise InputError(
            f"a batch of {pieces} pieces is too large for the closed form (at most {MOST_PIECES}): "
            f"make at most {MOST_PIECES // plans[0].job.kit.nodes} kits in a batch, or simulate."
        )
    return runs


def _moments(back, lots, spoil, rewards):
    """Mean and variance of what it takes to bring 0…N pieces through each leg, with all that failures send back.

    Parameters: `back` (S,) of Legs; `lots` (S, N + 1) of their chain; `spoil` (S,) chance that a lot fails; `rewards`
    (R, S, N + 1) of one visit. Returns: (mean, variance), each (R, S, N + 1). A visit of m pieces of which f fail takes
    its reward and then, for these f, every leg from `back` to this one: an equation for m itself only where all m fail.
    """
    mean, variance = rewards.copy(), np.zeros_like(rewards)
    again, spread = np.zeros_like(mean), np.zeros_like(mean)  # of all legs from `back` up to this one
    failing = {i: _failing(lots[i], chance) for i, chance in enumerate(spoil) if chance > 0}
    for m in range(1, lots.shape[1]):
        for i, table in failing.items():
            fewer, all_fail, c = table[m, 1:m], table[m, m], rewards[:, i, m]
            s1 = again[:, i, 1:m] @ fewer
            s2 = (spread[:, i, 1:m] + again[:, i, 1:m] ** 2) @ fewer
            head, head_spread = (of[:, back[i] : i, m].sum(axis=1) for of in (mean, variance))
            a = (c + s1 + all_fail * head) / (1 - all_fail)
            known = c**2 + 2 * c * (s1 + all_fail * (head + a)) + s2
            x = (known + all_fail * (head_spread - a**2 + (head + a) ** 2)) / (1 - all_fail)
            mean[:, i, m], variance[:, i, m] = a, np.maximum(x - a**2, 0)
            again[:, i, m], spread[:, i, m] = head + a, head_spread + variance[:, i, m]
    return mean, variance


def _failing(lots, chance):
    """Chance that f of m pieces fail, spread over their lots: (N + 1, N + 1) by m, f."""
    size = len(lots)
    table, within = np.zeros((size, size)), _binomials(size, chance)
    for m in range(1, size):
        held, more = divmod(m, int(lots[m]))
        few = int(lots[m]) - more
        failed = np.add.outer((held + 1) * np.arange(more + 1), held * np.arange(few + 1))
        np.add.at(table[m], failed, np.outer(within[more, : more + 1], within[few, : few + 1]))
    return table


def _binomials(size, chance):
    """Chance of k failures among n, by n, k: (size, size), of a chance above 0 and below 1."""
    k, n = np.arange(size), np.arange(size)[:, None]
    rest = np.maximum(n - k, 0)
    log_factorial = np.cumsum(np.log(np.maximum(k, 1)))  # scipy's special functions take 0.15 s and 27 MB to load
    ways = log_factorial[n] - log_factorial[k] - log_factorial[rest]
    return np.where(k <= n, np.exp(ways + k * np.log(chance) + rest * np.log1p(-chance)), 0.0)
