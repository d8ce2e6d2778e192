"""The compare panel without a browser: callbacks, quick repricing against planning anew, refusals."""

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide import failures
from pourprint.decide.compare import envelope
from pourprint.decide.inputs import dearest_day
from pourprint.ledger.entries import Kind
from pourprint.panels import compare_panel
from pourprint.plans import plan as plan_module
from scenes import DEMO, bracket, demo_kit, demo_rates

START = "2026-11-25T08:00"


@pytest.fixture(scope="module")
def panel():
    return compare_panel(demo_kit(), demo_rates(), START)


def drawn(panel):
    return [np.asarray(trace[axis], float) for trace in panel.chart.figure.data for axis in "xy"
            if np.asarray(trace[axis]).dtype.kind in "fi"]  # fmt: skip


def asked_of(panel):
    """(values of the controls, kit, card, batch size) of what the panel asks."""
    value = {name: row.value for name, row in panel.controls.items()}
    card = demo_rates().replace({name: number for name, number in value.items() if "." in name})
    own = value["volume"] == round(demo_kit().volume_cm3 / demo_kit().nodes, 1)
    kit = demo_kit() if own else demo_kit().scaled_to(value["volume"])
    return value, kit, card, None if value["at_once"] else value["batch"]


def with_failures(plan):
    """How many times as dear and as long the plan is with failures, from the closed form."""
    mean = pp.expected(plan)
    return mean.cost / plan.total_cost, mean.days / plan.lead_time_days


def planned_anew(panel):
    """Lines over quantity from plans of single quantities, each with its own failures."""
    value, kit, card, size = asked_of(panel)
    some, lines = (1, 4, 7), {}
    for quantity in some:
        plans = pp.plan_all(pp.Job(kit, value["alloy"], quantity, size, start=START), card)
        for route, plan in plans.items():
            more, longer = with_failures(plan)
            cost = more * plan.total_cost + value["day"] * longer * plan.lead_time_days
            lines.setdefault(route, []).append(cost / quantity)
    return some, lines


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("labour.technician", 50),
        ("day", 120),
        ("machine.metal_printer", 80),
        ("quantity", 10),
        ("batch", 10),
        ("volume", 80),
    ],
)
def test_moving_a_control_draws_what_planning_anew_gives(panel, name, value):
    panel.controls[name].source.value = value
    some, lines = planned_anew(panel)
    data = panel.chart.figure.data
    for trace, costs in zip(data, lines.values(), strict=False):
        *points, between = trace.y[np.array(some) - 1]  # days and failures are asked for at points, and read between
        np.testing.assert_allclose(points, costs[:-1], rtol=1e-9)
        np.testing.assert_allclose(between, costs[-1], rtol=0.05)
    assert data[-1].x == (panel.controls["quantity"].value,)


@pytest.mark.parametrize("axis", ["quantity", "volume_cm3", "day", "machine.metal_printer"])
def test_a_price_moves_neither_clock_nor_what_is_done_again(panel, axis, monkeypatch):
    """What they depend on holds no price: with both forbidden, the answer still is that of a panel opened there."""
    panel.controls["axis"].source.value = axis
    with monkeypatch.context() as no:
        for name in ("spans_and_days", "days_of"):
            no.setattr(plan_module, name, None)
        no.setattr(failures, "mean_amounts", None)
        for name, value in {"labour.technician": 33, "machine.metal_printer": 61, "day": 45}.items():
            panel.controls[name].source.value = value
    other = compare_panel(demo_kit(), demo_rates(), START)
    for name, row in panel.controls.items():
        other.controls[name].source.value = row.value
    assert panel.answer.value == other.answer.value and panel.table.value == other.table.value
    for ours, theirs in zip(drawn(panel), drawn(other), strict=True):
        np.testing.assert_allclose(ours, theirs, rtol=1e-9)
    panel.controls["axis"].source.value = "quantity"


def test_who_chooses_a_batch_size_wants_batches_and_it_is_said():
    panel = compare_panel(demo_kit(), demo_rates(), START)
    assert panel.controls["at_once"].value and "in batches" not in panel.answer.value
    panel.controls["quantity"].source.value = 6
    panel.controls["batch"].source.value = 3
    assert not panel.controls["at_once"].value and "in batches of 3" in panel.answer.value
    for row in panel.controls.values():
        row.back()
    assert panel.controls["at_once"].value and panel.controls["quantity"].value == 1


def test_the_answer_says_cost_and_days_with_failures_as_the_closed_form_and_the_simulation_have_them():
    panel = compare_panel(bracket(), demo_rates(), START)
    panel.controls["quantity"].source.value, panel.controls["day"].source.value = 6, 0
    plans = pp.plan_all(pp.Job(bracket(), "AlSi7Mg", 6, start=START), demo_rates())
    best = min(plans.values(), key=lambda plan: pp.expected(plan).cost)
    runs = pp.simulate(best, n=4000, inputs=None, time_spread=0)
    first = panel.answer.value.partition("soonest")[0]
    said = re.search(r"about ([\d,]+) EUR a piece and (\d+) days; if nothing fails ([\d,]+) and (\d+)", first)
    mean, days, plain, plain_days = (int(text.replace(",", "")) for text in said.groups())
    assert best.title in first and "failures in the mean, inputs at their values" in first
    assert mean == round(pp.rework(best).cost / 6) and plain == round(best.unit_cost)
    assert abs(days - runs.days.mean()) < 0.5 + 0.05 * runs.days.mean() and plain_days == round(best.lead_time_days)


def test_the_opening_state_shows_crossings_and_starts_clear_of_holidays():
    panel = compare_panel(demo_kit(), demo_rates())
    (*_, names, turns, _), start = panel.chart.figure.data, panel.controls["start"].value
    assert np.isfinite(turns.x).sum() >= 2 and any("tooled pattern" in text for text in names.text)
    assert not any(0 <= (off - start).days <= 42 for off in demo_rates().hours.holidays)
    assert f"{start:%a}" in demo_rates().hours.days


def test_prices_of_a_day_on_the_chart_are_those_of_the_facts_and_lie_between_its_points():
    """Lines C + d·T meet where by hand d = (C₁ − C₂)/(T₂ − T₁), whatever round numbers the chart is drawn at."""
    panel = compare_panel(demo_kit(), demo_rates(), START)
    panel.controls["axis"].source.value = "day"
    *_, turns, _ = panel.chart.figure.data
    plans = pp.plan_all(pp.Job(demo_kit(), panel.controls["alloy"].value, 1, start=START), demo_rates())
    means = {route: pp.expected(plan) for route, plan in plans.items()}
    exact = [at for at, _ in envelope({route: (mean.cost, mean.days) for route, mean in means.items()})[1:]]
    assert np.asarray(turns.x)[: len(exact)] == pytest.approx(exact, rel=1e-3) and max(np.asarray(exact) % 1) > 0
    assert "price of a day" not in panel.answer.value, "said once, not a second time, rounded otherwise"


@pytest.mark.parametrize("axis", ["batch_size", "volume_cm3", "day", "labour.technician", "machine.metal_printer"])
def test_the_chart_may_run_along_any_input(panel, axis):
    """The ring stands at the present value, on the lowest line as it is planned for that value alone."""
    panel.controls["axis"].source.value = axis
    ring, (value, kit, card, size) = panel.chart.figure.data[-1], asked_of(panel)
    plans = pp.plan_all(pp.Job(kit, value["alloy"], value["quantity"], size, start=START), card).values()
    means = [pp.expected(plan) for plan in plans]
    lowest = min(mean.cost + value["day"] * mean.days for mean in means) / value["quantity"]
    now = {"batch_size": size or value["quantity"], "volume_cm3": value["volume"]}.get(axis, value.get(axis))
    assert ring.x == (now,)
    assert ring.y[0] == pytest.approx(lowest, rel=1e-3), "the present value is a point of every line"
    panel.controls["axis"].source.value = "quantity"


@pytest.mark.parametrize("quantity", [1, 20])
def test_the_answer_is_the_same_whatever_the_chart_runs_along(quantity):
    panel, told = compare_panel(demo_kit(), demo_rates(), START), set()
    panel.controls["quantity"].source.value = quantity
    for axis in ("quantity", "batch_size", "volume_cm3", "day", "machine.saw"):
        panel.controls["axis"].source.value = axis
        panel.finish()
        told.add(panel.answer.value.partition("where it turns")[0])
    assert len(told) == 1, told


def lines_of(panel):
    return {
        trace.name: (np.asarray(trace.x, float), np.asarray(trace.y, float)) for trace in panel.chart.figure.data[:4]
    }


def test_lines_along_the_volume_are_those_of_the_routes_that_can_at_the_present_one():
    """200 cm³ a piece is too large for all but the mould, and back at its own size every route has its line again."""
    panel = compare_panel(demo_kit(), demo_rates(), START)
    first = panel.controls["volume"].value
    panel.controls["axis"].source.value = "volume_cm3"
    there = lines_of(panel)
    panel.controls["volume"].source.value = 200.0
    assert "Printed mould: about" in panel.answer.value and "></div>" in panel.status.value
    panel.controls["volume"].source.value = first
    for name, (_, costs) in lines_of(panel).items():
        assert np.isfinite(costs).sum() == np.isfinite(there[name][1]).sum() > 0, name


def test_a_price_of_days_cuts_no_line_short_of_where_its_route_can():
    panel, ends = compare_panel(demo_kit(), demo_rates(), START), []
    panel.controls["axis"].source.value = "volume_cm3"
    for day in (0, 150):
        panel.controls["day"].source.value = day
        panel.finish()
        ends.append({name: x[np.isfinite(y)].max() for name, (x, y) in lines_of(panel).items()})
    assert ends[0] == ends[1] and max(ends[0].values()) > 200


@pytest.mark.parametrize("rate", ["machine.sand_printer", "labour.technician"])
def test_along_a_rate_the_routes_cross_where_costs_with_failures_at_that_rate_do(rate):
    """Two kits, a day at 150: the root is found by comparisons of their own, each at another rate."""
    panel = compare_panel(demo_kit(), demo_rates(), START)
    panel.controls["quantity"].source.value = 2
    panel.controls["axis"].source.value = rate
    job = pp.Job(demo_kit(), "AlSi7Mg", 2, start=START)

    def ahead(price):
        found = pp.comparison(pp.plan_all(job, demo_rates().replace({rate: price})), 150.0)
        return found.mean_unit_cost("printed_pattern") - found.mean_unit_cost("printed_mould")

    said = float(re.search(r"from ([\d.]+) on printed pattern wins", panel.answer.value)[1])
    assert ahead(0.99 * said) > 0 > ahead(1.01 * said)


def test_a_date_before_the_start_is_refused_before_anything_moves():
    panel = compare_panel(bracket(), demo_rates(), START)
    panel.controls["deadline"].source.value = dt.date(2026, 12, 20)
    before = panel.answer.value, panel.table.value
    for name, value in (("start", dt.date(2027, 1, 11)), ("quantity", 40)):
        panel.controls[name].source.value = value
        assert "not before the start" in panel.status.value and (panel.answer.value, panel.table.value) == before
    panel.controls["deadline"].source.value = None
    assert "in time by" not in panel.answer.value and "></div>" in panel.status.value


def test_the_price_of_a_day_is_looked_at_as_far_as_its_slider_goes_whatever_wages_became():
    panel = compare_panel(demo_kit(), demo_rates(), START)
    for name, value in (("labour.technician", 4), ("quantity", 4), ("day", 900)):
        panel.controls[name].source.value = value
    assert "at no price of a day" not in panel.answer.value and "EUR a day printed pattern wins" in panel.answer.value


def test_back_leads_to_the_size_of_the_part_that_is_chosen():
    panel = compare_panel(demo_kit(), demo_rates(), START)
    panel.controls["kit"].source.value = "one mast foot"
    volume = panel.controls["volume"]
    assert not volume.said and volume.value == pytest.approx(131.5, abs=0.1)
    volume.source.value = 80.0
    assert volume.said
    volume.back()
    assert volume.value == pytest.approx(131.5, abs=0.1)


def test_an_alloy_that_is_none_is_refused_and_not_another_taken():
    for alloy in ("316l", "unobtainium"):
        with pytest.raises(pp.InputError, match=f"alloy must be one of .*not '{alloy}'"):
            compare_panel(demo_kit(), demo_rates(), START, alloy)
    with pytest.raises(pp.InputError, match="alloy must be one of"):
        pp.panels.pattern_panel(demo_kit(), demo_rates(), 4, "Ti-6Al-4V")


def test_the_nearest_prices_of_a_day_that_turn_the_answer_are_said_either_way_as_far_as_the_slider_goes():
    """Against the lower envelope of the routes' lines C + d·T with failures; beyond 1000 a day no number is given."""
    panel, seen = compare_panel(demo_kit(), demo_rates(), START), set()
    for quantity, day in ((1, 30), (1, 160), (1, 400), (4, 200), (10, 20)):
        panel.controls["day"].source.value = day
        panel.controls["quantity"].source.value = quantity
        plans = pp.plan_all(pp.Job(demo_kit(), "AlSi7Mg", quantity, start=START), demo_rates())
        means = {route: pp.expected(plan) for route, plan in plans.items()}
        prices = [price for price, _ in envelope({route: (m.cost, m.days) for route, m in means.items()})[1:]]
        wanted = [price for price in prices if price <= day][-1:] + [p for p in prices if day < p <= 1000][:2]
        said = [float(text) for text in re.findall(r"(?:above|below) ([\d.]+) EUR a day", panel.answer.value)]
        assert said == pytest.approx(wanted, abs=0.5)
        assert ("at no price of a day up to 1,000" in panel.answer.value) == (not wanted)
        seen.add(len(wanted))
    assert seen >= {1, 2}


def test_the_answer_is_the_same_in_another_currency():
    """Costs are homogeneous of degree one in all prices: all 200 times as much, as of a card in another currency."""
    card = demo_rates()
    other = replace(
        card.replace({key: 200 * e.value for key, e in card.entries.items() if e.kind is Kind.PRICE}), currency="JPY"
    )
    ours, theirs = (compare_panel(demo_kit(), rates, START).answer.value for rates in (card, other))
    assert re.sub(r"[\d,.]+", "", ours) == re.sub(r"[\d,.]+", "", theirs.replace("JPY", card.currency))
    assert dearest_day(other) == 200 * dearest_day(card) == 200_000


def test_a_table_says_what_would_turn_the_answer_until_a_control_moves():
    panel = compare_panel(bracket(), demo_rates(), START)
    button, found = panel.widget.children[0].children[2:4]
    assert button.description == "What would turn the answer?" and not found.value
    button.click()
    plans = pp.plan_all(pp.Job(bracket(), "AlSi7Mg", 1, start=START), demo_rates())
    nearest = pp.decide.turning_points.turns(plans, price_of_day=panel.controls["day"].value, failures=True)[0]
    assert f"{nearest.at:.4g}"[:4] in found.value.partition("<tbody>")[2].partition("</tr>")[0]
    panel.controls["quantity"].source.value = 2
    assert not found.value


def test_a_date_gives_each_route_its_chance():
    panel = compare_panel(bracket(), demo_rates(), START)
    panel.controls["deadline"].source.value = date = dt.date(2026, 12, 7)
    runs = pp.simulate_all(pp.plan_all(pp.Job(bracket(), "AlSi7Mg", 1, start=START), demo_rates()), 6000)
    said = dict(
        re.findall(r"([a-z]+ [a-z]+) [a-z ]*(\d+)%", panel.answer.value.partition("in time by Mon 07 Dec 2026")[2])
    )
    for run in runs.values():  # the panel runs 400 of each: a standard error of at most 2.5 points
        assert int(said[run.plan.title.lower()]) == pytest.approx(100 * run.chance(date), abs=10)
    panel.controls["start"].source.value = None
    assert "choose a date" in panel.status.value


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
    menu.value = "one mast foot"
    assert panel.controls["volume"].value == pytest.approx(131.5, abs=0.1)
    menu.value = menu.options[0]
    assert panel.controls["volume"].value == pytest.approx(717 / 15, abs=0.1)


def test_an_alloy_that_a_route_refuses_is_told_with_its_reason(panel):
    panel.controls["alloy"].source.value = "AZ91D"
    assert "magnesium" in panel.table.value and "why it cannot" in panel.table.value
    panel.controls["alloy"].source.value = "AlSi7Mg"


@pytest.mark.parametrize("volume_cm3", [1.0, 2000.0])
def test_parts_beyond_the_usual_sizes_have_a_panel_too(volume_cm3):
    part = pp.Part.from_numbers("bracket", 60, 210, (90, 70, 60)).scaled_to(volume_cm3)
    assert compare_panel(part, demo_rates(), START).controls["volume"].value == volume_cm3


@pytest.mark.parametrize(("kit", "rates"), [("kit", None), (None, "rates"), (None, None)])
def test_what_is_no_kit_or_card_is_refused(kit, rates):
    with pytest.raises(pp.InputError):
        compare_panel(kit or demo_kit() if rates else kit, rates or demo_rates() if kit else rates, START)


# Bought or made here ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def buying():
    return pp.RateCard.load(DEMO / "rates_buying.toml")


def test_what_a_card_buys_may_be_made_here_ware_by_ware(buying):
    # Bought metal three times as dear, so that the facts tell of the mould.
    buying = buying.replace({"buy.relieved_metal.per_cm3": 3 * buying["buy.relieved_metal.per_cm3"]})
    panel = compare_panel(demo_kit(), buying, START)
    assert [name for name in panel.controls if name.startswith("buy.")] == [f"buy.{ware}" for ware in buying.bought]
    panel.controls["day"].source.value = 100.0
    panel.finish()
    alloy, before = panel.controls["alloy"].value, panel.answer.value
    panel.controls["buy.printed_mould"].source.value = "made here"
    panel.finish()
    made = pp.plan("printed_mould", pp.Job(demo_kit(), alloy, 1, start=START), buying.making("printed_mould"))
    days = made.lead_time_days
    said = f"if nothing fails {made.unit_cost + panel.controls['day'].value * days:,.0f} and {days:.0f} days"
    assert "Printed mould (bought: heat treatment): about" in panel.answer.value and said in panel.answer.value
    panel.controls["buy.relieved_metal"].source.value = "made here"
    panel.finish()
    assert "printed metal, relieved and cut off" not in panel.answer.value
    for name in ("buy.printed_mould", "buy.relieved_metal"):
        panel.controls[name].back()
    panel.finish()
    assert panel.answer.value == before


def test_a_card_that_buys_nothing_offers_no_such_choice(panel):
    assert not [name for name in panel.controls if name.startswith("buy.")]


def test_the_answer_says_which_parts_are_known_by_numbers_alone(panel):
    assert "known by numbers alone" not in panel.answer.value
    assert (
        "known by numbers alone<br><b>bracket: cost may be off by"
        in compare_panel(bracket(), demo_rates()).answer.value
    )
