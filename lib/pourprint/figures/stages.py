"""The course's map: the stages of each route."""

import pandas as pd

from pourprint.figures.tables import table_html
from pourprint.parts.kits import Bore, Kit, KitPart
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible
from pourprint.plans.steps import Stage
from pourprint.routes import plan_all

DELAY = "price of the days"
# Names that fit into a bar, of each stage and of the days.
SHORT = {
    Stage.DESIGN.title: "design", Stage.SIMULATE.title: "simulate", Stage.DIE.title: "die",
    Stage.PATTERN.title: "patterns", Stage.ASSEMBLE.title: "cluster", Stage.FIRE.title: "fire",
    Stage.POUR.title: "pour", Stage.BREAK_OUT.title: "break out", Stage.FINISH.title: "finish", DELAY: "price of days",
}  # fmt: skip
OWN = {  # layout, and mould or print, are something else on each route
    "printed_pattern": ("cluster layout", "shell"), "tooled_pattern": ("cluster layout", "shell"),
    "printed_mould": ("mould design", "print moulds"), "printed_metal": ("plate layout", "print"),
}  # fmt: skip


def short(stage, route):
    """A short name of a stage's title on a route, for a bar."""
    return dict(zip((Stage.TOOLING.title, Stage.MOULD.title), OWN[route], strict=True)).get(stage) or SHORT[stage]


def stage_matrix(here=None):
    """The course's map as an HTML table: routes across, the eleven stages down, each route's steps counted,
    for a small example part with a bore.

    Parameters: `here` a Stage: "you are here", its row alone, with the whole map folded below it; or None.
    Returns: HTML text.
    """
    part = Part.from_numbers("example", volume_cm3=60, area_cm2=210, box_mm=(90, 70, 60))
    kit = Kit("example", (KitPart(part, bores=(Bore(28, 8),)),))
    plans = feasible(plan_all(Job(kit, "AlSi7Mg"))).values()

    def told(cells, caption):
        table = pd.DataFrame.from_dict(cells, "index", columns=[plan.title for plan in plans])
        return table_html(table.rename_axis("stage"), caption)

    rows = {stage: ["\n".join(s.name for s in plan.steps if s.stage == stage) for plan in plans] for stage in Stage}
    named = {f"{stage.value} {stage.title}": cells for stage, cells in rows.items()}
    named["together"] = [f"{len(plan.stages)} stages, {len(plan.steps)} steps" for plan in plans]
    whole = told(named, "Stages of each route; an empty cell is a stage that the route does without.")
    if here is None:
        return whole
    place = told({f"▶ you are here: {here.title}": rows[here]}, f"Stage {here.value} of {len(Stage)}.")
    return f"{place}<details class=pourprint-map><summary>the whole map</summary>{whole}</details>"
