"""Distributions of an uncertain number between its low and high, and draws that are the same for every route.

Sources: moments and inverses are exact (textbooks of probability); the beta form of PERT has shape 4.
"""

import zlib
from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError


@dataclass(frozen=True)
class _Range:
    low: float
    value: float
    high: float

    def __post_init__(self):
        check_numbers(zero_allowed=True, arrays=False, low=self.low, value=self.value, high=self.high)
        if not self.low <= self.value <= self.high:
            raise InputError(f"a range needs low ≤ value ≤ high, not {self.low:g}, {self.value:g}, {self.high:g}.")


@dataclass(frozen=True)
class Triangular(_Range):
    """Triangle from `low` over the likeliest `value` to `high`. Raises: InputError when they are out of order.

    >>> t = Triangular(2, 4, 9)
    >>> t.mean, t.variance * 18, round(float(t.ppf(0.5)), 4)
    (5.0, 39.0, 4.8167)
    """

    @property
    def mean(self):
        """(low + value + high)/3."""
        return (self.low + self.value + self.high) / 3

    @property
    def variance(self):
        """Square of the standard deviation."""
        a, m, b = self.low, self.value, self.high
        return (a * a + m * m + b * b - a * m - a * b - m * b) / 18

    def ppf(self, share):
        """The number below which a share [-] of the distribution lies."""
        share, width = np.asarray(share, dtype=float), self.high - self.low
        left, right = self.value - self.low, self.high - self.value
        return np.where(
            share * width < left,
            self.low + np.sqrt(share * width * left),
            self.high - np.sqrt((1 - share) * width * right),
        )


@dataclass(frozen=True)
class Pert(_Range):
    """Beta distribution between `low` and `high`, steeper about `value` than a triangle; mean (low + 4 value + high)/6.

    >>> p = Pert(2, 4, 9)
    >>> p.mean, round(p.variance, 4)
    (4.5, 1.6071)
    """

    @property
    def mean(self):
        """(low + 4 value + high)/6."""
        return (self.low + 4 * self.value + self.high) / 6

    @property
    def variance(self):
        """(mean − low)(high − mean)/7, exactly; the common ((high − low)/6)² is an approximation."""
        return (self.mean - self.low) * (self.high - self.mean) / 7

    def ppf(self, share):
        """The number below which a share [-] lies, read from a table of 1025 places: within 0.1 % of the width."""
        from scipy.special import betaincinv

        share, width = np.asarray(share, dtype=float), self.high - self.low
        if width == 0:
            return np.full(share.shape, float(self.low))
        a, b = 1 + 4 * (self.value - self.low) / width, 1 + 4 * (self.high - self.value) / width
        # Places crowd at both ends, where the inverse is steep.
        places = (1 - np.cos(np.pi * np.linspace(0, 1, 1025))) / 2
        return self.low + width * np.interp(share, places, betaincinv(a, b, places))


@dataclass(frozen=True)
class LogNormal(_Range):
    """Log-normal about the median `value`, wide enough that 90 % would lie between `low` and `high` if centred.

    Skewed to the right, without upper end. Raises: InputError for a low or value of zero.
    """

    def __post_init__(self):
        super().__post_init__()
        check_numbers(arrays=False, low=self.low, value=self.value)

    @property
    def sigma(self):
        """Standard deviation of the logarithm [-]."""
        return np.log(self.high / self.low) / (2 * 1.6448536269514722)

    @property
    def mean(self):
        """value · exp(σ²/2)."""
        return self.value * np.exp(self.sigma**2 / 2)

    @property
    def variance(self):
        """Square of the standard deviation."""
        return self.mean**2 * np.expm1(self.sigma**2)

    def ppf(self, share):
        """The number below which a share [-] of the distribution lies."""
        from scipy.special import ndtri

        return self.value * np.exp(self.sigma * ndtri(np.asarray(share, dtype=float)))


SHAPES = {"triangular": Triangular, "PERT": Pert, "log-normal": LogNormal}


def check_seed(seed):
    """Refuse a seed that is not a whole number of at least 0."""
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise InputError(f"seed must be a whole number of at least 0, not {seed!r}.")


def stream(seed, name):
    """The random numbers that belong to a name: the same in every route, whatever else is drawn."""
    return np.random.default_rng([int(seed), zlib.crc32(name.encode())])


def distribution_of(entry, shape):
    """The distribution of an Entry between its low and high, by the name of its shape.

    A log-normal has no upper end and no zero: yields, and what may be zero, stay triangular.
    """
    bounded = shape == "log-normal" and (entry.kind is Kind.YIELD or entry.low == 0)
    kind = Triangular if bounded else SHAPES[shape]
    return kind(float(entry.low), float(entry.value), float(entry.high))


def draw(entries, n, seed=1, shape="triangular"):
    """Draw numbers from their ranges, independent of each other: {key: (n,)}.

    Parameters: `entries` {key: Entry}; `n` how many draws [-]; `seed` whole number; `shape` one of "triangular",
    "PERT", "log-normal" (for prices and times above zero; yields and the rest stay triangular). Each key has its
    own stream, so that its numbers stay when others are added or left out (common random numbers).
    Raises: InputError.
    """
    check_numbers(arrays=False, n=n)
    check_seed(seed)
    if shape not in SHAPES:
        raise InputError(f"shape must be one of {', '.join(SHAPES)}, not {shape!r}.")
    return {key: distribution_of(entry, shape).ppf(stream(seed, key).random(int(n))) for key, entry in entries.items()}
