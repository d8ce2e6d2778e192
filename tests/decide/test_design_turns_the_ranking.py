"""What the designer changes turns what the lab is told: a gap, a fit, a wall, a load case, each by one value found."""

from dataclasses import replace

import pytest

import pourprint as pp
from pourprint.process.strength.lighten import Task, lighten, solid_of
from scenes import DEMO, PRINTED, demo_kit, demo_rates


@pytest.fixture(scope="module")
def frame():
    return pp.Frame.load(DEMO / "rover_frame.toml")


def planned(kit, quantity, rates=None):
    return pp.plan_all(pp.Job(kit, "AlSi7Mg", quantity), rates or demo_rates(), PRINTED)


def soonest(plans):
    return min(plans, key=lambda route: plans[route].lead_time_days)


def costs(plans):
    return {route: float(plan.unit_cost) for route, plan in plans.items()}


def left_as_made(plan, feature):
    table = pp.finishing_list(plan)
    return int((table["how"][table["feature"].str.startswith(feature)] == "as made").sum())


def test_a_thinner_line_sends_cast_sockets_to_the_machine_and_the_mould_is_the_soonest():
    """Twenty kits: at 0.2 mm the printed pattern is ready first; at 0.15 mm its sockets are bored and the mould is.

    Both lie within the 0.1 to 0.5 mm that the ledger has for the gap; the cheapest does not turn within them.
    """
    usual, thin = (planned(demo_kit(), 20, demo_rates().replace({"bonding.gap": gap})) for gap in (0.2, 0.15))
    assert left_as_made(usual["printed_pattern"], "socket") > left_as_made(thin["printed_pattern"], "socket") == 0
    assert costs(thin)["printed_pattern"] > 1.2 * costs(usual)["printed_pattern"]
    assert costs(thin)["printed_metal"] == pytest.approx(costs(usual)["printed_metal"])
    assert (soonest(usual), soonest(thin)) == ("printed_pattern", "printed_mould")
    entry = demo_rates().entries["bonding.gap"]
    for gap in (entry.low, 0.15, 0.2, entry.high):
        found = costs(planned(demo_kit(), 20, demo_rates().replace({"bonding.gap": gap})))
        assert min(found, key=found.get) == "printed_pattern"


def test_a_wide_gap_leaves_sands_sockets_as_cast():
    usual, wide = (planned(demo_kit(), 10, demo_rates().replace({"bonding.gap": gap})) for gap in (0.2, 0.6))
    assert left_as_made(usual["printed_mould"], "socket") == 0 < left_as_made(wide["printed_mould"], "socket")
    assert costs(wide)["printed_mould"] < costs(usual)["printed_mould"]


def test_a_coarse_fit_is_left_as_printed_and_metal_is_the_soonest():
    """Thirty times six axle carriers: H13 is wider than what the metal printer keeps, and narrower than castings."""
    item = next(entry for entry in demo_kit().parts if entry.part.name == "axle_carrier")
    coarse = replace(item, bores=tuple(replace(bore, fit="H13") for bore in item.bores))
    fine, loose = (planned(pp.Kit("carriers", (entry,)), 30) for entry in (item, coarse))
    assert [left_as_made(plans["printed_metal"], "bore") for plans in (fine, loose)] == [0, 2]
    assert left_as_made(loose["printed_pattern"], "bore") == left_as_made(loose["printed_mould"], "bore") == 0
    assert costs(loose)["printed_metal"] < costs(fine)["printed_metal"]
    assert (soonest(fine), soonest(loose)) == ("printed_mould", "printed_metal")


def test_a_thicker_wall_costs_metal_its_lead(frame):
    """Three kits: walls a quarter thicker, the frame's own, and printed metal is no longer the first to be ready."""
    thick = replace(
        frame, points={name: replace(point, wall_mm=1.25 * point.wall_mm) for name, point in frame.points.items()}
    )
    plain, heavy = (planned(one.kit(), 3) for one in (frame, thick))
    assert all(costs(heavy)[route] > costs(plain)[route] for route in PRINTED)
    assert (soonest(plain), soonest(heavy)) == ("printed_metal", "printed_mould")


def test_another_load_case_gives_another_node_and_another_price(frame):
    """Dropped from 300 mm instead of 30 the loads grow; braked hard their mix changes, and with it shape and cost."""
    hard = replace(frame, cases=replace(frame.cases, blocked_g=3.0, side_g=1.5))
    nodes = []
    for one in (frame, hard):
        task = Task.of(one, pp.frame_loads(one), "rocker_pivot")
        *_, stage = lighten(task, share=0.75, cell_mm=4.0, iterations=8)
        nodes.append(solid_of(task, stage))
    kits = [pp.with_part(demo_kit(), node, "rocker_pivot") for node in nodes]
    ours, theirs = (costs(planned(kit, 4)) for kit in kits)
    assert ours["printed_metal"] != pytest.approx(theirs["printed_metal"], rel=1e-4)
