"""The compare panel without a browser: callbacks, quick repricing against planning anew, refusals."""

import numpy as np
import pytest

import pourprint as pp
from pourprint import figures
from pourprint.panels import compare_panel
from scenes import demo_kit, demo_rates

START = "2026-11-25T08:00"


@pytest.fixture(scope="module")
def panel():
    return compare_panel(demo_kit(), demo_rates(), START)


def drawn(panel):
    return [np.asarray(trace[axis], float) for trace in panel.chart.figure.data for axis in "xy"
            if np.asarray(trace[axis]).dtype.kind in "fi"]  # fmt: skip


def planned_anew(panel):
    value = {name: row.value for name, row in panel.controls.items()}
    card = demo_rates().replace({name: number for name, number in value.items() if "." in name})
    kit = demo_kit().scaled_to(value["volume"])
    job = pp.Job(kit, value["alloy"], quantity=value["quantity"], batch_size=value["batch"])
    routes = ("printed_pattern", "printed_mould", "printed_metal")
    found = pp.comparison(pp.plan_all(job, card, routes), np.arange(1, 401), value["day"], START)
    return figures.comparison_data(found)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("labour.technician", 50),
        ("day", 120),
        ("machine.metal_printer", 80),
        ("quantity", 20),
        ("batch", 10),
        ("volume", 80),
    ],
)
def test_moving_a_control_draws_what_planning_anew_gives(panel, name, value):
    panel.controls[name].source.value = value
    for trace, new in zip(panel.chart.figure.data, planned_anew(panel), strict=True):
        for axis, array in new.items():
            np.testing.assert_allclose(np.asarray(trace[axis], float), array, rtol=1e-12)


def test_a_part_of_a_quantity_is_refused_in_one_sentence_and_prices_work_again_afterwards(panel):
    before = drawn(panel)
    panel.controls["quantity"].source.value = 4.5
    assert "whole number" in panel.status.value
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(before, drawn(panel), strict=True))
    panel.controls["labour.technician"].source.value = 41
    assert "whole number" in panel.status.value, "the question is still refused"
    panel.controls["quantity"].source.value = 4
    assert "whole number" not in panel.status.value


def test_another_part_starts_at_its_own_size(panel):
    menu = panel.controls["kit"].source
    menu.value = "one mast_foot"
    assert panel.controls["volume"].value == pytest.approx(131.5, abs=0.1)
    menu.value = menu.options[0]
    assert panel.controls["volume"].value == pytest.approx(717 / 15, abs=0.1)


def test_an_alloy_that_a_route_refuses_is_told_with_its_reason(panel):
    panel.controls["alloy"].source.value = "AZ91D"
    assert "magnesium" in panel.answer.value and "cannot" in panel.table.value
    panel.controls["alloy"].source.value = "AlSi7Mg"


@pytest.mark.parametrize("volume_cm3", [1.0, 2000.0])
def test_parts_beyond_the_usual_sizes_have_a_panel_too(volume_cm3):
    part = pp.Part.from_numbers("bracket", 60, 210, (90, 70, 60)).scaled_to(volume_cm3)
    assert compare_panel(part, demo_rates(), START).controls["volume"].value == volume_cm3


@pytest.mark.parametrize(("kit", "rates"), [("kit", None), (None, "rates"), (None, None)])
def test_what_is_no_kit_or_card_is_refused(kit, rates):
    with pytest.raises(pp.InputError):
        compare_panel(kit or demo_kit() if rates else kit, rates or demo_rates() if kit else rates, START)
