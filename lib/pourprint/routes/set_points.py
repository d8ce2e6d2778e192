"""What a workshop sets at each step of a plan, and the sizes of what it builds round each part.

Settings are the numbers that the plan reads of its card and alloy, and a few that follow from the kit. They are
planning values: the supplier's data sheet comes first.
"""

from pourprint.ledger.checks import own_data
from pourprint.routes.shell_sizes import ShellSizes

BURN_OUT = "burn out the patterns"  # who has this step builds shells


def set_points(plan):
    """What is set at each step of a feasible plan of single numbers, with where it comes from.

    Returns: pandas table of step, setting, value, unit, pedigree, source, indexed by step.
    """
    import pandas as pd

    job, worked_out, origin = plan.job, _worked_out(plan), ("computed", "follows from kit, card and alloy")
    rows = []
    for step in plan.steps:
        rows += [(step.name, *setting, *origin) for setting in worked_out.get(step.name, ())]
        for key in own_data("set_points").get(step.name, ()):
            entry = (plan.rates.entries if "." in key else job.alloy.entries).get(key)
            if entry is not None and entry.value:
                words = key.rpartition(".")[2].replace("_", " ")
                rows.append((step.name, words, entry.value, entry.unit, str(entry.pedigree), entry.source))
    return pd.DataFrame(rows, columns=["step", "setting", "value", "unit", "pedigree", "source"]).set_index("step")


def _worked_out(plan):
    """{step: ((what, value, unit), …)} of what follows from the kit."""
    job = plan.job
    burning = next((step for step in plan.steps if step.name == BURN_OUT), None)
    if burning is None:
        hottest_c = plan.rates["printed_mould.shake_out_share"] * job.alloy["solidus"]
        return {"cool in the sand": (("shake out when the metal is below", hottest_c, "°C"),)}
    sizes, kits = ShellSizes(job, plan.rates, plan.route != "tooled_pattern"), min(job.quantity, job.batch_size)
    loads = burning.rounds(kits)
    core = ", ".join(f"{diameter:g}" for diameter in sizes.closing_mm)
    return {
        "lay out clusters, gates and contraction": (
            ("patterns larger by", 100 * (float(sizes.scale) - 1), "%"),
            ("gap between patterns", float(sizes.gap_mm), "mm"),
            ("runner diameter", float(sizes.runner_mm), "mm"),
        ),
        "glue patterns to the runner": (("gate length", float(sizes.gate_length_mm), "mm"),),
        "dip and stucco the coats": (
            ("coats, the seal coat included", float(sizes.coats), "-"),
            ("shell thickness in the end", float(sizes.thickness_mm), "mm"),
            ("mean drying after a coat", float(sizes.interval_h), "h"),
            *((("with a core, since they fill up, sockets of", core, "mm"),) if core else ()),
        ),
        BURN_OUT: (("hold of a load", float(sizes.hold_h(kits, loads) / loads), "h"),),
        "fire and preheat the shells": (("shell at the pour", float(sizes.start_c), "°C"),),
    }
