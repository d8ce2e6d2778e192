"""The course's map: the stages of each route."""

from pourprint.compare import DELAY
from pourprint.routes import plan_all
from pourprint.steps import Stage

SHORT = {  # stage names that fit into a bar
    Stage.DESIGN.title: "design",
    Stage.TOOLING.title: "tooling",
    Stage.SIMULATE.title: "simulate",
    Stage.DIE.title: "die",
    Stage.PATTERN.title: "patterns",
    Stage.ASSEMBLE.title: "cluster",
    Stage.MOULD.title: "mould or print",
    Stage.FIRE.title: "fire",
    Stage.POUR.title: "pour",
    Stage.BREAK_OUT.title: "break out",
    Stage.FINISH.title: "finish",
    DELAY: "price of days",
}

LEFT = 'style="text-align:left"'  # a notebook sets its tables flush right, which suits numbers only


def stage_matrix(here=None):
    """The course's map as an HTML table: routes across, the eleven stages down, each route's steps counted.

    Parameters: `here` a Stage to mark as "you are here", or None. Returns: HTML text.
    """
    plans = example_plans()
    head = "".join(f'<th scope="col" {LEFT}>{plan.title}</th>' for plan in plans)
    rows = []
    for stage in Stage:
        named = ("<br>".join(s.name for s in plan.steps if s.stage == stage) for plan in plans)
        cells = "".join(f"<td {LEFT}>{names}</td>" for names in named)
        mark = "▶ you are here: " if stage is here else ""
        style = ' style="outline:2px solid currentColor"' if stage is here else ""
        rows.append(f'<tr{style}><th scope="row" {LEFT}>{mark}{stage.value} {stage.title}</th>{cells}</tr>')
    counts = "".join(f"<td {LEFT}>{len(p.stages)} stages, {len(p.steps)} steps</td>" for p in plans)
    return (
        f"<table><caption {LEFT}>Stages of each route; an empty cell is a stage that the route does without."
        f'</caption><thead><tr><th scope="col" {LEFT}>stage</th>{head}</tr></thead><tbody>{"".join(rows)}'
        f'<tr><th scope="row" {LEFT}>together</th>{counts}</tr></tbody></table>'
    )


def example_plans():
    """Feasible plans of all routes for a small example part, to read stages and steps from."""
    from pourprint.jobs import Job
    from pourprint.parts import Part

    part = Part.from_numbers("example", volume_cm3=60, area_cm2=210, box_mm=(90, 70, 60))
    return [plan for plan in plan_all(Job(part, "AlSi7Mg")).values() if plan.feasible]
