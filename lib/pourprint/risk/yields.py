"""First-pass yields: what passes, how many tries and starts it takes, and where failures send work back.

A yield is the chance that a piece (or lot) passes a step at the first try; tries are independent of each other.
"""

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError


def rolled_yield(yields):
    """Share of pieces that pass every step at the first try.

    Parameters: `yields` (k,) first-pass yields [-]. Returns: [-]. Source: product rule (exact).

    >>> round(float(rolled_yield([0.95, 0.84, 0.88])), 5)
    0.70224
    """
    check_numbers(at_most=1, yields=yields)
    return np.prod(np.asarray(yields, dtype=float), axis=-1)


def attempts_needed(first_pass_yield):
    """Tries until the first success: (mean, variance) [-]. Source: geometric distribution (exact).

    >>> tuple(round(float(x), 4) for x in attempts_needed(0.8))
    (1.25, 0.3125)
    """
    check_numbers(at_most=1, first_pass_yield=first_pass_yield)
    p = np.asarray(first_pass_yield, dtype=float)
    return 1 / p, (1 - p) / p**2


def chance_within(first_pass_yield, tries):
    """Chance of at least one success within some tries [-]. Source: geometric distribution (exact).

    >>> round(float(chance_within(0.8, 3)), 3)
    0.992
    """
    check_numbers(at_most=1, first_pass_yield=first_pass_yield)
    check_numbers(tries=tries)
    return 1 - (1 - np.asarray(first_pass_yield, dtype=float)) ** tries


def chance_of_enough(starts, good, first_pass_yield):
    """Chance that at least `good` of `starts` pieces come out good [-]. Source: binomial distribution (exact).

    >>> [round(float(chance_of_enough(n, 10, 0.9)), 4) for n in (12, 13)]
    [0.8891, 0.9658]
    """
    from scipy.special import bdtrc

    check_numbers(at_most=1, first_pass_yield=first_pass_yield)
    check_numbers(starts=starts, good=good)
    return bdtrc(np.asarray(good) - 1.0, starts, first_pass_yield)


def starts_needed(good, first_pass_yield, confidence=0.95):
    """Fewest pieces to start at once so that enough come out good with some confidence.

    Parameters: `good` wanted, whole, ≥ 1 [-]; `first_pass_yield` [-]; `confidence` below 1 [-]. Returns: int.
    Raises: InputError. Source: negative binomial distribution (exact).

    >>> starts_needed(10, 0.9, 0.95)
    13
    """
    from scipy.special import nbdtrik

    check_numbers(arrays=False, at_most=1, first_pass_yield=first_pass_yield, confidence=confidence)
    check_numbers(arrays=False, whole=True, good=good)
    if first_pass_yield == 1:
        return int(good)
    if confidence == 1:
        raise InputError(f"confidence must be below 1, not {confidence!r}.")
    failed = np.ceil(nbdtrik(confidence, good, first_pass_yield) - 1e-9)  # before the last good one
    if not failed < 1e7:
        raise InputError(f"a yield of {first_pass_yield:g} needs more than ten million starts: raise it first.")
    return int(good + failed)


def layers_printed(layers, failure_per_layer):
    """Layers that a printer lays down on average until a print is whole, when each failure begins it anew.

    Parameters: `layers` L of the print; `failure_per_layer` q, below 1 [-]. Returns: (1 − sᴸ)/(q·sᴸ), s = 1 − q.
    Not L/sᴸ: most failures come before the last layer. Source: success runs (exact, textbook).

    >>> round(float(layers_printed(2000, 1e-4)), 2)
    2214.15
    """
    check_numbers(layers=layers)
    check_numbers(zero_allowed=True, failure_per_layer=failure_per_layer)
    layers, q = np.asarray(layers, dtype=float), np.asarray(failure_per_layer, dtype=float)
    if np.any(q >= 1):
        raise InputError(f"failure_per_layer must be below 1, not {failure_per_layer!r}.")
    grown = np.expm1(-layers * np.log1p(-q))  # s⁻ᴸ − 1, exact for small q too
    return np.where(q > 0, grown / np.where(q > 0, q, 1), layers)


def expected_visits(yields, back):
    """How often one piece visits each step until it is through, when a failure sends it back.

    Parameters: `yields` (k,) first-pass yields [-]; `back` (k,) index of the step that each failure returns to, at
    most its own. Returns: (mean, variance), each (k,) [-]. Raises: InputError. Source: fundamental matrix
    N = (I − Q)⁻¹ of an absorbing Markov chain, variance N(2·diag N − I) − N² (Kemeny & Snell 1960; from memory).

    >>> mean, variance = expected_visits([0.8], [0])
    >>> round(float(mean[0]), 4), round(float(variance[0]), 4)
    (1.25, 0.3125)
    """
    check_numbers(at_most=1, yields=yields)
    p, back = np.asarray(yields, dtype=float), np.asarray(back)
    if p.ndim != 1 or back.shape != p.shape or not np.issubdtype(back.dtype, np.integer):
        raise InputError("yields and back must be two rows of one length, back of whole numbers.")
    steps = np.arange(p.size)
    if np.any(back < 0) or np.any(back > steps):
        raise InputError(f"back must name the same or an earlier step, counted from 0, not {back!r}.")
    moves = np.diag(p[:-1], 1)
    moves[steps, back] += 1 - p
    visits = np.linalg.inv(np.eye(p.size) - moves)
    variance = (visits @ (2 * np.diag(np.diag(visits)) - np.eye(p.size)) - visits**2)[0]
    return visits[0], np.maximum(variance, 0)  # rounding must not leave a step that never fails with less than none
