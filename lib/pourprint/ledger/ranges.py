"""Draws of an uncertain number between its low and high, the same for every route.

What low and high of an entry mean, everywhere: they are the ends. Nothing outside is believed, and in between the
belief is a triangle over the value, which is the likeliest. Where two other shapes are asked for, they keep the ends.
A belief without ends, as a lab's log leaves one, is written into a card as the triangle that spreads as much.
Sources: exact (textbooks of probability); the beta form of PERT has shape 4.
"""

import zlib

import numpy as np

from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError

CENTRE_HOLDS = 1.6448536269514722  # a log-normal not yet cut at its ends has 90% between them, if they are centred


def triangle_spread(left, right):
    """Standard deviation of a triangle that falls to zero at `left` below and `right` above its top."""
    return np.sqrt((left * left + right * right + left * right) / 18)


def _triangular(share, low, value, high):
    """Triangle from `low` over the likeliest `value` to `high`."""
    width, left, right = high - low, value - low, high - value
    return np.where(
        share * width < left, low + np.sqrt(share * width * left), high - np.sqrt((1 - share) * width * right)
    )


def _pert(share, low, value, high):
    """Beta distribution, steeper about `value`; read from a table of 1025 places: within 0.1% of the width."""
    from scipy.special import betaincinv

    width = high - low
    if width == 0:
        return np.full(share.shape, low)
    a, b = 1 + 4 * (value - low) / width, 1 + 4 * (high - value) / width
    # Places crowd at both ends, where the inverse is steep.
    places = (1 - np.cos(np.pi * np.linspace(0, 1, 1025))) / 2
    return low + width * np.interp(share, places, betaincinv(a, b, places))


def _log_normal(share, low, value, high):
    """Log-normal about `value`, skewed to the right, cut off at both ends; `low` above zero."""
    from scipy.special import ndtr, ndtri

    sigma = np.log(high / low) / (2 * CENTRE_HOLDS)
    if sigma == 0:
        return np.full(share.shape, value)
    first, last = ndtr(np.log(np.array([low, high]) / value) / sigma)
    return value * np.exp(sigma * ndtri(first + share * (last - first)))


SHAPES = {"triangular": _triangular, "PERT": _pert, "log-normal": _log_normal}


def check_seed(seed):
    """Refuse a seed that is not a whole number of at least 0."""
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise InputError(f"seed must be a whole number of at least 0, not {seed!r}.")


def stream(seed, name):
    """The random numbers that belong to a name: the same in every route, whatever else is drawn."""
    return np.random.default_rng([int(seed), zlib.crc32(name.encode())])


def below(entry, share, shape="triangular"):
    """The number below which a share (…) [-] of the belief in an entry lies, by the name of its shape.

    A log-normal is for prices and times above zero: yields, and what may be zero, stay triangular. Raises: InputError.
    """
    check_known(SHAPES, shape=shape)
    bounded = shape == "log-normal" and (entry.kind is Kind.YIELD or entry.low == 0)
    ends = (float(number) for number in (entry.low, entry.value, entry.high))
    return SHAPES["triangular" if bounded else shape](np.asarray(share, dtype=float), *ends)


def draw(entries, n, seed=1, shape="triangular"):
    """Draw numbers from their ranges, independent of each other: {key: (n,)}.

    Parameters: `entries` {key: Entry}; `n` how many draws [-]; `seed` whole number; `shape` one of "triangular",
    "PERT", "log-normal". Each key has its own stream, so that its numbers stay when others are added or left out
    (common random numbers). Raises: InputError.
    """
    check_numbers(arrays=False, n=n)
    check_seed(seed)
    return {key: below(entry, stream(seed, key).random(int(n)), shape) for key, entry in entries.items()}
