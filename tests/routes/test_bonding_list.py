"""Bonded sockets by route: the finishing list's sockets, the gap of the route, and one socket by hand."""

from dataclasses import replace

import numpy as np
import pytest

import pourprint as pp
from pourprint.process.finish.bonding import Lap, allowable_mpa
from pourprint.routes.bonding import bond_list, bond_work
from scenes import DEMO, PRINTED, demo_rates


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


def test_curing_at_the_coldest_service_leaves_no_thermal_stress(frame, plans):
    table = bond_list(frame, pp.frame_loads(frame), plans["printed_metal"], service_c=60.0)  # as warm as the cure
    assert table["of it cold [MPa]"].max() == pytest.approx(0)


def test_work_grows_with_sockets_and_isolation(plans):
    plan = plans["printed_metal"]
    sockets = sum(item.count * len(item.sockets) for item in plan.job.kit.parts)
    work = bond_work(plan.at(batch_size=1))
    assert work["proof_tests"] == sockets
    # By hand: set-up 1 h, five coupons of 0.2 h, each socket 0.15 h and its proof 0.1 h.
    assert work["hands_on_h"] == pytest.approx(1 + 5 * 0.2 + sockets * 0.25)
    assert bond_work(plan, "glass_cloth")["cost"] > bond_work(plan)["cost"]


def test_a_softer_tube_end_and_another_gap_change_the_line(frame, plans):
    loads, plan = pp.frame_loads(frame), plans["printed_metal"]
    wide = plan.at(rates=plan.rates.replace({"bonding.gap": 0.3}))
    peaks = [bond_list(frame, loads, p)["peak shear [MPa]"].max() for p in (wide, plan)]
    assert peaks[0] < peaks[1]
    legs = {k: replace(t, root_nm_rad=2000.0) for k, t in frame.tubes.items()}
    assert pp.frame_loads(replace(frame, tubes=legs)).drop_factor < loads.drop_factor
