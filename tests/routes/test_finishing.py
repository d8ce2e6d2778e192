"""The finishing list: the plan's own machining told feature by feature, and what leaving it would risk."""

import numpy as np
import pytest

import pourprint as pp
from pourprint.routes.finishing import finishing_list, share_outside
from scenes import PRINTED, demo_kit, demo_rates


@pytest.fixture(scope="module")
def plans():
    return pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", 3), demo_rates())


@pytest.mark.parametrize("route", PRINTED)
def test_the_list_adds_up_to_the_plans_step(plans, route):
    """Hours of all features times pieces, and the set-up a batch, are the plan's own."""
    plan = plans[route]
    table, steps = finishing_list(plan), plan.table()
    step = steps[steps["step"].str.startswith("machine")].iloc[0]
    setup = plan.rates["machining.setup_batch"]
    assert 3 * (table["count"] * table["hours [h]"]).sum() + setup == pytest.approx(step["hands_on_h"], rel=1e-9)
    rate = step["cost"] / step["hands_on_h"]
    assert (table[f"cost [{plan.rates.currency}]"] / table["hours [h]"]).dropna().to_numpy() == pytest.approx(rate)


def test_raw_bore_by_hand(plans):
    """28 N7 in grade 5: F − 2·RMA − CT/2 = 28 − 1.4 − 0.23 (ISO 8062-3, from memory)."""
    table = finishing_list(plans["printed_pattern"])
    assert table.loc["rocker_pivot", "raw [mm]"].iloc[0] == pytest.approx(26.37)
    assert table.loc["rocker_pivot", "stock a side [mm]"].iloc[0] == pytest.approx((28 - 26.37) / 2)


def test_a_socket_is_machined_to_the_tube_and_its_gap(plans):
    """By hand: F − 2·RMA − CT/2 − 2·shift, F the tube and two gaps, CT 1.8 mm (ISO 8062-3, DCTG 9, 25 to 40 mm)."""
    table, rates = finishing_list(plans["printed_mould"]).loc["rocker_pivot"], plans["printed_mould"].rates
    socket = table[table["feature"] == "socket 30"].iloc[0]
    a_side = rates["printed_mould.machining_stock"] + 1.8 / 4 + rates["printed_mould.core_clearance"]
    assert socket["stock a side [mm]"] == pytest.approx(a_side)
    assert socket["raw [mm]"] == pytest.approx(30 + 2 * rates["bonding.gap"] - 2 * a_side)


def test_a_printed_mould_must_machine_its_sockets(plans):
    """Grade 9: −0.275 mm of gap at worst on 25 to 40 mm (exact, from ISO 8062-3): the tube may not go in."""
    how = {route: finishing_list(plans[route]) for route in PRINTED}
    sockets = {route: table[table["feature"].str.startswith("socket")] for route, table in how.items()}
    assert (sockets["printed_mould"]["how"] == "machined").all()
    assert (sockets["printed_metal"]["how"] == "as made").all()
    left = {route: table["outside if left [-]"].max() for route, table in sockets.items()}
    assert left["printed_metal"] < left["printed_pattern"] < left["printed_mould"]


def test_share_outside_against_drawn_pieces():
    rng = np.random.default_rng(1)
    made = rng.normal(0.05, 0.46 / 6, 400_000)
    assert share_outside(0.2, 0.46, 0.05) == pytest.approx(np.mean(np.abs(made) > 0.1), abs=3e-3)
    assert share_outside(0.46, 0.46) == pytest.approx(0.0027, abs=1e-4)  # ± 3 σ


def test_a_job_of_one_face_by_hand():
    # One feature of 0.05 h, 6 cm2 of 0.7 mm stock = 0.42 cm3 at 60 cm3/h, 0.08 h of clamping; the set-up once a batch.
    part = pp.KitPart(pp.Part.from_numbers("plate", 60, 210, (90, 70, 60)), faces=(pp.Face(6.0),))
    plan = pp.plan("printed_pattern", pp.Job(pp.Kit("one", (part,)), "AlSi7Mg", 3), pp.RateCard.default())
    row = plan.table().set_index("step").loc["machine bores, faces and tight sockets"]
    assert row["hands_on_h"] == pytest.approx(plan.rates["machining.setup_batch"] + 3 * (0.05 + 0.42 / 60 + 0.08))


@pytest.mark.parametrize(("made_mm", "how"), [(0.021, "as made"), (0.0211, "machined")])
def test_a_bore_is_left_where_the_route_just_keeps_its_fit(made_mm, how):
    """By hand: 28 N7 may vary by IT7 = 21 µm (ISO 286-1, from memory); what is made within 21 µm needs no cut."""
    part = pp.KitPart(pp.Part.from_numbers("hub", 60, 210, (90, 70, 60)), bores=(pp.Bore(28.0, 20.0, "N7"),))
    card = pp.RateCard.default().replace(
        {"printed_metal.socket_tolerance": made_mm, "printed_metal.size_tolerance": 0.0}
    )
    plan = pp.plan("printed_metal", pp.Job(pp.Kit("one", (part,)), "AlSi7Mg"), card)
    row = finishing_list(plan).iloc[0]
    assert row["how"] == how and (row["hours [h]"] > 0) == (how == "machined")
    assert ("machine bores, faces and tight sockets" in set(plan.table()["step"])) == (how == "machined")


def test_a_bore_left_as_made_is_aimed_at_the_middle_of_its_band():
    """By hand: 28 H12 may be 0 to 210 µm larger (ISO 286-1, from memory); aimed at 28 half are too narrow."""
    part = pp.KitPart(pp.Part.from_numbers("hub", 60, 210, (90, 70, 60)), bores=(pp.Bore(28.0, 20.0, "H12"),))
    plan = pp.plan("printed_metal", pp.Job(pp.Kit("one", (part,)), "AlSi7Mg"), pp.RateCard.default())
    row = finishing_list(plan).iloc[0]
    assert (row["how"], row["raw [mm]"], row["stock a side [mm]"]) == ("as made", pytest.approx(28.105), 0)


def test_a_socket_takes_the_tolerance_of_its_hole_not_of_its_tube():
    """DCTG 5 widens above 63 mm, to 0.56 (ISO 8062-3): a hole of 63.4 mm for a tube of 63 leaves a gap of
    0.2 − 0.66/4 = 0.035 at worst, less than the adhesive needs."""
    part = pp.KitPart(pp.Part.from_numbers("hub", 300, 900, (90, 90, 90)), sockets=(pp.Socket(63.0, 40.0),))
    plan = pp.plan("printed_pattern", pp.Job(pp.Kit("one", (part,)), "AlSi7Mg"), pp.RateCard.default())
    assert finishing_list(plan).iloc[0]["how"] == "machined"


@pytest.mark.parametrize(("route", "bore_mm"), [("printed_mould", 8.0), ("printed_pattern", 5.0)])
def test_a_hole_that_would_be_narrower_than_what_the_route_keeps_open_is_cast_shut(route, bore_mm):
    part = pp.KitPart(pp.Part.from_numbers("hub", 60, 210, (90, 70, 60)), bores=(pp.Bore(bore_mm, 20.0, "N7"),))
    plan = pp.plan(route, pp.Job(pp.Kit("one", (part,)), "AlSi7Mg"), pp.RateCard.default())
    row = finishing_list(plan).iloc[0]
    assert (row["raw [mm]"], row["stock a side [mm]"]) == (0, bore_mm / 2)
