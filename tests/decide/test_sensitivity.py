"""What moves an answer: bars against plain replanning, Sobol indices against exact values and another library."""

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.sensitivity import output_of, sobol, tornado, uncertain_inputs
from pourprint.ledger.entries import PRICES, Entry, Kind, Pedigree
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import triangle_spread
from scenes import DEMO, ROUTES, demo_kit, demo_rates

A, B = 7, 0.1  # of the Ishigami function


def entry(low, value, high):
    rest = {"unit": "-", "kind": "allowance", "pedigree": "invented", "source": "a test", "date": "2026-11-25"}
    return Entry(value=value, low=low, high=high, **rest)


def ishigami(x):
    """sin x₁ + a·sin² x₂ + b·x₃⁴·sin x₁ of (3, n)."""
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


def ishigami_of_triangles(changes):
    """The same of triangular inputs from 0 to 1 with mode 0: their distribution function makes them uniform."""
    share = 1 - (1 - np.stack([changes[key] for key in "xyz"])) ** 2
    return ishigami(np.pi * (2 * share - 1))


# Ishigami & Homma 1990, exact: V₁ = (1 + bπ⁴/5)²/2, V₂ = a²/8, V₁₃ = b²π⁸·8/225.
V1, V2, V13 = 0.5 * (1 + B * np.pi**4 / 5) ** 2, A**2 / 8, 8 * B**2 * np.pi**8 / 225
V = V1 + V2 + V13
FIRST = {"x": V1 / V, "y": V2 / V, "z": 0.0}
TOTAL = {"x": (V1 + V13) / V, "y": V2 / V, "z": V13 / V}
TRIANGLES = {key: entry(0.0, 0.0, 1.0) for key in "xyz"}


def demo_plan(route="printed_pattern", quantity=1):
    return pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", quantity), demo_rates())


# Sobol indices ----------------------------------------------------------------------------------------


def test_ishigami_exact_values_are_those_of_the_literature():
    assert [round(FIRST[key], 3) for key in "xyz"] == [0.314, 0.442, 0]


def test_indices_of_the_ishigami_function():
    found = sobol(ishigami_of_triangles, TRIANGLES, n=4096)
    for i, key in enumerate(found.entries):
        # 0.02: four times the error that a Sobol sequence of 4096 shows between seeds.
        assert found.first[i] == pytest.approx(FIRST[key], abs=0.02)
        assert found.total[i] == pytest.approx(TOTAL[key], abs=0.02)
        assert found.first_range[i, 0] <= FIRST[key] <= found.first_range[i, 1]
        assert found.total_range[i, 0] <= TOTAL[key] <= found.total_range[i, 1]
    assert "Acting together with others: x, z" in found.words()


def test_salib_finds_the_same():
    from SALib.analyze import sobol as analyse
    from SALib.sample import sobol as sample

    problem = {"num_vars": 3, "names": list("xyz"), "bounds": [[-np.pi, np.pi]] * 3}
    points = sample.sample(problem, 4096, calc_second_order=False, seed=1)
    other = analyse.analyze(problem, ishigami(points.T), calc_second_order=False, seed=1)
    found = sobol(ishigami_of_triangles, TRIANGLES, n=4096)
    for i, key in enumerate(found.entries):
        place = "xyz".index(key)
        # Both within 0.02 of the exact values, as above; interval widths within a third.
        assert found.first[i] == pytest.approx(other["S1"][place], abs=0.04)
        assert found.total[i] == pytest.approx(other["ST"][place], abs=0.04)
        widths = np.ptp(found.first_range[i]) / 2, np.ptp(found.total_range[i]) / 2
        assert widths == pytest.approx((other["S1_conf"][place], other["ST_conf"][place]), rel=1 / 3)


def test_indices_of_a_sum_are_its_shares_of_variance():
    entries = {"x": entry(0.0, 1.0, 2.0), "y": entry(1.0, 2.0, 9.0), "still": entry(0.0, 1.0, 3.0)}
    parts = [(3 * triangle_spread(1, 1)) ** 2, triangle_spread(1, 7) ** 2]
    found = sobol(lambda changes: 3 * changes["x"] + changes["y"], entries, n=2048)
    exact = dict(zip("xy", np.array(parts) / sum(parts), strict=True)) | {"still": 0.0}
    for key, first, total in zip(found.entries, found.first, found.total, strict=True):
        assert (first, total) == pytest.approx((exact[key], exact[key]), abs=0.02)
    assert "together" not in found.words()


def test_intervals_narrow_with_more_points():
    widths = [np.ptp(sobol(ishigami_of_triangles, TRIANGLES, n=n).first_range, axis=1) for n in (256, 4096)]
    assert np.all(widths[1] < 0.4 * widths[0])  # a quarter in theory


def test_every_seed_is_its_own_also_zero():
    found = [sobol(ishigami_of_triangles, TRIANGLES, n=128, seed=seed) for seed in (0, 0, 1)]
    np.testing.assert_array_equal(found[0].first_range, found[1].first_range)
    assert not np.array_equal(found[0].first, found[2].first)


def test_a_plan_takes_its_longest_bars():
    output = output_of(demo_plan())
    found = sobol(output, n=128, most=4)
    assert {*found.entries} == {*tornado(output, most=4).entries}
    assert found.table().columns[0] == "first_order" and len(found.table()) == 4


# Bars -------------------------------------------------------------------------------------------------


def test_bars_are_what_replanning_says():
    pattern, mould = demo_plan(), demo_plan("printed_mould")
    bars = tornado(output_of(pattern, against=mould, price_of_day=100), most=6)
    for (key, moved), low, high in zip(bars.entries.items(), bars.at_low, bars.at_high, strict=True):
        for value, answer in ((moved.low, low), (moved.high, high)):
            card = demo_rates().replace({key: value})
            one, other = (plan.at(rates=card) for plan in (pattern, mould))
            more = one.total_cost - other.total_cost + 100 * (one.lead_time_days - other.lead_time_days)
            assert answer == pytest.approx(more)
    more = pattern.total_cost - mould.total_cost + 100 * (pattern.lead_time_days - mould.lead_time_days)
    assert bars.base == pytest.approx(more)
    swings = bars.table()["swing"]
    assert len(swings) == 6 and (swings > 0).all()


def test_bars_of_a_known_function():
    entries = {"small": entry(0.0, 1.0, 2.0), "still": entry(0.0, 1.0, 2.0), "large": entry(1.0, 2.0, 4.0)}
    bars = tornado(lambda changes: changes["small"] - 5 * changes["large"], entries)
    assert list(bars.entries) == ["large", "small"] and bars.base == -9
    assert bars.at_low.tolist() == [-4, -10] and bars.at_high.tolist() == [-19, -8]


def test_inputs_that_make_a_route_infeasible_are_named_and_have_no_bar():
    bars = tornado(output_of(demo_plan("printed_metal")))
    assert "printed_metal.height_limit" in bars.refused and "printed_metal.height_limit" not in bars.entries
    assert np.isfinite(bars.at_low).all() and np.isfinite(bars.at_high).all()


def test_days_and_kits_of_an_output():
    plan = demo_plan(quantity=4)
    nothing = {"quantity": np.array([4, 8])}
    assert output_of(plan, "days")(nothing)[0] == pytest.approx(plan.lead_time_days)
    cost = output_of(plan, price_of_day=50)(nothing)
    assert cost[0] == pytest.approx((plan.total_cost + 50 * plan.lead_time_days) / 4)
    eight = plan.at(quantity=8)
    assert cost[1] == pytest.approx((eight.total_cost + 50 * eight.lead_time_days) / 8)


# Refusals ---------------------------------------------------------------------------------------------


def test_what_cannot_be_analysed_is_refused():
    with pytest.raises(InputError, match="unit_cost"):
        output_of(demo_plan(), "price")
    with pytest.raises(InputError, match="power of two"):
        sobol(ishigami_of_triangles, TRIANGLES, n=1000)
    with pytest.raises(InputError, match="at least two"):
        sobol(ishigami_of_triangles, {"x": TRIANGLES["x"]}, n=64)
    with pytest.raises(InputError, match="at least one input"):
        tornado(lambda changes: changes, {})
    limit = {"printed_metal.height_limit": entry(20.0, 60.0, 300.0), "labour.technician": entry(20.0, 30.0, 40.0)}
    with pytest.raises(InputError, match="cannot make the job in"):
        sobol(output_of(demo_plan("printed_metal")), limit, n=64)


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize("kind", ["unit_cost", "days"])
def test_what_moves_the_demo_job_most_is_published_or_marked_as_the_labs_own(route, kind):
    own = (Kind.PRICE, Kind.POWER, Kind.TIME, Kind.SPEED, Kind.YIELD)
    found = tornado(output_of(demo_plan(route, 4), kind), most=25).entries
    assert len(found) > 10 and all(
        entry.pedigree is Pedigree.PUBLISHED or "for the lab to" in entry.source
        for entry in found.values()
        if entry.kind in own
    )


def test_what_a_lab_knows_and_what_it_chooses_is_no_doubt():
    """Draws without failures and with them are of the same inputs: machines' sizes and switches are not among them."""
    plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 4), pp.RateCard.load(DEMO / "rates_buying.toml"))
    kinds = {entry.kind for entry in uncertain_inputs(plans).values()}
    assert kinds <= {*PRICES, Kind.TIME, Kind.SPEED}
    assert not {"printed_metal.turning", "printed_mould.box_x", "buy.printed_mould.express"} & {
        *uncertain_inputs(plans)
    }
