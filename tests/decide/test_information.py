"""How sure a choice is and what to measure first: closed forms of two normal routes, and the demo kit."""

import numpy as np
import pytest
from scipy.stats import norm

import pourprint as pp
from pourprint.decide.information import Samples, expected_regret, probability_best, sample_plans, value_of_information
from pourprint.decide.inputs import outcomes
from pourprint.decide.sensitivity import uncertain_inputs
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import draw
from scenes import demo_kit, demo_rates

N = 20_000


def demo_plans(quantity=1):
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantity), demo_rates())


def normal_routes(mean, slopes, noise=0.0, seed=0, n=N):
    """Two routes whose difference in cost is mean + Σ slope·x (+ noise), each x standard normal."""
    rng = np.random.default_rng(seed)
    inputs = {key: rng.standard_normal(n) for key in slopes}
    more = mean + sum(slope * inputs[key] for key, slope in slopes.items()) + noise * rng.standard_normal(n)
    still = np.zeros(n)
    return Samples({"one": 100 + more, "other": 100 + still}, {"one": still, "other": still}, inputs)


def loss(mean, spread):
    """Unit normal loss: E[min(0, D)] short of min(0, mean), for D normal.

    Source: Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, two-action problem with linear loss and
    normal prior (from memory); exact.
    """
    return spread * norm.pdf(mean / spread) - abs(mean) * norm.sf(abs(mean) / spread)


# Closed forms -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("mean", [-0.8, 0.0, 0.4, 2.5])
def test_knowing_everything_or_one_input_is_worth_the_unit_normal_loss(mean):
    slopes = {"a.x": 1.0, "a.y": 0.6, "b.z": 2.0}
    found = value_of_information(normal_routes(mean, slopes, noise=1.5))
    exact = {key: loss(mean, slope) for key, slope in slopes.items()}
    # Three standard errors, 2% of the exact worth for what a curve fitted to half of the draws misses, and a
    # thousandth of the spread for turns so rare that no draw holds one (then the standard error is nought too).
    for key, worth in found.inputs.items():
        assert worth.value == pytest.approx(exact[key], abs=3 * worth.error + 0.02 * exact[key] + 1e-3)
    whole = loss(mean, np.sqrt(1 + 0.36 + 4 + 1.5**2))
    assert found.everything.value == pytest.approx(whole, abs=3 * found.everything.error)
    pair = loss(mean, np.sqrt(1.36))
    assert found.groups["a"].value == pytest.approx(pair, abs=3 * found.groups["a"].error + 0.02 * pair + 1e-3)
    assert list(found.inputs) == sorted(slopes, key=lambda key: -found.inputs[key].value)


def test_probability_and_regret_of_two_normal_routes():
    mean, spread = 0.4, 1.7
    samples = normal_routes(mean, {"x": spread})
    share = probability_best(samples)["one"]
    exact = norm.cdf(-mean / spread)
    assert share == pytest.approx(exact, abs=3 * np.sqrt(exact * (1 - exact) / N))
    regret = expected_regret(samples)
    # The other is chosen; hindsight saves the unit normal loss. Choosing the one instead costs its mean on top.
    assert regret["other"] == pytest.approx(loss(mean, spread), rel=0.05)  # 3 standard errors of 20 000 draws
    assert regret["one"] - regret["other"] == pytest.approx(np.mean(samples.cost["one"] - 100))


def test_a_curve_that_bends_is_worth_more_than_its_slope_says():
    # D = x² − 1 has mean nothing and no slope, yet knowing x is worth E[max(0, 1 − x²)] = 2φ(1) = 0.48394 (exact).
    x = np.random.default_rng(5).standard_normal(N)
    samples = Samples({"one": x**2 - 1, "other": 0 * x}, {"one": 0 * x, "other": 0 * x}, {"x": x})
    worth = value_of_information(samples).inputs["x"]
    assert worth.value == pytest.approx(2 * norm.pdf(1), abs=3 * worth.error + 0.01)


def test_inputs_without_influence_are_not_told_apart_from_nothing():
    rng = np.random.default_rng(8)
    samples = normal_routes(0.05, {"x": 1.0})
    idle = {f"idle {i}": rng.random(N) for i in range(40)}
    found = value_of_information(Samples(samples.cost, samples.days, {**samples.inputs, **idle}))
    told = [key for key in idle if found.inputs[key].told]
    assert len(told) <= 4  # 1 in 44 passes two standard errors by luck: five of 40 would be a 1-in-500 event
    assert found.inputs["x"].told and next(iter(found.inputs)) == "x"
    assert "Measure first: x" in found.measure_first()


def test_the_days_have_their_price():
    n = np.ones(100)
    samples = Samples({"slow": 100 * n, "fast": 200 * n}, {"slow": 20 * n, "fast": 10 * n})
    assert probability_best(samples, [0, 9, 11])["fast"].tolist() == [0, 0, 1]  # tie at (200 − 100)/(20 − 10) = 10
    assert expected_regret(samples, 12) == pytest.approx({"slow": 20, "fast": 0})
    assert value_of_information(samples, 12).everything.value == 0
    assert "No single input" in value_of_information(samples, 12).measure_first()


# The demo kit -----------------------------------------------------------------------------------------


def test_shares_add_up_and_the_least_regret_is_the_worth_of_knowing_everything():
    samples = sample_plans(demo_plans(), n=6000)
    for price in (0.0, 225.0, 1000.0):
        assert sum(probability_best(samples, price).values()) == pytest.approx(1)
        found = value_of_information(samples, price)
        regret = expected_regret(samples, price)
        assert found.choice == min(regret, key=regret.get)
        assert found.everything.value == pytest.approx(regret[found.choice])
        most = found.everything.value + 3 * found.everything.error
        assert all(worth.value <= most for worth in (*found.inputs.values(), *found.groups.values()))


def test_one_draw_is_one_plan():
    plans = demo_plans(3)
    samples = sample_plans(plans, n=50)
    point = {key: values[7] for key, values in samples.inputs.items()}
    for route, plan in plans.items():
        cost, days = outcomes(plan, point)
        assert (samples.cost[route][7], samples.days[route][7]) == pytest.approx((float(cost), float(days)))


def test_draws_of_an_input_stay_when_others_are_left_out():
    plans = demo_plans()
    few = dict(list(uncertain_inputs(plans).items())[:5])
    whole, part = sample_plans(plans, n=20), draw(few, 20)
    for key in few:
        np.testing.assert_array_equal(whole.inputs[key], part[key])
    assert not np.array_equal(whole.cost["printed_metal"], sample_plans(plans, n=20, seed=2).cost["printed_metal"])


def test_samples_of_a_simulation_are_taken_as_they_are():
    class Run:
        cost, days, inputs = np.array([1.0, 2.0]), np.array([3.0, 4.0]), {"x": np.array([5.0, 6.0])}

    samples = Samples.of({"one": Run, "other": Run})
    assert samples.n == 2 and samples.cost["other"] is Run.cost and samples.inputs["x"] is Run.inputs["x"]


def test_a_route_that_sometimes_cannot_is_not_chosen_but_may_win():
    cost = {"sure": np.full(4000, 10.0), "shaky": np.where(np.arange(4000) % 2, 5.0, np.inf)}
    days = {"sure": np.zeros(4000), "shaky": np.where(np.arange(4000) % 2, 0.0, np.inf)}
    samples = Samples(cost, days, {"x": np.arange(4000.0)})
    assert probability_best(samples) == {"sure": 0.5, "shaky": 0.5}
    found = value_of_information(samples)
    assert found.choice == "sure" and found.everything.value == 0


# Refusals ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        ({}, {}),
        ({"a": np.ones(3)}, {"b": np.ones(3)}),
        ({"a": np.ones(3)}, {"a": np.ones(4)}),
        ({"a": np.ones(3)}, {"a": np.ones(3)}, {"x": np.ones(2)}),
        ({"a": 1.0}, {"a": 2.0}),
    ],
)
def test_samples_that_do_not_fit_together_are_refused(given):
    with pytest.raises(InputError, match="same length"):
        Samples(*given)


def test_too_few_draws_are_refused_with_how_many_are_needed():
    with pytest.raises(InputError, match="draw "):
        value_of_information(sample_plans(demo_plans(), n=100))
