"""The panels of fit and lightening without a browser: sliders move what they should, the beam forms and stops."""

import asyncio
import re

import numpy as np
import pytest

import pourprint as pp
from pourprint.panels import fit_panel, lighten_panel
from pourprint.panels.lighten import START, STOP
from pourprint.plans.plan import NoPlan
from scenes import DEMO, PRINTED, demo_kit, demo_rates


def moved(panel, **values):
    for key, value in values.items():
        panel.controls[key.replace("__", ".")].source.value = value
    return panel


@pytest.fixture(scope="module")
def frame():
    return pp.Frame.load(DEMO / "rover_frame.toml")


def drawn(panel):
    return [(tuple(trace.x), tuple(trace.y)) for trace in panel.chart.figure.data]


def test_the_bond_is_the_bond_lists_own(frame):
    """Metal at its thinnest line, front leg in the rocker, drop: as the list of all bonds has it."""
    panel = moved(fit_panel(frame, demo_rates()), route="printed_metal")
    plan = pp.plan("printed_metal", pp.Job(frame.kit(), "AlSi7Mg", 4), demo_rates())
    row = pp.bond_list(frame, pp.frame_loads(frame), plan).loc[("rocker_pivot", "front_leg_left")]
    assert f"{row['peak shear [MPa]']:.0f} MPa at an end" in panel.answer.value
    assert f"mean {row['mean over allowed [-]']:.2f} of what" in panel.answer.value


def test_length_cold_and_gap_move_the_bond_and_the_fit_the_seat(frame):
    panel = fit_panel(frame, demo_rates())
    said, curves = panel.answer.value, drawn(panel)
    for change in ({"length": 60}, {"service": 20}, {"bonding__gap": 0.3}, {"isolation": "glass_cloth"}):
        moved(panel, **change)
        assert drawn(panel) != curves and not panel.status.value.count("must")
        curves = drawn(panel)
    moved(panel, fit="R7")
    assert panel.answer.value != said and "R7" in panel.table.value
    moved(panel, look="seat")
    assert {"R7, room", "R7, warm"} <= {str(y) for trace in panel.chart.figure.data for y in trace.y}


def test_a_wide_gap_leaves_sands_sockets_as_cast_and_lowers_its_bar(frame):
    panel = fit_panel(frame, demo_rates())
    before = panel.bars.value
    moved(panel, route="printed_mould", bonding__gap=0.6)
    assert panel.bars.value != before
    assert panel.table.value.count("as made") == 1, "of equal rows one"


def test_a_route_that_cannot_is_one_sentence(frame):
    panel = moved(fit_panel(frame, demo_rates()), alloy="Ti-6Al-4V", route="printed_pattern")
    assert "cannot" in panel.status.value


@pytest.fixture(scope="module")
def light():
    part = next(entry.part for entry in demo_kit().parts if entry.part.name == "rocker_pivot")
    lighter = pp.with_part(demo_kit(), part.scaled_to(0.75 * part.volume_cm3), "rocker_pivot")
    return tuple(pp.plan_all(pp.Job(kit, "AlSi7Mg", 4), demo_rates(), PRINTED) for kit in (demo_kit(), lighter))


def test_a_route_that_refuses_the_lighter_kit_says_why_among_the_facts(light):
    plans, again = light
    panel = lighten_panel(plans, again | {"printed_mould": NoPlan("printed_mould", "Printed mould", ("a hot boss",))})
    assert "cannot make it: a hot boss" in panel.answer.value and panel.answer.value.count("a gram saved") == 2


def test_the_price_of_a_gram_is_the_models(light):
    panel = moved(lighten_panel(*light), kits=7, hours=20, worth=2.0)
    for route in PRINTED:
        price = pp.price_of_a_gram(*light, [7], 20).loc[(route, 7), "price of a gram"]
        assert f"{price:,.2f} EUR a gram saved; it {'pays' if price < 2 else 'does not'}" in panel.answer.value


def test_the_beam_forms_and_stops_where_it_is_told(light, in_a_loop):
    panel = lighten_panel(*light)
    button = panel.widget.children[0].children[0].children[0].children[-2]
    assert button.description == START

    def iteration():
        return int(re.search(r"after (\d+) iteration", panel.chart.figure.layout.title.text)[1])

    async def watch():
        assert iteration() == 1
        button.click()
        while iteration() < 5:
            await asyncio.sleep(0.01)
        assert button.description == STOP
        button.click()
        await asyncio.sleep(0.1)
        stopped = iteration()
        await asyncio.sleep(0.2)
        assert iteration() == stopped and button.description == START

    in_a_loop(watch())


def test_sliders_of_the_beam_begin_it_anew_and_prices_leave_it(light):
    panel = lighten_panel(*light)
    before = np.array(panel.chart.figure.data[0].z, dtype=float)
    moved(panel, worth=3.0)
    assert np.array_equal(np.array(panel.chart.figure.data[0].z, dtype=float), before)
    moved(panel, share=0.3, aside=0.5)
    assert not np.array_equal(np.array(panel.chart.figure.data[0].z, dtype=float), before)


def test_a_lone_alloy_or_kit_is_called_as_it_is(frame):
    """Titanium is not poured: the panel opens on the route that can; one kit is no kits."""
    panel = fit_panel(frame, demo_rates(), quantity=1, alloy="Ti-6Al-4V")
    assert panel.controls["route"].value == "printed_metal" and "costs least for 1 kit" in panel.bars.value


def test_plans_that_no_route_can_make_are_refused():
    none = {"printed_pattern": NoPlan("printed_pattern", "Printed pattern", ("too large",))}
    with pytest.raises(pp.InputError, match="no route can make"):
        lighten_panel(none, none)
