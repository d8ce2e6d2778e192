"""Make or buy: orders by hand to the cent, what they replace, who bears a failure, and cards that buy."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.decide.carbon import footprint
from pourprint.decide.failures import again_here
from pourprint.decide.inputs import varied
from pourprint.ledger.entries import buying
from pourprint.ledger.errors import InputError
from pourprint.report.tables import buying_table
from pourprint.report.traveller import traveller
from pourprint.routes.bought import WARES
from scenes import DEMO, ROUTES, demo_kit, demo_rates, small_job

CENT = 0.005
ORDERS = [f"order and receive {ware.title}" for ware in WARES.values()]


def buying_rates():
    return pp.RateCard.load(DEMO / "rates_buying.toml")


def card_that_buys(ware, **offer):
    """The demo card with one thing bought, nothing charged but what is given."""
    entries = {key: entry for key, entry in buying().items() if key.startswith(f"buy.{ware}.")}
    card = replace(demo_rates(), entries={**demo_rates().entries, **entries})
    return card.replace({f"buy.{ware}.{key}": value for key, value in {"ordering": 0.0, **offer}.items()})


def order_of(plan):
    """The bought step of a plan, and its cost in the whole job."""
    (i,) = [i for i, step in enumerate(plan.steps) if step.name in ORDERS]
    return plan.steps[i], float(plan.step_costs[i])


# By hand ------------------------------------------------------------------------------------------------


def test_an_order_of_printed_metal_by_hand_to_the_cent():
    # 50 cm3 stand 60 × 40 mm, 6 cm2 of it held over 10 cm3 of supports: the foot is 15% of 24 cm2, 35% of what is
    # held is held from the part itself, a share of 0.3 of supports is metal, all is lifted 4 mm over the saw:
    # 50 + 0.3 · 10 + (3.6 + 0.3 · 3.9) · 0.4 = 54.908 cm3 a piece. Two batches of three pieces, each
    # 60 + 3 · 12 + 3 · 54.908 · 3.20 = 623.1168 EUR, and an hour of hands at 38 EUR: 1322.23 EUR.
    block = pp.Part.from_numbers("block", 50, 100, (60, 40, 30), overhang_cm2=6, support_cm3=10)
    as_drawn = buying_rates().replace({"printed_metal.turning": 0.0})
    _, cost = order_of(pp.plan("printed_metal", pp.Job(block, "AlSi7Mg", 6, 3), as_drawn))
    assert cost == pytest.approx(1322.23, abs=CENT)


@pytest.mark.parametrize("ware", WARES)
def test_many_volumes_at_once_are_ordered_like_each_alone(ware):
    """Three volumes too: as many as a box has edges, so that sums along the wrong axis would pass unseen."""
    card = card_that_buys(ware, per_order=7.0, per_part=1.0, per_litre=3.0, per_cm3=0.5)
    for volumes in ([30.0, 47.0, 80.0], [20.0, 30.0, 47.0, 80.0]):
        for plan in pp.plan_all(small_job(4, batch_size=2), card, WARES[ware].routes).values():
            alone = [varied(plan, {"volume_cm3": volume}).total_cost for volume in volumes]
            assert varied(plan, {"volume_cm3": np.array(volumes)}).total_cost == pytest.approx(alone), plan.route


def test_an_order_of_moulds_by_hand_to_the_cent():
    # By the litre of the sand blocks, three pieces in one order: 45 + 3 · 4 + 7.50 · L, but at least 180.
    from pourprint.routes.printed_mould import moulds_of

    job, rates = small_job(1), buying_rates()
    machined, block = (float(np.prod(one.block_mm)) / 1e6 for one in moulds_of(job, rates))
    own = 45.0 + 3 * 4.0 + 7.50 * (2 * machined + block)
    _, cost = order_of(pp.plan("printed_mould", job.with_(alloy="AlSi10Mg"), rates.making("heat_treatment")))
    assert cost == pytest.approx(max(own, 180.0) + 38.0, abs=CENT)


@settings(max_examples=25)
@given(st.integers(1, 40), st.integers(1, 12), st.floats(0, 900), st.floats(0, 60), st.floats(0, 0.5))
def test_each_batch_is_an_order_and_a_small_one_is_paid_as_the_least(quantity, batch, least, part, cm3):
    job = small_job(quantity, min(batch, quantity))
    rates = card_that_buys("machining", per_order=20.0, per_part=part, per_cm3=cm3, least_order=least)
    _, cost = order_of(pp.plan("printed_mould", job, rates))
    full, rest = divmod(quantity, min(batch, quantity))
    volume = 2 * 60 + 50
    orders = [min(batch, quantity)] * full + [rest] * (rest > 0)
    assert cost == pytest.approx(sum(max(least, 20 + 3 * n * part + volume * n * cm3) for n in orders))


def test_dies_are_ordered_once_a_job_and_one_for_each_part():
    rates = card_that_buys("die", per_order=100.0, per_part=2000.0)
    plans = [pp.plan("tooled_pattern", small_job(quantity, 1), rates) for quantity in (1, 7)]
    assert [order_of(plan)[1] for plan in plans] == pytest.approx([100 + 2 * 2000] * 2)
    assert [float(plan.one_off_cost - plans[0].one_off_cost) for plan in plans] == pytest.approx([0, 0])


def test_express_costs_a_factor_and_takes_its_own_days():
    usual = card_that_buys("machining", per_order=100.0, calendar_days=4.0, working_days=5.0, express_factor=1.5,
                           express_days=2.0)  # fmt: skip
    for express, cost, days in ((0.0, 100.0, 4 + 7), (1.0, 150.0, 2)):
        step, found = order_of(pp.plan("printed_mould", small_job(), usual.replace({"buy.machining.express": express})))
        assert found == pytest.approx(cost) and step.work[0].wait_h == pytest.approx(24 * days)


def test_a_suppliers_five_days_are_a_week_whatever_days_the_lab_opens():
    card = card_that_buys("machining", per_order=100.0, working_days=5.0)
    few = replace(card, hours=replace(card.hours, days=("Tue", "Thu")))
    assert [order_of(pp.plan("printed_mould", small_job(), one))[0].work[0].wait_h for one in (card, few)] == [168, 168]


def test_express_without_days_of_its_own_saves_none():
    card = card_that_buys("machining", per_order=100.0, calendar_days=14.0, express=1.0)
    assert order_of(pp.plan("printed_mould", small_job(), card))[0].work[0].wait_h == 24 * 14


def test_express_changes_what_is_paid_and_not_what_is_ordered():
    offer = {"per_order": 60.0, "per_part": 10.0, "express_factor": 1.6}
    card = card_that_buys("machining", **offer, express=1.0)
    plan = pp.plan("printed_mould", pp.Job(demo_kit(), "AlSi7Mg", 4, start="2027-01-11T08:00"), card)
    bought = buying_table(plan, again_here(plan))
    orders, parts = (bought.loc[f"{what} (buy machining)"] for what in ("per order", "per part"))
    assert orders["amount"] == pytest.approx(1) and parts["amount"] == pytest.approx(60)
    assert parts[f"cost [{card.currency}]"] == pytest.approx(60 * 10 * 1.6)
    sheet = traveller(plan).set_index("step")["materials used up"]
    assert "60 parts" in sheet["order and receive machining"]


def test_the_panels_of_routes_ask_for_what_is_made_here_whatever_the_card_buys():
    buying, job = pp.RateCard.load(DEMO / "rates_buying.toml"), pp.Job(demo_kit(), "AlSi7Mg", 4)
    for made in (
        lambda card: pp.panels.mould_panel(demo_kit(), card, 4),
        lambda card: pp.panels.metal_panel(job, card),
    ):
        ours, theirs = made(buying), made(buying.making())
        assert (ours.answer.value, ours.bars.value, ours.table.value) == (
            theirs.answer.value, theirs.bars.value, theirs.table.value
        )  # fmt: skip


# What an order replaces ---------------------------------------------------------------------------------


@pytest.mark.parametrize("ware", WARES)
def test_an_order_stands_for_its_steps_in_each_of_its_routes_and_the_rest_stays(ware):
    job = pp.Job(demo_kit(), "AlSi7Mg", 2)
    for route in ROUTES:
        made, bought = pp.plan(route, job, demo_rates()), pp.plan(route, job, card_that_buys(ware))
        names, kept = ([step.name for step in plan.steps] for plan in (made, bought))
        gone = [name for name in names if name in WARES[ware].steps]
        if route in WARES[ware].routes and gone:
            order, _ = order_of(bought)
            assert [name for name in kept if name != order.name] == [name for name in names if name not in gone]
            assert all(step.returns_to not in gone for step in bought.steps)
        elif route not in WARES[ware].routes:
            assert kept == names and bought.total_cost == pytest.approx(made.total_cost)


def test_every_step_that_an_order_may_stand_for_is_there_in_some_route():
    names = {
        step.name
        for alloy in ("AlSi7Mg", "Ti-6Al-4V")
        for plan in pp.plan_all(pp.Job(demo_kit(), alloy), demo_rates()).values()
        if plan.feasible
        for step in plan.steps
    }
    assert {name for ware in WARES.values() for name in ware.steps} <= names


@pytest.mark.parametrize("bears", [0.0, 1.0])
def test_who_bears_a_failed_one_pays_for_it(bears):
    rates = card_that_buys("printed_metal", per_part=100.0, supplier_bears=bears)
    plan = pp.plan("printed_metal", small_job(2), rates)
    order, _ = order_of(plan)
    made = pp.plan("printed_metal", small_job(2), demo_rates())
    own = next(step.first_pass_yield for step in made.steps if step.name == "print on the plate")
    assert order.first_pass_yield == pytest.approx(1.0 if bears else own)
    expected = pp.rework(plan)
    assert (expected.rework_cost.get(order.name, 0.0) > 0) == (not bears)
    runs = pp.simulate(plan, n=4000, seed=3, inputs=None, time_spread=0.0)
    assert runs.cost.mean() == pytest.approx(expected.cost, abs=4 * expected.cost_sd / np.sqrt(4000))


# Cards --------------------------------------------------------------------------------------------------


def test_a_lab_that_buys_gets_a_full_comparison_and_may_make_each_thing_itself():
    job, rates = pp.Job(demo_kit(), "AlSi7Mg", 4), buying_rates()
    plans = pp.plan_all(job, rates)
    assert all(plan.feasible for plan in plans.values()) and len(pp.rank(plans)) == len(ROUTES)
    machines = {key for plan in plans.values() for row in plan.amounts for key in row}
    assert not {"machine.sand_printer", "machine.metal_printer", "machine.heat_treatment_furnace"} & machines
    own = pp.plan_all(job, rates.making())
    like = pp.plan_all(job, demo_rates())
    assert [plan.total_cost for plan in own.values()] == pytest.approx([plan.total_cost for plan in like.values()])
    some = rates.making("relieved_metal")
    assert some.bought == ("printed_mould", "heat_treatment")
    assert footprint(plans["printed_mould"], n=50).total_kg[1] < footprint(own["printed_mould"], n=50).total_kg[1]


def test_a_plan_follows_the_card_when_it_is_asked_again_and_over_arrays():
    plan = pp.plan("printed_mould", small_job(4), buying_rates())
    prices = np.array([5.0, 50.0])
    many = plan.at(rates=plan.rates.replace({"buy.printed_mould.per_litre": prices}))
    alone = [plan.at(rates=plan.rates.replace({"buy.printed_mould.per_litre": p})).total_cost for p in prices]
    assert many.total_cost == pytest.approx(alone) and alone[1] > alone[0]
    assert plan.at(quantity=np.arange(1, 9)).total_cost[3] == pytest.approx(plan.total_cost)


def test_a_card_that_buys_is_saved_and_loaded_again(tmp_path):
    card = buying_rates().replace({"buy.printed_mould.per_litre": 8.25})
    card.save(tmp_path / "card.toml")
    again = pp.RateCard.load(tmp_path / "card.toml")
    assert again["buy.printed_mould.per_litre"] == 8.25 and again.bought == card.bought


def test_faults_of_offers_are_named(tmp_path):
    text = (DEMO / "rates_buying.toml").read_text()
    text = text.replace("[buy.printed_mould]", "[buy.printed_mold]").replace(
        'unit = "currency/cm3"', 'unit = "EUR/L"', 1
    )
    (tmp_path / "card.toml").write_text(text)
    with pytest.raises(InputError, match=r"buy.printed_mold.per_order is not a known key.*printed_mould") as error:
        pp.RateCard.load(tmp_path / "card.toml")
    assert 'buy.relieved_metal.per_cm3.unit must be "EUR/cm3"' in str(error.value)
    (tmp_path / "card.toml").write_text((DEMO / "rates.toml").read_text() + "\n[buy]\nmoulds = 3\n")
    with pytest.raises(InputError, match="moulds is not a known"):
        pp.RateCard.load(tmp_path / "card.toml")


def test_a_part_that_a_machinist_spoils_costs_its_casting_whoever_bears_the_machining():
    job, spoilt = pp.Job(demo_kit(), "AlSi7Mg", 4), {}
    for bears in (0.0, 1.0):
        plan = pp.plan("printed_mould", job, card_that_buys("machining", per_part=10.0, supplier_bears=bears))
        spoilt[bears] = pp.rework(plan).rework_cost["order and receive machining"]
    own = pp.rework(pp.plan("printed_mould", job, demo_rates())).rework_cost["machine bores, faces and tight sockets"]
    assert spoilt[0.0] == pytest.approx(spoilt[1.0]) and spoilt[0.0] == pytest.approx(own, rel=0.15)


@pytest.mark.parametrize(("alloy", "small"), [("AlSi7Mg", "relieved_metal"), ("17-4PH", "heat_treatment")])
def test_of_two_offers_for_one_thing_the_larger_is_ordered_whatever_the_cards_order(alloy, small):
    one, other = (card_that_buys(name, per_part=20.0) for name in ("finished_metal", small))
    large = pp.plan("printed_metal", pp.Job(demo_kit(), alloy, 4), one).total_cost
    for first, second in ((one, other), (other, one)):
        both = replace(demo_rates(), entries={**first.entries, **second.entries})
        assert pp.plan("printed_metal", pp.Job(demo_kit(), alloy, 4), both).total_cost == pytest.approx(large)
