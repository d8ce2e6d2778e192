"""Tooled pattern: the serial reference. A machined die, bought outside, makes wax patterns; the rest is
the same shell and pour as for the printed pattern.
"""

from pourprint.plans.steps import BATCH, JOB, Stage, Step, Work
from pourprint.routes import common
from pourprint.routes import printed_pattern as shell_route
from pourprint.routes.shell_sizes import ShellSizes

NAME = "tooled_pattern"
TITLE = "Tooled pattern"
INJECT = "inject the wax patterns"


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    return shell_route.steps_with(NAME, ShellSizes(job, rates, printed=False), _make_patterns, INJECT)


def _make_patterns(sizes):
    """Buy a die for each different part, and inject wax."""
    job, rates = sizes.job, sizes.rates
    different = len(job.kit.parts)
    area_cm2 = sum(item.part.area_cm2 for item in job.kit.parts)
    t, hours = rates.section("tooled_pattern"), rates["tooled_pattern.die_design"] * different
    bought = {"purchase.die_base": different, "purchase.die_per_cm2": area_cm2}
    wax_cm3 = common.mean(job.kit, sizes.patterns_cm3)
    wax = {"material.pattern_wax": wax_cm3 * rates["cluster.wax_density"] / 1000}
    injecting = (
        Work(BATCH, hands_on_h=t("inject_setup")),
        Work(common.part_level(job.kit), hands_on_h=t("inject_each"), wait_h=t("inject_cooling"), materials=wax),
    )
    lost = common.fails(t("yield_inject"), INJECT)
    dies = Work(JOB, hands_on_h=hours, wait_h=t("die_wait"), materials=bought)
    return (
        Step(Stage.DIE, "order and receive the dies", (dies,), who="labour.engineer"),
        Step(Stage.PATTERN, INJECT, injecting, machine="wax_press", attended=True, **lost),
    )
