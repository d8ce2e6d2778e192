"""Mixing the routes: the solver against brute force by real plans, sharing, limits, and reasons in words."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.decide.mix import choices, usage
from pourprint.ledger.errors import Infeasible, InputError
from scenes import PRINTED, ROUTES

CENT = 0.005  # costs are sums of some hundred terms: a cent is far above rounding


def kit_of(*sizes):
    """Blocks of different volume [cm3], told apart by name."""
    parts = [
        pp.KitPart(pp.Part.from_numbers(f"block {i}", cm3, 5 * cm3 ** (2 / 3) * 2, (1.4 * side, side, 0.9 * side)))
        for i, (cm3, side) in enumerate((cm3, 10 * (2 * cm3) ** (1 / 3)) for cm3 in sizes)
    ]
    return pp.Kit("blocks", tuple(parts))


KIT = kit_of(20, 60, 150, 400)
JOB = pp.Job(KIT, "AlSi7Mg", quantity=3)


def every_assignment(job, routes=PRINTED):
    """[(cost, days, {route: plan})] of all ways to divide a kit, by real plans and nothing of the mixing code."""
    made, found = {}, []
    for ways in itertools.product(routes, repeat=len(job.kit.parts)):
        own, plans = {}, {}
        for item, route in zip(job.kit.parts, ways, strict=True):
            own.setdefault(route, []).append(item)
        for route, parts in own.items():
            key = (route, tuple(item.part.name for item in parts))
            if key not in made:
                try:
                    made[key] = pp.plan(route, job.with_(kit=pp.Kit("some", tuple(parts))))
                except Infeasible:
                    made[key] = None
            plans[route] = made[key]
        if None not in plans.values():
            days = max(plan.lead_time_days for plan in plans.values())
            found.append((sum(plan.total_cost for plan in plans.values()), days, plans))
    return found


@pytest.fixture(scope="module")
def all_mixes():
    return every_assignment(JOB)


@pytest.fixture(scope="module")
def small():
    return choices(JOB, pp.RateCard.default(), PRINTED)


# Against brute force --------------------------------------------------------------------------------------


def test_the_cheapest_mix_is_that_of_brute_force(small, all_mixes):
    best = small.best()
    assert best.cost == pytest.approx(min(cost for cost, *_ in all_mixes), abs=CENT)


def test_the_cheapest_mix_under_each_deadline_is_that_of_brute_force(small, all_mixes):
    for deadline in sorted({round(days, 3) + 0.001 for _, days, _ in all_mixes})[::4]:
        best = small.best(deadline_days=deadline)
        assert best.cost == pytest.approx(min(c for c, days, _ in all_mixes if days <= deadline), abs=CENT)
        assert best.days <= deadline


@pytest.mark.parametrize("price", [10, 200, 1000, 10_000])
def test_the_best_mix_at_a_price_of_a_day_is_that_of_brute_force(small, all_mixes, price):
    best = small.best(price_of_day=price)
    assert best.cost_with_delay == pytest.approx(min(c + price * days for c, days, _ in all_mixes), abs=CENT)


def test_the_fastest_mix_is_that_of_brute_force_and_the_cheapest_of_those(small, all_mixes):
    best, quickest = small.best("days"), min(days for _, days, _ in all_mixes)
    assert best.days == pytest.approx(quickest, abs=1e-6)
    assert best.cost == pytest.approx(min(c for c, days, _ in all_mixes if days < quickest + 1e-6), abs=CENT)


@pytest.mark.parametrize("key", ["labour.technician", "machine.sand_printer", "powder.AlSi7Mg"])
def test_the_best_mix_within_a_limit_is_that_of_brute_force(small, all_mixes, key):
    uses = [sum(usage(plan).get(key, 0.0) for plan in plans.values()) for *_, plans in all_mixes]
    most = float(np.median(uses))
    cheapest = min(cost for (cost, *_), use in zip(all_mixes, uses, strict=True) if use <= most)
    assert small.best(limits={key: most}).cost == pytest.approx(cheapest, abs=CENT)


@given(st.lists(st.floats(10, 500), min_size=2, max_size=3), st.integers(1, 6), st.floats(0, 800))
@settings(max_examples=8)
def test_brute_force_agrees_for_any_small_kit(volumes, quantity, price):
    job = pp.Job(kit_of(*volumes), "AlSi7Mg", quantity=quantity)
    least = min(cost + price * days for cost, days, _ in every_assignment(job, ROUTES))
    best = choices(job, pp.RateCard.default()).best(price_of_day=price)
    assert best.cost_with_delay == pytest.approx(least, abs=CENT)


# What must hold -------------------------------------------------------------------------------------------


def test_what_a_plan_uses_times_its_rates_is_its_cost():
    for route in ROUTES:
        plan = pp.plan(route, JOB)
        assert sum(n * plan.rates[key] for key, n in usage(plan).items()) == pytest.approx(plan.total_cost)


def test_every_piece_goes_one_way_and_the_cost_is_that_of_real_plans(small):
    for mix in small.frontier():
        assert {part: sum(ways.values()) for part, ways in mix.routes_of().items()} == {
            item.part.name: item.count for item in KIT.parts
        }
        again = [pp.plan(route, plan.job) for route, plan in mix.plans.items()]
        assert mix.cost == pytest.approx(sum(plan.total_cost for plan in again), abs=CENT)
        assert mix.days == pytest.approx(max(plan.lead_time_days for plan in again))


def test_a_mix_is_never_dearer_than_the_best_single_route(small):
    assert small.best().cost <= min(cost for cost, _ in small.single_routes().values()) + CENT


def test_along_the_frontier_days_fall_and_costs_rise(small):
    mixes = small.frontier(least_gain_days=0.1)
    assert len(mixes) > 2
    assert all(a.days > b.days and a.cost < b.cost for a, b in itertools.pairwise(mixes))
    assert mixes[-1].days == pytest.approx(small.best("days").days)


def test_a_part_may_be_bound_to_a_route():
    bound = choices(JOB, pp.RateCard.default(), PRINTED, only={"block 0": ("printed_metal",)})
    assert bound.best().routes_of()["block 0"] == {"printed_metal": 1}


def test_an_alloy_that_a_route_refuses_leaves_the_other_routes():
    pool = choices(pp.Job(KIT, "AZ91D", 2), pp.RateCard.default().replace({"handling.magnesium": 1.0}))
    assert "printed_metal" not in pool.best().plans
    assert "printed_metal" not in pool.routes


# Reasons in words -----------------------------------------------------------------------------------------


def test_an_impossible_deadline_is_explained_with_the_fastest_and_what_sets_its_pace(small, all_mixes):
    answer = small.best(deadline_days=1)
    assert not answer.feasible
    quickest = min(days for _, days, _ in all_mixes)
    assert answer.fastest.days == pytest.approx(quickest)
    assert f"the fastest takes {quickest:.1f} days" in answer.reason
    assert "sets the pace; its longest step is" in answer.reason


def test_limits_that_leave_no_mix_are_explained_with_what_is_needed(small):
    answer = small.best(limits={"labour.technician": 1.0})
    needed = small.best(limits={"labour.technician": 1e6})
    assert not answer.feasible and answer.fastest is None
    least = float(answer.reason.split("technician (labour): ")[1].split(" needed")[0])
    assert 1 < least <= usage_of(needed, "labour.technician") + 0.1
    both = small.best(limits={"machine.sand_printer": 0.0, "machine.metal_printer": 0.0, "machine.pattern_printer": 0})
    assert "not all together: loosen one of sand printer (machine), metal printer (machine)" in both.reason
    assert small.frontier(limits={"labour.technician": 1.0}) == ()


def usage_of(mix, key):
    return sum(usage(plan).get(key, 0.0) for plan in mix.plans.values())


def test_a_part_that_no_route_can_make_is_named_with_each_reason():
    job = pp.Job(kit_of(20, 900_000), "AlSi7Mg")
    with pytest.raises(InputError, match=r"no route can make block 1.*Printed metal"):
        choices(job, pp.RateCard.default())


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: choices(pp.Job(KIT, "AlSi7Mg", [1, 2]), pp.RateCard.default()), "single numbers"),
        (lambda: choices(JOB, pp.RateCard.default(), routes=("forging",)), "forging"),
        (lambda: choices(JOB, pp.RateCard.default(), only={"wheel": PRINTED}), "wheel"),
        (lambda: choices(JOB, pp.RateCard.default(), PRINTED, only={"block 0": ("tooled_pattern",)}), "only must be"),
    ],
)
def test_odd_questions_are_refused(ask, said):
    with pytest.raises(InputError, match=said):
        ask()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"want": "glory"}, "want must be one of"),
        ({"deadline_days": -1}, "deadline_days"),
        ({"deadline_days": math.nan}, "deadline_days"),
        ({"price_of_day": "much"}, "price_of_day"),
        ({"limits": {"machine.anvil": 3}}, "no sub-kit uses"),
    ],
)
def test_odd_questions_to_the_choices_are_refused(small, more, said):
    with pytest.raises(InputError, match=said):
        small.best(**more)


# Speed ----------------------------------------------------------------------------------------------------


@pytest.mark.benchmark(min_rounds=3)
def test_speed_of_mixing_eight_nodes(benchmark):
    job, card = pp.Job(kit_of(20, 35, 60, 90, 140, 200, 280, 400), "AlSi7Mg", quantity=4), pp.RateCard.default()
    benchmark(lambda: choices(job, card).best(deadline_days=20))
    assert benchmark.stats.stats.min < 3.0  # the budget, with all four routes: 1020 sub-kits, planned and searched
