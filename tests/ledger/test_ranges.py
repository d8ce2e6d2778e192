"""What low and high mean: the ends of every shape, whose draws are those of SciPy's own distributions."""

import numpy as np
import pytest
from scipy import stats

from pourprint.ledger.entries import Entry, library
from pourprint.ledger.ranges import SHAPES, below, draw, triangle_spread

SHARE = np.linspace(0.0005, 0.9995, 997)
MIDDLES = (np.arange(200_000) + 0.5) / 200_000  # midpoint rule


def entry(low, value, high, kind="time"):
    rest = {"unit": "h", "kind": kind, "pedigree": "invented", "source": "a test", "date": "2026-11-28"}
    return Entry(value=value, low=low, high=high, **rest)


@pytest.mark.parametrize("ends", [(2, 4, 9), (0.8, 0.92, 0.98), (5, 5, 8), (1, 3, 3)])
def test_the_triangle_is_scipys(ends):
    low, value, high = ends
    twin = stats.triang((value - low) / (high - low), low, high - low)
    assert below(entry(*ends), SHARE) == pytest.approx(twin.ppf(SHARE))
    assert triangle_spread(value - low, high - value) == pytest.approx(twin.std())


@pytest.mark.parametrize("ends", [(2, 4, 9), (0.8, 0.92, 0.98), (5, 5, 8), (1, 3, 3)])
def test_pert_is_scipys_beta_and_has_its_textbook_mean(ends):
    low, value, high = ends
    a, b = (1 + 4 * abs(end - value) / (high - low) for end in (low, high))
    exact = stats.beta(a, b, low, high - low).ppf(SHARE)
    assert np.max(np.abs(below(entry(*ends), SHARE, "PERT") - exact)) < 0.001 * (high - low)
    mean = (low + 4 * value + high) / 6  # textbook of project planning
    assert below(entry(*ends), MIDDLES, "PERT").mean() == pytest.approx(mean, rel=2e-3)


def test_the_log_normal_is_scipys_cut_off_at_its_ends():
    # 6 is the geometric middle of 2 and 18, so that it stays the median; uncut, 90% would lie between them.
    twin = stats.lognorm(np.log(9) / (2 * stats.norm.ppf(0.95)), scale=6)
    inside = twin.cdf(2) + SHARE * (twin.cdf(18) - twin.cdf(2))
    assert below(entry(2, 6, 18), SHARE, "log-normal") == pytest.approx(twin.ppf(inside))
    assert below(entry(2, 6, 18), 0.5, "log-normal") == pytest.approx(6)


@pytest.mark.parametrize("shape", SHAPES)
def test_nothing_is_drawn_outside_low_and_high(shape):
    entries = library()
    for key, values in draw(entries, 500, shape=shape).items():
        assert np.all((values >= entries[key].low) & (values <= entries[key].high)), key


def test_a_number_without_a_range_is_drawn_as_it_is():
    for shape in SHAPES:
        assert np.all(below(entry(3, 3, 3), SHARE, shape) == 3)


def test_draws_of_a_key_do_not_depend_on_its_company():
    entries = library()
    both = draw({key: entries[key] for key in ("shell.coat_interval", "foundry.yield_pour")}, 50, seed=3)
    alone = draw({"foundry.yield_pour": entries["foundry.yield_pour"]}, 50, seed=3)
    assert np.array_equal(both["foundry.yield_pour"], alone["foundry.yield_pour"])
    assert not np.array_equal(draw(entries, 50, seed=4)["foundry.yield_pour"], alone["foundry.yield_pour"])
