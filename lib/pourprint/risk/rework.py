"""Failures and rework in closed form: exact mean and spread of cost and clock time, without drawing anything.

The same model as the simulation of `risk`, with every input at its value and hands-on times without spread.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.plans.plan import made
from pourprint.plans.steps import Stage
from pourprint.risk.legs import Legs
from pourprint.risk.simulation import check_design, run_of
from pourprint.risk.yields import expected_visits


@dataclass(frozen=True)
class Rework:
    """Exact mean and standard deviation of a job with rework, all inputs at their values.

    `cost`, `cost_sd` [currency]; `clock_h`, `clock_sd_h` of the first batch with its one-off work, as if someone
    were always there [h]; `visits` {step: how often a piece goes through it [-]}; `rework_cost` {step: what its
    failures cost in the whole job, all that they send back included [currency]}; `failure_free_cost` [currency].
    """

    cost: float
    cost_sd: float
    clock_h: float
    clock_sd_h: float
    visits: Mapping[str, float]
    rework_cost: Mapping[str, float]
    failure_free_cost: float


MOST_PIECES = 1500  # in a batch: the closed form holds a table of their square for each step


def rework(plan, design_again=0.0, again=Stage.DESIGN):
    """Expected cost and time of a plan with its failures, in closed form.

    Parameters: `plan` of single numbers; `design_again` chance that the first assembly shows a fault of the design
    [-], below 1; `again` the stage from which on one-off work is then done again. Returns: Rework.
    Raises: InputError. Method: absorbing Markov chain on (step, pieces in hand), solved for first and second moment
    (exact); hands-on times without spread.
    """
    made(plan).single_only("rework()")
    run = run_of(plan, Legs(plan, plan), again=again)
    check_design(design_again, again)
    chain, legs = run.chain, run.legs
    if chain.pieces > MOST_PIECES:
        raise InputError(
            f"a batch of {chain.pieces} pieces is too large for the closed form (at most {MOST_PIECES}): choose "
            f"a smaller batch_size, or simulate."
        )
    spoil = legs.spoil[:, 0].copy()
    spoil[-1] = design_again
    costs = legs.costs(np.stack([chain.counts] * 2))
    mean, variance = _moments(chain, spoil, np.stack([costs, _clock_table(chain, legs)]))
    cost = cost_variance = base = 0.0
    extra = {}
    for part, kits, many in run.kinds:
        plainly, expected = costs[part, run.begun(kits)], mean[0, part, run.begun(kits)]
        cost += many * expected.sum()
        cost_variance += many * variance[0, part, run.begun(kits)].sum()
        base += many * plainly.sum()
        for leg, more in zip(legs.base[part], expected - plainly, strict=True):
            if more > 0:
                extra[leg.name] = extra.get(leg.name, 0.0) + many * float(more)
    own, once = slice(legs.one_off, len(legs.base) - 1), run.kinds[0][0]
    visits, _ = expected_visits(1 - spoil[own], np.maximum(chain.back[own] - own.start, 0))
    return Rework(
        float(cost),
        float(np.sqrt(cost_variance)),
        float(mean[1, once, -1].sum()),
        float(np.sqrt(variance[1, once, -1].sum())),
        dict(zip((leg.name for leg in legs.base[own]), map(float, visits), strict=True)),
        extra,
        float(base),
    )


def _clock_table(chain, legs):
    """Clock hours of a visit of each leg by 0…N pieces, if someone were always there: (S, N + 1) [h]."""
    hours, counts = legs.hours[0][..., None], chain.counts
    worked = (counts * hours[:, :, :3].sum(axis=2)).sum(axis=1)
    return worked + chain.rounds * (np.minimum(counts, 1) * hours[:, :, 3]).max(axis=1)


def _moments(chain, spoil, rewards):
    """Mean and variance of what it takes to bring 0…N pieces through each leg, with all that failures send back.

    Parameters: `spoil` (S,) chance that a lot fails; `rewards` (R, S, N + 1) of one visit. Returns: (mean, variance),
    each (R, S, N + 1). A visit of m pieces of which f fail takes its reward and then, for these f, every leg from
    `back` to this one: an equation for m itself only where all m fail.
    """
    mean, variance = rewards.copy(), np.zeros_like(rewards)
    tables = [_failing(chain.lots[i], chance) for i, chance in enumerate(spoil)]
    for m in range(1, chain.pieces + 1):
        for i, chance in enumerate(spoil):
            if chance == 0:
                continue
            # after[back] skips one-off stages that a design error leaves alone.
            redone = np.r_[chain.back[i], chain.after[chain.back[i]] : i] if chain.back[i] < i else np.arange(0)
            fails = tables[i][m]
            c = rewards[:, i, m]
            fewer = np.flatnonzero(fails[1:m]) + 1
            many = np.append(redone, i)
            sums = mean[:, many][:, :, fewer].sum(axis=1)
            spread = variance[:, many][:, :, fewer].sum(axis=1)
            s1, s2 = sums @ fails[fewer], (spread + sums**2) @ fails[fewer]
            all_fail = fails[m]
            head, head_spread = mean[:, redone, m].sum(axis=1), variance[:, redone, m].sum(axis=1)
            a = (c + s1 + all_fail * head) / (1 - all_fail)
            known = c**2 + 2 * c * (s1 + all_fail * (head + a)) + s2
            x = (known + all_fail * (head_spread - a**2 + (head + a) ** 2)) / (1 - all_fail)
            mean[:, i, m], variance[:, i, m] = a, np.maximum(x - a**2, 0)
    return mean, variance


def _failing(lots, chance):
    """Chance that f of m pieces fail, spread over their lots: (N + 1, N + 1) by m, f; None where nothing can."""
    if chance == 0:
        return None
    size = len(lots)
    table = np.zeros((size, size))
    for m in range(1, size):
        held, more = divmod(m, int(lots[m]))
        few = lots[m] - more
        larger, smaller = _binomial(more, chance), _binomial(few, chance)
        failed = np.add.outer((held + 1) * np.arange(more + 1), held * np.arange(few + 1))
        np.add.at(table[m], failed, np.outer(larger, smaller))
    return table


def _binomial(n, chance):
    """Chance of 0…n failures among n: (n + 1,). Special functions alone, since scipy.stats takes a second to load."""
    from scipy.special import gammaln, xlog1py, xlogy

    k = np.arange(n + 1)
    ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    return np.exp(ways + xlogy(k, chance) + xlog1py(n - k, -chance))
