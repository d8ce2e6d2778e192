"""Bad questions about failures and risk: MALFORMED as in the other lists."""

from dataclasses import replace

import pourprint as pp
from pourprint.decide.information import by_quantity, flips
from pourprint.ledger.ranges import below, draw
from pourprint.risk.rework import rework
from pourprint.risk.simulation import design_error, simulate
from pourprint.risk.yields import (
    attempts_needed,
    chance_within,
    expected_visits,
    layers_printed,
    rolled_yield,
    starts_needed,
)
from scenes import demo_rates, hands, small_job, step, toy_plan


def asked(question, **job):
    """A question put to a good plan."""
    return lambda folder: question(pp.plan("printed_metal", small_job(**job), demo_rates()))


def run(**options):
    return asked(lambda plan: simulate(plan, **{"n": 10} | options))


def ran(question):
    """A question put to good runs from a date on."""
    return asked(lambda plan: question(simulate(plan.at(start="2026-11-25T08:00"), 10)))


def cannot(folder):
    simulate(pp.plan_all(small_job(alloy="AZ91D"), demo_rates())["printed_metal"])


def toy(**fields):
    return lambda folder: simulate(toy_plan(replace(step("dip", hands(1.0)), first_pass_yield=0.9, **fields)), 10)


MALFORMED = [
    ("no runs", run(n=0)),
    ("half a run", run(n=10.5)),
    ("many million runs", run(n=10**9)),
    ("runs in words", run(n="many")),
    ("a negative seed", run(seed=-1)),
    ("a seed in words", run(seed="one")),
    ("a seed with a fraction", run(seed=1.5)),
    ("runs from nowhere", asked(lambda plan: simulate(plan.at(start="soon"), 10))),
    ("an unknown distribution", run(inputs="normal")),
    ("a negative spread", run(time_spread=-0.1)),
    ("a spread in words", run(time_spread="wide")),
    ("design always wrong", run(design_again=1.0)),
    ("design wrong more often than one may ask", run(design_again=0.91)),
    ("design wrong at minus one", run(design_again=-1)),
    ("half a spare", run(spares=0.5)),
    ("spares in words", run(spares="some")),
    ("runs of no plan", lambda folder: simulate("printed_metal")),
    ("runs of a route that cannot", cannot),
    ("runs of an array of quantities", asked(simulate, quantity=[1, 2])),
    ("rework of an array of quantities", asked(rework, quantity=[1, 2])),
    ("rework of a huge batch", asked(rework, quantity=2000)),
    ("rework with a design never right", asked(lambda plan: rework(plan, design_again=1.0))),
    ("rework with a design too often wrong", asked(lambda plan: rework(plan, design_again=0.91))),
    ("a design error of no runs", asked(lambda plan: design_error(plan, n=0))),
    ("yields too low", asked(lambda plan: simulate(plan.at(rates=plan.rates.replace(LOW)), 10, inputs=None))),
    ("work sent back to nowhere", toy(returns_to="the moon")),
    ("a lot that nothing counts by", toy(spoils="cluster")),
    ("deadline in words", ran(lambda runs: runs.chance("soon"))),
    ("deadline before the start", ran(lambda runs: runs.chance("2026-11-01"))),
    ("deadline of minus three days", ran(lambda runs: runs.answer(-3))),
    ("deadline true", ran(lambda runs: runs.chance(True))),
    ("a date without a start", asked(lambda plan: simulate(plan, 10).chance("2026-12-24"))),
    ("a price of a day below zero for runs", ran(lambda runs: runs.with_delay(-1))),
    ("flips of nothing", lambda folder: flips({})),
    ("no quantities", asked(lambda plan: by_quantity({"printed_metal": plan}, []))),
    ("half a quantity", asked(lambda plan: by_quantity({"printed_metal": plan}, [1, 1.5]))),
    ("prices in words", asked(lambda plan: by_quantity({"printed_metal": plan}, [1], prices="high"))),
    ("quantities of a list", asked(lambda plan: by_quantity([plan], [1, 2]))),
    ("flips of plans", asked(lambda plan: flips({"printed_metal": plan}))),
    ("a yield above one", lambda folder: rolled_yield([0.9, 1.2])),
    ("a yield of zero", lambda folder: attempts_needed(0)),
    ("no tries", lambda folder: chance_within(0.9, 0)),
    ("half a good one", lambda folder: starts_needed(1.5, 0.9)),
    ("certainty of enough", lambda folder: starts_needed(10, 0.9, 1.0)),
    ("a yield that needs millions", lambda folder: starts_needed(10, 1e-9)),
    ("a print that always fails", lambda folder: layers_printed(100, 1.0)),
    ("no layers", lambda folder: layers_printed(0, 0.1)),
    ("back to a later step", lambda folder: expected_visits([0.9, 0.9], [1, 0])),
    ("back from one of two steps", lambda folder: expected_visits([0.9, 0.9], [0])),
    ("a shape that is none", lambda folder: below(pp.RateCard.default().entries["shell.dip_time"], 0.5, "square")),
    (
        "draws of an unknown shape",
        lambda folder: draw({"dip": pp.RateCard.default().entries["shell.dip_time"]}, 10, shape="flat"),
    ),
]
LOW = {key: 0.05 for key in ("printed_metal.yield_print", "machining.yield_machining", "machining.yield_inspection")}
