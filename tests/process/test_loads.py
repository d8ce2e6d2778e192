"""Loads of a frame: every node in balance, the ground carries the weight, one frame by hand, mechanisms by name."""

from dataclasses import replace

import numpy as np
import pytest

from pourprint.ledger.errors import InputError
from pourprint.parts.frame import Cases, Frame, FrameTube, Point, Wheel
from pourprint.process.strength.loads import GRAVITY, frame_loads
from scenes import DEMO


@pytest.fixture(scope="module")
def rover():
    return Frame.load(DEMO / "rover_frame.toml")


@pytest.fixture(scope="module")
def loads(rover):
    return frame_loads(rover)


def tube_kg(frame, point):
    found = 0.0
    for tube in frame.tubes.values():
        if point in tube.between:
            area = np.pi * tube.wall_mm * (tube.thin_mm - tube.wall_mm)
            length = np.linalg.norm(np.subtract(*(frame.points[p].at for p in tube.between)))
            found += area * length * frame.tubing[tube.tubing]["density"].value / 2e6
    return found


def pulls(frame, loads):
    """Acceleration (3, cases) of every mass [m/s2]."""
    a, b = np.radians([frame.cases.slope_along_deg, frame.cases.slope_across_deg])
    known = {
        "slope_along": (-np.sin(a), 0, -np.cos(a)),
        "slope_across": (0, -np.sin(b), -np.cos(b)),
        "side": (0, frame.cases.side_g, -1),
        "blocked": (frame.cases.blocked_g, 0, -1),
        "drop": (0, 0, -loads.drop_factor),
    }
    return GRAVITY * np.array([known.get(case, (0, 0, -1)) for case in loads.cases]).T


@pytest.mark.parametrize("point", ["mast_foot", "bogie_left", "rack_end_left", "spreader_left", "mast_top"])
def test_every_node_is_in_balance(rover, loads, point):
    mouths = rover.mouths_mm(point)
    weight = (rover.points[point].mass_kg + tube_kg(rover, point)) * pulls(rover, loads)
    force, moment, size = weight.copy(), 0, 0
    for tube in rover.tubes.values():
        if point in tube.between:
            f, m = loads.ends[tube.name, point]
            arm = rover.direction(tube, point) * mouths.get(tube.name, 0.0)
            force, moment = force + f, moment + m + np.cross(arm, f.T).T
            size = max(size, np.abs(m).max())
    assert np.abs(force).max() < 1e-6 * np.abs(weight).max()
    assert np.abs(moment).max() < 1e-6 * max(size, 1e3)


def test_the_ground_carries_the_weight(rover, loads):
    """All wheels' forces add up to the mass times its pull, in every case."""
    mass = sum(p.mass_kg + tube_kg(rover, name) for name, p in rover.points.items())
    ground = 0
    for wheel in rover.wheels:
        f = sum(loads.ends[t.name, wheel.point][0] for t in rover.tubes.values() if wheel.point in t.between)
        ground = ground - f - (rover.points[wheel.point].mass_kg + tube_kg(rover, wheel.point)) * pulls(rover, loads)
    assert ground == pytest.approx(-mass * pulls(rover, loads), abs=1e-6 * mass * GRAVITY)


def test_a_wheel_in_the_air_carries_nothing(rover, loads):
    i = loads.cases.index("off_axle_middle_left")
    force, _ = loads.ends["bogie_front_left", "axle_middle_left"]
    weight = 1.5 + tube_kg(rover, "axle_middle_left")
    assert force[:, i] == pytest.approx([0, 0, weight * GRAVITY], abs=1e-6)  # the tube carries the axle's own mass


def test_shafts_and_forks_turn_in_their_bores_and_rest_against_stops_with_a_wheel_in_the_air(rover, loads):
    axis = np.array([0.0, 1.0, 0.0])
    air = np.array([case.startswith("off_") for case in loads.cases])
    for tube, point in (("rear_leg_left", "bogie_left"), ("rocker_shaft_left", "rocker_left")):
        _, moment = loads.ends[tube, point]
        assert np.abs(axis @ moment)[~air].max() < 1e-6 * np.abs(moment).max()
        assert np.abs(axis @ moment)[air].max() > 1e-2 * np.abs(moment).max()


def cart(cases):
    """A beam of two tubes on two axles with a pair of wheels each, a mass in the middle."""
    points = {
        "rear": Point("rear", (-400.0, 0.0, 0.0)),
        "middle": Point("middle", (0.0, 0.0, 0.0), mass_kg=10.0),
        "front": Point("front", (400.0, 0.0, 0.0)),
    }
    tubes = {
        "a": FrameTube("a", ("rear", "middle"), "carbon", 30.0, 2.0),
        "b": FrameTube("b", ("middle", "front"), "carbon", 30.0, 2.0),
    }
    wheels = [Wheel(end, side, 50.0, 20.0) for end in ("rear", "front") for side in (-100.0, 100.0)]
    tubing = Frame.load(DEMO / "rover_frame.toml").tubing
    return Frame("cart", points, tubes, tubing, tuple(wheels), cases=cases)


def test_a_cart_by_hand():
    """Held along x in front alone (blocked, without braking), the cart is a beam on two supports: M = P L / 4."""
    frame = cart(Cases(drop_mm=20.0, blocked_g=0.0))
    found = frame_loads(frame)
    i = found.cases.index("blocked")
    load = (10.0 + tube_kg(frame, "middle")) * GRAVITY
    mouth = frame.mouths_mm("middle")["a"]
    _, moment = found.ends["a", "middle"]
    # At the socket's mouth, a little out of the middle: P/2 times the way to the axle.
    assert np.abs(moment[1, i]) == pytest.approx(load / 2 * (400 - mouth), rel=1e-6)
    # Each of four tyres of 20 N/mm carries a quarter of the whole weight; the beam's own sag comes on top.
    whole = 10.0 + 2 * tube_kg(frame, "rear") + tube_kg(frame, "middle")
    assert found.displacements["rear"][2, i] == pytest.approx(-whole * GRAVITY / 80, rel=1e-6)
    # In the middle the tubes' sag comes on top: two cantilevers from the mouths, bending and shear (exact).
    free, tube = 400 - mouth, frame.tubes["a"]
    inertia = np.pi / 64 * (30**4 - 26**4)
    shear = 0.5 * 15e3 * np.pi / 4 * (30**2 - 26**2)
    sag = load / 2 * (free**3 / (3 * 70e3 * inertia) + free / shear)
    assert tube.wall_mm == 2.0
    assert found.displacements["middle"][2, i] == pytest.approx(-whole * GRAVITY / 80 - sag, rel=1e-6)


def test_the_drop_multiplies_standing_by_the_textbooks_factor():
    """Energy of a falling mass on a spring: 1 + √(1 + 2h/δ); dropped from no height, twice the static (textbooks)."""
    assert frame_loads(cart(Cases(drop_mm=0.0))).drop_factor == pytest.approx(2.0)
    frame = cart(Cases(drop_mm=20.0))
    found = frame_loads(frame)
    mass = {name: p.mass_kg + tube_kg(frame, name) for name, p in frame.points.items()}
    settled = -sum(m * found.displacements[name][2, 0] for name, m in mass.items()) / sum(mass.values())
    assert found.drop_factor == pytest.approx(1 + np.sqrt(1 + 2 * 20 / settled), rel=1e-9)
    force = found.ends["a", "middle"][0]
    assert force[:, -1] == pytest.approx(found.drop_factor * force[:, 0])


def test_a_sprung_socket_softens():
    frame = cart(Cases(blocked_g=0.0))
    soft = replace(frame, tubes={k: replace(t, root_nm_rad=500.0) for k, t in frame.tubes.items()})
    i = frame_loads(frame).cases.index("blocked")
    stiff, sprung = (frame_loads(f).displacements["middle"][2, i] for f in (frame, soft))
    load = (10.0 + tube_kg(frame, "middle")) * GRAVITY
    # Exact: the joint at the middle turns by M/k on each side, and the axles' joints by nothing (no moment there).
    mouth = frame.mouths_mm("middle")["a"]
    extra = load / 2 * (400 - mouth) / 500e3 * (400 - mouth)
    assert stiff - sprung == pytest.approx(extra, rel=1e-6)


def test_at_kind_turns_loads_into_the_first_nodes_axes(rover, loads):
    kind = next(k for k in rover.node_kinds if k.name == "bogie_pivot")
    labels, at = loads.at_kind(kind)
    assert len(labels) == 2 * len(loads.cases)
    leg = rover.direction(rover.tubes["bogie_back_left"], "bogie_left")
    right = rover.direction(rover.tubes["bogie_back_right"], "bogie_right")
    i = labels.index(("bogie_right", "drop"))
    force = loads.ends["bogie_back_right", "bogie_right"][0][:, -1]
    assert at["bogie_back_left"][0][:, i] @ leg == pytest.approx(force @ right)


def test_a_mechanism_is_refused_by_the_name_of_the_joint(rover):
    loose = replace(rover, differential=None, wheels=tuple(w for w in rover.wheels if "front" not in w.point))
    with pytest.raises(InputError, match=r"rocker_shaft_(left|right) turns freely at point rocker_(left|right)"):
        frame_loads(loose)
    with pytest.raises(InputError, match="no wheels"):
        frame_loads(replace(rover, wheels=()))
