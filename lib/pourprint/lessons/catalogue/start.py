"""Exercises of notebook 00: the stages, the routes, and where numbers come from."""

from pourprint.ledger.entries import Pedigree, in_words
from pourprint.lessons.exercises import exercise
from pourprint.lessons.kinds import Option, choose, order, some_of
from pourprint.plans.steps import Stage
from pourprint.routes import PRINTED

NOTEBOOK = "00"
# What has to be there before a stage of the printed pattern can begin.
BEFORE = {
    Stage.TOOLING: "A cluster can be laid out only for a part that is fit to be made.",
    Stage.SIMULATE: "A simulation needs the gates and the cluster that it fills.",
    Stage.PATTERN: "Patterns are printed larger, with their gates: that is settled at the desk first.",
    Stage.ASSEMBLE: "A cluster is glued from patterns.",
    Stage.MOULD: "The shell is built round the finished cluster.",
    Stage.FIRE: "Only a dry, whole shell can go into the kiln.",
    Stage.POUR: "The pattern must have left the shell, and the shell must be hot, before metal comes in.",
    Stage.BREAK_OUT: "There is nothing to break out until the metal has cooled.",
    Stage.FINISH: "A part is finished once it stands alone.",
}


@exercise
def stages_in_order(draw, room):
    stages = [stage for stage in room.plan("printed_pattern").stages if stage is not Stage.DESIGN]
    deciding = (Stage.MOULD.title, Stage.FIRE.title, Stage.POUR.title)
    titles = some_of(draw, [stage.title for stage in stages], deciding)
    why = {stage.title: reason for stage, reason in BEFORE.items()}
    return order(
        draw,
        "Here are six stages of the printed pattern route. Put them in the order in which they are done.",
        titles,
        lambda early, late: why[early],
        "The map gives the order: " + "; ".join(titles) + ".",
    )


@exercise
def fewest_stages(draw, room):
    quantity, most = draw.whole("quantity", 1, 6), draw.choice("which", (False, True))
    plans = [room.plan(route, quantity) for route in PRINTED]
    asked = sorted(plans, key=lambda plan: len(plan.stages), reverse=most)[0]
    place = sorted(plan.unit_cost for plan in plans).index(asked.unit_cost)
    truths = ("it costs least of the three", "it stands between the two others", "it costs most of the three")
    ask = f"Rank the three routes with pp.rank, for a quantity of {quantity}, and read unit_cost."
    costs = ", ".join(f"{plan.title} {plan.unit_cost:,.0f} {room.money} a kit" for plan in plans)
    return choose(
        draw,
        f"Which printed route keeps the {'most' if most else 'fewest'} stages, and where does it stand in cost? Kits "
        f"of the class's frame that are made at once: {quantity}.",
        [Option(p.title, "" if p is asked else "Count the stages of each column of the map once more.") for p in plans],
        [Option(truth, "" if i == place else ask) for i, truth in enumerate(truths)],
        f"{asked.title} keeps {len(asked.stages)} stages, and {truths[place]}: {costs}. Counting stages does not tell "
        "the cost: an hour of each costs what its people and machines cost.",
        asks=("the route", "in cost"),
    )


USES = {
    Pedigree.PUBLISHED: "read the source, and see whether its case is like yours",
    Pedigree.PRACTICE: "ask people who do the work, and plan with the range",
    Pedigree.MEMORY: "look it up again before anything depends on it",
    Pedigree.INVENTED: "measure it in your own lab before you decide",
}


@exercise
def pedigree(draw, room):
    entries = room.rates.entries
    there = [mark for mark in Pedigree if any(entry.pedigree == mark for entry in entries.values())]
    mark = draw.choice("pedigree", there)
    key = draw.choice("key", sorted(key for key, entry in entries.items() if entry.pedigree == mark))
    entry, name = entries[key], in_words(key)
    look = f"Look at the row “{key}” of pp.pedigree(pp.lessons.classroom().rates), column pedigree."
    fits = "That is the care another kind of number needs. What is known about where this one comes from?"
    return choose(
        draw,
        f"The rate card says {name} = {entry.value:g} {entry.unit}. What is its pedigree, and what should a lab do "
        "before it relies on it?",
        [Option(str(each), "" if each == mark else look) for each in Pedigree],
        [Option(use, "" if each == mark else fits) for each, use in USES.items()],
        f"{name} is {mark}; its source says: {entry.source}. Believe {entry.low:g} to {entry.high:g} {entry.unit}.",
        asks=("its pedigree", "so the lab should"),
    )
