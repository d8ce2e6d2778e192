"""Yields, tries and starts: exact results of probability, and the invariants behind them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourprint.ledger.errors import InputError
from pourprint.risk.yields import (
    attempts_needed,
    chance_of_enough,
    chance_within,
    expected_visits,
    layers_printed,
    rolled_yield,
    starts_needed,
)

few = settings(max_examples=40)
shares = st.floats(0.3, 1.0)


def test_rolled_throughput_yield():
    # Published: Minitab's support page gives 0.70 for these three steps; the product is exact.
    assert rolled_yield([0.95, 0.84, 0.88]) == pytest.approx(0.70224, abs=1e-12)


def test_tries_until_the_first_success():
    # Geometric distribution (exact).
    assert attempts_needed(0.8) == pytest.approx((1.25, 0.3125))
    assert chance_within(0.8, 3) == pytest.approx(0.992)


def test_starts_for_ten_good_ones():
    # Binomial distribution (exact).
    assert chance_of_enough(12, 10, 0.9) == pytest.approx(0.8891, abs=5e-5)
    assert chance_of_enough(13, 10, 0.9) == pytest.approx(0.9658, abs=5e-5)
    assert starts_needed(10, 0.9, 0.95) == 13 and starts_needed(10, 0.9, 0.88) == 12
    assert starts_needed(7, 1.0, 0.99) == 7


@few
@given(st.integers(1, 60), st.floats(0.2, 0.999), st.floats(0.05, 0.99))
def test_one_start_fewer_is_not_enough(good, p, confidence):
    starts = starts_needed(good, p, confidence)
    assert chance_of_enough(starts, good, p) >= confidence - 1e-12
    assert starts == good or chance_of_enough(starts - 1, good, p) < confidence


def test_a_print_that_fails_by_the_layer():
    # Success runs (exact): not the 2442.8 layers of L/P.
    assert layers_printed(2000, 1e-4) == pytest.approx(2214.15, abs=0.005)
    assert layers_printed(2000, 0.0) == 2000
    assert layers_printed(1, 0.2) == pytest.approx(attempts_needed(0.8)[0])
    with pytest.raises(InputError, match="below 1"):  # a print of which every layer fails never ends
        layers_printed(10, 1.0)


def test_layers_printed_by_trying():
    # Independent of the formula: restart at each failure, 20 000 prints; tolerance is four standard errors.
    rng, q, layers = np.random.default_rng(5), 0.01, 60
    counts = []
    for _ in range(20_000):
        total, run = 0, 0
        while run < layers:
            run_until = rng.geometric(q)  # the layer that fails
            total += min(run_until, layers)
            run = layers if run_until > layers else 0
        counts.append(total)
    assert abs(np.mean(counts) - layers_printed(layers, q)) < 4 * np.std(counts) / np.sqrt(len(counts))


def test_visits_of_a_route_with_two_loops():
    # Solved by hand: step 2 sends 10% back to step 0, step 1 repeats itself 20% of the time.
    mean, _ = expected_visits([1.0, 0.8, 0.9], [0, 1, 0])
    assert mean == pytest.approx([1 / 0.9, 1 / 0.9 / 0.8, 1 / 0.9])


@few
@given(st.lists(shares, min_size=1, max_size=6), st.data())
def test_visits_agree_with_walking(yields, data):
    back = [data.draw(st.integers(0, i)) for i in range(len(yields))]
    mean, variance = expected_visits(yields, back)
    rng, walks = np.random.default_rng(1), 600
    seen = np.zeros((walks, len(yields)))
    for walk in seen:
        at = 0
        while at < len(yields):
            walk[at] += 1
            at = at + 1 if rng.random() < yields[at] else back[at]
    # Six standard errors: forty examples of up to six steps must all hold.
    assert np.all(np.abs(seen.mean(axis=0) - mean) <= 6 * np.sqrt(variance / walks) + 1e-9)
