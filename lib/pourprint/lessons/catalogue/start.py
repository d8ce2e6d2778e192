"""Exercises of notebook 00: the stages, the routes, and where numbers come from."""

from pourprint.ledger.entries import Pedigree, in_words
from pourprint.lessons.kinds import choose, order
from pourprint.plans.steps import Stage
from pourprint.routes import PRINTED


def stages_in_order(task, room):
    stages = [stage.title for stage in room.plan("printed_pattern").stages if stage is not Stage.DESIGN]
    before = {Stage[name].title: reason for name, reason in task.told("before").items()}
    return order(task, stages, lambda early, late: before[early])


def fewest_stages(task, room, quantity, which):
    plans = [room.plan(route, quantity) for route in PRINTED]
    asked = sorted(plans, key=lambda plan: len(plan.stages), reverse=which == "most")[0]
    place = sorted(plan.unit_cost for plan in plans).index(asked.unit_cost)
    costs = ", ".join(f"{plan.title} {plan.unit_cost:,.0f} {room.money} a kit" for plan in plans)
    standing = ("least", "between", "most")[place]
    titles, count = [plan.title for plan in plans], len(asked.stages)
    return choose(task.knows(asked=asked, count=count, costs=costs), asked.title, standing, titles)


def pedigree(task, room):
    entries = room.rates.entries
    there = [mark for mark in Pedigree if any(entry.pedigree == mark for entry in entries.values())]
    mark = task.choice("pedigree", there)
    key = task.choice("key", sorted(key for key, entry in entries.items() if entry.pedigree == mark))
    entry = entries[key]
    unit = "" if entry.unit == "-" else f" {entry.unit}"
    return choose(task.knows(key=key, name=in_words(key), entry=entry, unit=unit), mark, mark, [*map(str, Pedigree)])
