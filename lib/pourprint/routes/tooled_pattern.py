"""Tooled pattern: the serial reference. A machined die, bought outside, makes wax patterns; the rest is
the same shell and pour as for the printed pattern.
"""

from pourprint.plans.steps import BATCH, Stage, Step, Work
from pourprint.routes import common
from pourprint.routes import printed_pattern as shell_route
from pourprint.routes.findings import refuse
from pourprint.routes.shell_sizes import ShellSizes

NAME = "tooled_pattern"
TITLE = "Tooled pattern"
SERIAL = True  # whether it is the serial reference, or one of the printed routes
INJECT = "inject the wax patterns"


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    refuse(NAME, job, rates)
    sizes = ShellSizes(job, rates)
    return (
        common.check_the_part(job, rates, "casting"),
        shell_route.layout(job, rates),
        common.simulate(job, rates),
        _buy_dies(job, rates),
        _inject(sizes),
        *shell_route.from_cluster_on(sizes, INJECT),
    )


def _buy_dies(job, rates):
    different = len(job.kit.parts)
    area_cm2 = sum(item.part.area_cm2 for item in job.kit.parts)
    hours, wait_h = rates["tooled_pattern.die_design"] * different, rates["tooled_pattern.die_wait"]
    bought = {"purchase.die_base": different, "purchase.die_per_cm2": area_cm2}
    return common.desk_step(Stage.DIE, "order and receive the dies", hours, wait_h=wait_h, materials=bought)


def _inject(sizes):
    rates, kit = sizes.rates, sizes.job.kit
    t = rates.section("tooled_pattern")
    wax_cm3 = common.mean(kit, [sizes.pattern_cm3(item.part) for item in kit.parts])
    wax = {"material.pattern_wax": wax_cm3 * rates["cluster.wax_density"] / 1000}
    injecting = (
        Work(BATCH, hands_on_h=t("inject_setup")),
        Work(common.part_level(kit), hands_on_h=t("inject_each"), wait_h=t("inject_cooling"), materials=wax),
    )
    return Step(
        Stage.PATTERN,
        INJECT,
        injecting,
        machine="wax_press",
        attended=True,
        first_pass_yield=t("yield_inject"),
        returns_to=INJECT,
    )
