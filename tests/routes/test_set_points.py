"""What a workshop sets: every name is a step and a number, every value the plan's own."""

import tomllib
from importlib.resources import files

import pytest

import pourprint as pp
from pourprint.routes.set_points import set_points
from scenes import DEMO, ROUTES, demo_kit, demo_rates, small_job

TABLE = tomllib.loads(files("pourprint.ledger").joinpath("data/set_points.toml").read_text(encoding="utf-8"))


def plans():
    for card in (demo_rates(), pp.RateCard.load(DEMO / "rates_buying.toml")):
        for name in pp.alloys():
            yield from pp.plan_all(small_job(2, alloy=name).with_(isolation="filled_line"), card).values()


def test_every_step_and_number_of_the_table_is_one_of_a_plan():
    steps = {step.name for plan in plans() if plan.feasible for step in plan.steps}
    known = {*demo_rates().entries, *(key for alloy in pp.alloys().values() for key in alloy.entries)}
    assert set(TABLE) <= steps
    assert {key for keys in TABLE.values() for key in keys} <= known


@pytest.mark.parametrize("route", ROUTES)
def test_values_are_those_of_card_and_alloy(route):
    plan = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates())
    rows = set_points(plan)
    known = {
        (entry.value, entry.unit, entry.source) for entry in (plan.rates.entries | plan.job.alloy.entries).values()
    }
    given = rows[rows["pedigree"] != "computed"]
    assert len(given) > 5 and set(zip(given["value"], given["unit"], given["source"], strict=True)) <= known


def test_what_follows_from_the_kit_is_what_the_shell_is_planned_with():
    plan = pp.plan("printed_pattern", pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates())
    rows, sizes = set_points(plan).set_index("setting")["value"], pp.ShellSizes(plan.job, plan.rates)
    assert rows["coats, the seal coat included"] == sizes.coats
    assert rows["patterns larger by"] == pytest.approx(100 * (sizes.scale - 1))
    # By hand: 0.63 of the solidus, 557 °C.
    assert rows["shell at the pour"] == pytest.approx(0.63 * 557)
    assert pp.ShellSizes(plan.job, plan.rates).table()["pieces a kit [-]"].sum() == demo_kit().nodes


def test_a_thick_node_is_hung_on_the_runner_that_the_plan_has_for_it():
    """The lab's runner is 30 mm; a thick node of steel needs more, or its gate freezes after it."""
    job = pp.Job(pp.Part.from_numbers("big", 300, 750, (160, 150, 80)), "17-4PH", 6)
    plan = pp.plan("printed_pattern", job, demo_rates())
    told = set_points(plan).set_index("setting")["value"]["runner diameter"]
    assert told == pp.ShellSizes(job, plan.rates).runner_mm > plan.rates["cluster.runner_diameter"]


def test_a_step_that_heats_pours_or_prints_says_how_hot_or_how_thick():
    hot = (
        "melt and pour",
        "age",
        "burn out the patterns",
        "fire and preheat the shells",
        "stress-relieve on the plate",
    )
    asked = dict.fromkeys(hot, "°C") | {"print moulds and cores": "mm", "print on the plate": "µm"}
    for route in ROUTES:
        plan = pp.plan(route, small_job(2), demo_rates())
        told = set(set_points(plan)["unit"].items())
        for step in plan.steps:
            assert step.name not in asked or (step.name, asked[step.name]) in told


def test_a_change_of_the_card_is_what_the_workshop_reads():
    rates = demo_rates().replace({"shell.burn_out_temperature": 900.0})
    rows = set_points(pp.plan("printed_pattern", small_job(), rates)).set_index("setting")
    assert rows.loc["burn out temperature", ["value", "unit"]].tolist() == [900.0, "°C"]
