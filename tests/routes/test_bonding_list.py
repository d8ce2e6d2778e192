"""Bonded sockets by route: the finishing list's sockets, the gap of the route, and one socket by hand."""

from dataclasses import replace

import numpy as np
import pytest

import pourprint as pp
from pourprint.ledger.errors import InputError
from pourprint.process.finish.bonding import Lap, allowable_mpa
from pourprint.routes.bonding import bond_list, bond_materials
from pourprint.routes.common import machining_of
from pourprint.routes.finishing import finishing_list
from scenes import DEMO, PRINTED, demo_kit, demo_rates


@pytest.fixture(scope="module")
def frame():
    return pp.Frame.load(DEMO / "rover_frame.toml")


@pytest.fixture(scope="module")
def plans(frame):
    return pp.plan_all(pp.Job(frame.kit(segments=32), "AlSi7Mg", 2), demo_rates())


def test_every_socket_is_listed_once(frame, plans):
    loads = pp.frame_loads(frame)
    tables = {route: bond_list(frame, loads, plans[route]) for route in PRINTED}
    for table in tables.values():
        assert len(table) == sum(len(item.sockets) for item in plans["printed_metal"].job.kit.parts)
        assert (table["usual least [mm]"] > table["least gap [mm]"]).all()
    # Sand's sockets are bored, so that its line is the most even; the shell's is the least.
    least = {route: table["least gap [mm]"].min() for route, table in tables.items()}
    assert least["printed_pattern"] < least["printed_metal"] < least["printed_mould"]


def test_one_socket_by_hand(frame, plans):
    """The front leg in the rocker of printed metal: gap 0.2 − (0.2 + 0.1)/4, pull and bending from the drop."""
    loads = pp.frame_loads(frame)
    row = bond_list(frame, loads, plans["printed_metal"]).loc[("rocker_pivot", "front_leg_left")]
    force, moment = (part[:, -1] for part in loads.ends["front_leg_left", "rocker_left"])
    axis = np.array([0.94, 0.0, -0.34]) / np.hypot(0.94, 0.34)
    pull = abs(force @ axis) + 2 * np.linalg.norm(moment - axis * (moment @ axis)) / 14.0
    assert row["equal pull [N]"] == pytest.approx(pull)
    lap = Lap(30, 2, 70, 1.1, 4.0, 72, 21.5, 40, 0.125)
    assert row["peak shear [MPa]"] == pytest.approx(float(lap.worst_shear_mpa(pull, -80.0)))
    assert row["mean over allowed [-]"] == pytest.approx(pull / (2 * np.pi * 15.0625 * 40) / allowable_mpa())


def test_cold_loads_a_bond_in_proportion_and_near_its_cure_no_number_is_told(frame, plans):
    """The line is elastic: 20 K below the cure of 60 °C a quarter of what 80 K below does."""
    loads, plan = pp.frame_loads(frame), plans["printed_metal"]
    cool, cold = (bond_list(frame, loads, plan, c)["of it cold [MPa]"] for c in (40.0, -20.0))
    assert cool.to_numpy() == pytest.approx(cold.to_numpy() / 4) and cold.min() > 0
    with pytest.raises(InputError, match=r"service_c=60\.0 must be at most 40 °C"):
        bond_list(frame, loads, plan, service_c=60.0)


def test_a_layer_of_cloth_asks_for_a_wider_hole_than_adhesive_alone(plans):
    """Shells of grade 5: a gap of 0.2 mm less (0.5 + 0.1)/4 holds 0.05 mm of adhesive, not 0.1 mm of cloth besides."""
    cloth = plans["printed_pattern"].at(isolation="glass_cloth")
    before, after = (
        [work.cut for work in machining_of(p.job, p.rates, p.route)] for p in (plans["printed_pattern"], cloth)
    )
    bores = [len(item.bores) for item in cloth.job.kit.parts]
    assert not any(cut[n:].any() for cut, n in zip(before, bores, strict=True))
    assert all(cut[n:].all() for cut, n in zip(after, bores, strict=True))
    assert set(finishing_list(cloth).query("feature.str.startswith('socket')")["how"]) == {"machined"}


def test_anodising_is_for_light_metals_and_takes_its_days(plans):
    bonded = plans["printed_metal"].at(isolation="anodised")
    assert bonded.elapsed_h - plans["printed_metal"].elapsed_h > 120
    with pytest.raises(InputError, match="isolation='anodised' is for light metals, not Ti-6Al-4V"):
        pp.Job(demo_kit(), "Ti-6Al-4V", isolation="anodised")


def test_what_is_bought_by_hand(plans):
    """Sockets of a kit: Σ π d l · 0.2 mm of line, 1.2 g/cm³, three times as much mixed, 60 a kg; beads 0.2 a socket."""
    plan = plans["printed_metal"]
    sockets = [s for item in plan.job.kit.parts for s in item.sockets for _ in range(item.count)]
    line_cm3 = sum(np.pi * s.diameter_mm * s.depth_mm for s in sockets) * 0.2 / 1000
    assert bond_materials(plan.at(batch_size=1)) == pytest.approx(line_cm3 * 1.2 * 3 * 0.06 + 0.2 * len(sockets))
    assert bond_materials(plan.at(batch_size=2)) == pytest.approx(2 * bond_materials(plan.at(batch_size=1)))
    assert bond_materials(plan.at(isolation="glass_cloth")) > bond_materials(plan)


def test_a_softer_tube_end_and_another_gap_change_the_line(frame, plans):
    loads, plan = pp.frame_loads(frame), plans["printed_metal"]
    wide = plan.at(rates=plan.rates.replace({"bonding.gap": 0.3}))
    peaks = [bond_list(frame, loads, p)["peak shear [MPa]"].max() for p in (wide, plan)]
    assert peaks[0] < peaks[1]
    legs = {k: replace(t, root_nm_rad=2000.0) for k, t in frame.tubes.items()}
    assert pp.frame_loads(replace(frame, tubes=legs)).drop_factor < loads.drop_factor


def test_a_job_that_asks_for_bonds_has_their_hours_cure_and_proof_in_its_plan():
    """By hand for two kits at once: 2 × (1 h + 0.15 h a socket), 4 h of cure, 5 × 0.2 h of coupons and 0.1 h of proof
    load a socket; the same by every route, and in cost the hours of a technician alone."""
    sockets = 2 * sum(item.count * len(item.sockets) for item in demo_kit().parts)
    hours = 2 * 1 + sockets * 0.15 + 1 + sockets * 0.1
    for route in PRINTED:
        bare, bonded = (
            pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 2, isolation=isolation), demo_rates())
            for isolation in ("", "filled_line")
        )
        assert [step.name for step in bonded.steps[: len(bare.steps)]] == [step.name for step in bare.steps]
        assert bonded.table()["step"].iloc[-2:].str.contains("bond|coupons").all()
        assert bonded.hands_on_h - bare.hands_on_h == pytest.approx(hours)
        assert bonded.total_cost - bare.total_cost == pytest.approx(hours * demo_rates()["labour.technician"])
        assert bonded.elapsed_h - bare.elapsed_h >= hours + 4.0 - 1e-9


def test_bonds_follow_batches_and_nothing_is_bonded_without_a_socket():
    plan = pp.plan("printed_metal", pp.Job(demo_kit(), "AlSi7Mg", [1, 3], isolation="anodised"), demo_rates())
    assert np.shape(plan.unit_cost) == (2,)
    block = pp.Part.from_numbers("block", 50, 100, (50, 40, 30))
    costs = [pp.plan("printed_metal", pp.Job(block, "AlSi7Mg", isolation=i)).total_cost for i in ("", "filled_line")]
    assert costs[0] == costs[1]
    with pytest.raises(InputError, match="isolation='tape' must be empty or one of filled_line"):
        pp.Job(block, "AlSi7Mg", isolation="tape")
