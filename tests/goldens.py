"""What the demo lab's answers are: a change of structure must change none of them.

Only the public face `pp.*` is asked, as notebooks do. Where an answer should change, write anew what is kept:

    python tests/goldens.py --write
"""

import argparse
import datetime as dt
import json
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

import pourprint as pp

DEMO = Path(__file__).parents[1] / "data_demo"
KEPT = Path(__file__).with_suffix(".json")
START = "2026-11-25T08:00"
STUDENTS = ("ada", "ben", "student 17")


# The demo lab ------------------------------------------------------------------------------------------


@cache
def kit():
    return pp.Kit.load(DEMO / "rover_kit.toml")


@cache
def rates():
    return pp.RateCard.load(DEMO / "rates.toml")


@cache
def demo_plans(quantity=4, alloy="AlSi7Mg"):
    """{route: Plan or NoPlan} of the demo kit, in a lab that may pour magnesium."""
    return pp.plan_all(pp.Job(kit(), alloy, quantity), rates().replace({"handling.magnesium": 1.0}))


def from_(plans, start=START):
    """The same plans from a start on."""
    return of_each(plans, lambda plan: plan.at(start=start))


def of_each(plans, answer):
    """{route: answer(plan)}."""
    return {route: answer(plan) for route, plan in plans.items()}


# What is kept of each thing ----------------------------------------------------------------------------


def facts_of(thing, names):
    """{name: attribute} of those named."""
    return {name: getattr(thing, name) for name in names.split()}


def plan_facts(plan):
    """Costs, hours, days and steps of a plan of single numbers, or why there is none."""
    if not plan.feasible:
        return {"reason": plan.reason}
    totals = facts_of(
        plan,
        "unit_cost batch_cost one_off_cost total_cost hands_on_h machine_h lead_time_days first_pass_yield",
    )
    return totals | {"steps": plan.table().set_index("step")}


def array_facts(plan):
    """Costs, hours and days of a plan with arrays."""
    found = facts_of(plan, "unit_cost total_cost one_off_cost hands_on_h machine_h lead_time_days")
    return found | {"days": plan.at(start=START).lead_time_days}


def run_facts(runs):
    """Mean and quantiles of simulated runs."""
    columns = facts_of(runs, "cost days attempts design_errors")
    means = {name: [values.mean(), values.std()] for name, values in columns.items()}
    shares = {f"{share:.0%}": share for share in (0.1, 0.5, 0.9)}
    spread = {name: np.quantile(columns[name], [*shares.values()]) for name in ("cost", "days", "attempts")}
    return means | {"quantiles": pd.DataFrame(spread, index=[*shares]), "chance of 60 days": runs.chance(60)}


def mix_facts(mix):
    """Which part goes where, cost and days of a mix, or why there is none."""
    if not mix.feasible:
        return {"reason": mix.reason, "fastest": mix.fastest and mix_facts(mix.fastest)}
    return {"routes": mix.routes_of(), **facts_of(mix, "cost cost_with_delay days")}


def answer_of(question):
    """The worked answer by field: numbers as numbers, choices as their letter and text."""
    return {
        part.key: f"{given}: {part.options[given]}" if part.options else float(given)
        for part in question.fields
        for given in [question.worked[part.key]]
    }


# The sections ------------------------------------------------------------------------------------------


def parts():
    """Facts of each demo node, read from its mesh."""
    names = "volume_cm3 area_cm2 box_mm overhang_cm2 support_cm3 bodies notes modulus_mm wall_mm solidity"
    meshes = sorted(path for path in (DEMO / "nodes").iterdir() if path.suffix in (".stl", ".3mf"))
    return {path.stem: facts_of(pp.Part.from_mesh(path), names) for path in meshes}


def plans():
    """Every route in every alloy for 1, 4 and 20 kits, a part known by numbers, and arrays."""
    bracket = pp.Job(pp.Part.from_numbers("bracket", 60, 210, (90, 70, 60)), "316L", 3, machine_all_sockets=True)
    many, batches = np.arange(1, 41), np.array([[1], [3], [8]])
    return {
        **{alloy: {n: of_each(demo_plans(n, alloy), plan_facts) for n in (1, 4, 20)} for alloy in pp.alloys()},
        "by numbers": of_each(pp.plan_all(bracket, rates()), plan_facts),
        "by numbers, default card": of_each(pp.plan_all(bracket), plan_facts),
        "quantities": of_each(demo_plans(), lambda plan: array_facts(plan.at(quantity=many))),
        "batches": of_each(demo_plans(), lambda plan: array_facts(plan.at(quantity=many[::8], batch_size=batches))),
    }


def calendar():
    """Lead times from two dates, and the first batch's way through the calendar."""
    starts = (START, "2026-12-22T13:30")
    return {
        start: of_each(
            demo_plans(), lambda plan, start=start: [pp.lead_time(plan, start).finish, plan.at(start=start).timeline()]
        )
        for start in starts
    }


def comparison():
    """Ranks, crossings, prices of a day at which the answer turns, stages and clock."""
    made = demo_plans()
    routes = [*made]
    pairs = [(a, b) for i, a in enumerate(routes) for b in routes[i + 1 :]]
    laid_out = pp.comparison(from_(made), price_of_day=100.0)
    return {
        "rank": pp.rank(made, 100.0),
        "rank of titanium": pp.rank(demo_plans(4, "Ti-6Al-4V")),
        "break-even": {f"{a}, {b}": str(pp.break_even(made[a], made[b], np.arange(1, 201))) for a, b in pairs},
        "ties": {f"{a}, {b}": pp.tie_price_of_day(*_line(made[a]), *_line(made[b])) for a, b in pairs},
        "flip prices": pp.flip_prices(made, np.array([1, 2, 5, 10, 50])),
        "days": laid_out.days,
    }


def _line(plan):
    return plan.total_cost, plan.lead_time_days


def rework():
    """Failures and rework in closed form."""
    names = "cost cost_sd visits rework_cost failure_free_cost"
    return {
        chance: of_each(demo_plans(), lambda plan, chance=chance: facts_of(pp.rework(plan, chance), names))
        for chance in (0.0, 0.2)
    }


def runs():
    """Seeded simulations, what they say of the choice, and what a fault of the design costs."""
    made, few = demo_plans(), {"n": 500, "seed": 1}
    cases = {
        "plain": {},
        "from a date, PERT, a spare": {"inputs": "PERT", "spares": 1},
        "inputs kept, design errors": {"inputs": None, "design_again": 0.3},
        "log-normal, no spread": {"inputs": "log-normal", "time_spread": 0.0},
    }
    dated = {name: from_(made) if "date" in name else made for name in cases}
    drawn = {name: pp.simulate_all(dated[name], **few, **options) for name, options in cases.items()}
    errors = of_each(made, lambda plan: pp.design_error(plan, **few))
    return {
        **{name: of_each(found, run_facts) for name, found in drawn.items()},
        "flips": pp.flips(drawn["plain"], repeats=50),
        "by quantity": pp.by_quantity(made, [1, 6], (0.0, 200.0), n=200),
        "design error": of_each(errors, lambda error: [error.cost.mean(), error.days.mean()]),
    }


def information():
    """How sure the choice is, and what knowing more is worth."""
    samples = pp.sample_plans(demo_plans(), n=2000)
    worth = pp.value_of_information(samples, 100.0)
    return {
        "best": pp.probability_best(samples, 100.0),
        "regret": pp.expected_regret(samples, 100.0),
        "choice": worth.choice,
        "worth": worth.table(),
    }


def sensitivity():
    """What moves the answers: one input at a time, and all together."""
    made = demo_plans()
    pattern, metal = made["printed_pattern"], made["printed_metal"]
    outputs = of_each(made, pp.output_of) | {
        "days": pp.output_of(pattern, "days"),
        "difference": pp.output_of(pattern, against=metal, price_of_day=100.0),
    }
    return {
        "tornado": {name: pp.tornado(output).table() for name, output in outputs.items()},
        "sobol": {name: pp.sobol(outputs[name], n=64, most=5).table() for name in ("days", "difference")},
    }


def maps():
    """Which route where, with the borders."""
    cases = {
        "quantity, price of a day": ({"quantity": range(1, 41, 3), "price_of_day": range(0, 1001, 100)}, 0.0),
        "printer, volume": ({"machine.metal_printer": range(1, 91, 10), "volume_cm3": range(6, 151, 16)}, 250.0),
    }
    charts = {name: pp.decision_map(demo_plans(), axes, price) for name, (axes, price) in cases.items()}
    return {
        name: {
            "best": chart.best,
            "margin": chart.margin,
            "shares": chart.shares(),
            "borders": {", ".join(pair): lines for pair, lines in chart.borders.items()},
        }
        for name, chart in charts.items()
    }


def footprints():
    """Energy and greenhouse gases."""
    found = of_each(demo_plans(), lambda plan: pp.footprint(plan, n=200))
    clean = of_each(demo_plans(), lambda plan: pp.footprint(plan, n=200, known={"energy.electricity": 0.03}))
    return {
        "steps": {route: one.table().droplevel("stage") for route, one in found.items()},
        "job": of_each(found, lambda one: [one.total_kwh, one.total_kg]),
        "clean power": of_each(clean, lambda one: one.total_kg),
        "less than the pattern": of_each(found, lambda one: one.less_than(found["printed_pattern"])),
    }


def mixes():
    """A route for each part: cheapest, in time, within limits, in one workshop."""
    job = pp.Job(kit(), "AlSi7Mg", 4)
    choices = pp.mix.choices(job, rates(), routes=[*demo_plans()][:3])
    cheapest, workshop = choices.best(), pp.orders.Workshop(rates().hours)
    dated = job.with_(start=START)
    bound = pp.mix.choices(dated, rates(), only={"corner_left": ("printed_metal",)})
    return {
        "single routes": choices.single_routes(),
        "cheapest": mix_facts(cheapest),
        "in time": mix_facts(choices.best(deadline_days=cheapest.days - 4)),
        "quickest": mix_facts(choices.best("days")),
        "too soon": mix_facts(choices.best(deadline_days=2)),
        "within limits": mix_facts(choices.best(limits={"labour.technician": 60.0})),
        "frontier": [mix_facts(mix) for mix in choices.frontier(least_gain_days=4)],
        "together": pp.mix.choices(dated, rates(), routes=[*demo_plans()][:3]).best().together(workshop).summary(),
        "bound, from a date": mix_facts(bound.best()),
    }


def workshop():
    """Three orders share people and machines."""
    made, order = demo_plans(), pp.orders.Order.of
    orders = [
        order(made["printed_pattern"], "2026-12-07T08:00", "frames", due="2027-01-08T16:00"),
        order(made["printed_mould"].at(quantity=1), "2026-12-08T08:00", "show piece"),
        order(made["printed_metal"].at(quantity=1), "2026-12-08T10:00", "spares", due="2026-12-18T16:00"),
    ]
    booked = pp.orders.Booked("machine.metal_printer", dt.date(2026, 12, 9), dt.date(2026, 12, 11))
    found = {}
    for rule in ("first come", "shortest first", "earliest date first"):
        timeline = pp.orders.Workshop(rates().hours, (booked,), {"machine.kiln": 2}, rule).schedule(orders)
        tasks = timeline.table()[["order", "batch", "step", "begin", "end", "queued_h"]]
        found[rule] = {"orders": timeline.summary(), "load": timeline.load(), "tasks": tasks}
    return found


def learning():
    """Curves, repeats, when a die pays, and what a lab's log makes of its card."""
    made, many = demo_plans(), np.arange(1, 61)
    curves = {form: pp.learning.Curve(0.85, form) for form in ("average", "unit")}
    pair = made["printed_pattern"], made["tooled_pattern"]
    dies = {"none": None, **curves}
    log = pp.lab_log.LabLog.load(DEMO / "lab_log.csv", rates())
    return {
        "curves": {form: curve.total(many[:20]) for form, curve in curves.items()},
        "costs": of_each(
            made, lambda plan: [pp.learning.learned_cost(plan.at(quantity=many), curve) for curve in curves.values()]
        ),
        "repeats": of_each(made, lambda plan: pp.learning.repeats(plan, 8)),
        "die": {name: str(pp.learning.when_a_die_pays(*pair, many, curve).intervals) for name, curve in dies.items()},
        "log": pp.lab_log.update_table(pp.lab_log.updates(log, rates())),
    }


def exercises():
    """The right answer of every exercise for some students."""
    room = pp.lessons.classroom(DEMO / "class.toml")
    return {
        name: {student: answer_of(exercise.question(room, student)) for student in STUDENTS}
        for name, exercise in pp.lessons.catalogue().items()
    }


SECTIONS = {
    section.__name__: section
    for section in (
        parts,
        plans,
        calendar,
        comparison,
        rework,
        runs,
        information,
        sensitivity,
        maps,
        footprints,
        mixes,
        workshop,
        learning,
        exercises,
    )
}


# Keeping -----------------------------------------------------------------------------------------------


def plain(value):
    """Tables, arrays, numbers and moments as JSON has them."""
    if isinstance(value, pd.DataFrame):
        table = value if value.index.is_unique else value.reset_index()
        rows = zip(table.index, table.itertuples(index=False), strict=True)
        return {"columns": [*table.columns], "rows": {str(name): plain(row) for name, row in rows}}
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, (np.ndarray, np.generic)):
        return plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)  # JSON knows no nan
    if isinstance(value, (str, int, float)):
        return value
    return None if pd.isna(value) else str(value)


def computed(section):
    """A section as it comes back from JSON."""
    return json.loads(json.dumps(plain(SECTIONS[section]())))


def write():
    """Compute all sections anew and keep them, one a line."""
    lines = (
        f"{json.dumps(name)}:{json.dumps(computed(name), ensure_ascii=False, separators=(',', ':'))}"
        for name in SECTIONS
    )
    KEPT.write_text("{" + ",\n".join(lines) + "}\n", encoding="utf-8")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="The demo lab's answers, as they are kept.")
    parser.add_argument("--write", action="store_true", required=True, help=f"compute {KEPT.name} anew")
    parser.parse_args()
    write()
