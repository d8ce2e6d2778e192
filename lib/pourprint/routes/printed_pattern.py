"""Printed pattern: print burn-out patterns, build a ceramic shell round a cluster of them, burn out, pour.

First planning model: clusters by ring and tier from part boxes, coats by the longest part, one kiln.
Not valid for parts beyond the dipping envelope; feeding through the gates is assumed to be enough.
"""

import numpy as np

from pourprint.process.feeding import cylinder_cm3
from pourprint.process.packing import per_cluster, per_stack
from pourprint.process.shell import by_size, shell_mass_kg
from pourprint.routes import _common as common
from pourprint.steps import BATCH, JOB, Level, Stage, Step, Work

NAME = "printed_pattern"
TITLE = "Printed pattern"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print the patterns"


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    return (
        common.check_the_part(job, rates, "casting"),
        layout(job, rates),
        common.simulate(job, rates),
        *_print_patterns(job, rates),
        *from_cluster_on(job, rates, PRINT),
    )


def layout(job, rates):
    """Lay out clusters, gates and contraction, once a job."""
    hours = rates["printed_pattern.layout_base"] + rates["printed_pattern.layout_each"] * len(job.kit.parts)
    return Step(
        Stage.TOOLING,
        "lay out clusters, gates and contraction",
        (Work(JOB, hands_on_h=hours),),
        who="labour.engineer",
    )


def pattern_cm3(part, job):
    """Volume of the part's pattern, larger by the metal's contraction [cm3]."""
    return part.volume_cm3 * (1 + job.alloy["contraction"] / 100) ** 3


def _print_patterns(job, rates):
    p = rates.section("printed_pattern")
    kit, part = job.kit, common.part_level(job.kit)
    bed = (p("bed_x"), p("bed_y"), p("bed_z"))
    builds = common.lots(
        "build",
        common.share_of_lots(
            kit,
            lambda piece: per_stack(piece.box_mm, bed, p("bed_gap")),
            f"its bed is {' × '.join(map(common.limit, bed))} mm",
            "the pattern printer",
        ),
    )
    polymer_cm3 = common.mean(kit, lambda item: pattern_cm3(item.part, job)) * p("fill_fraction")
    polymer = {"material.pattern_polymer": polymer_cm3 * p("polymer_density") / 1000}
    return (
        Step(
            Stage.PATTERN,
            PRINT,
            (
                Work(builds, hands_on_h=p("build_setup")),
                Work(part, machine_h=polymer_cm3 / p("print_rate"), materials=polymer),
            ),
            machine="pattern_printer",
            rounds=builds.per_batch,
            first_pass_yield=p("yield_print"),
            returns_to=PRINT,
        ),
        Step(Stage.PATTERN, "clean, seal and check the patterns", (Work(part, hands_on_h=p("clean_each")),)),
    )


def clusters_of(job, rates):
    """The Level of clusters: as many parts on each as ring, tiers and the weight limit allow."""
    c = rates.section("cluster")
    runner_kg = _runner_cm3(rates) * job.alloy["density"] / 1000
    thickness = shell_thickness_mm(job, rates)

    def capacity(part):
        hung = per_cluster(part.box_mm, c("runner_diameter"), c("runner_length"), c("dip_diameter"), c("gap"))
        shell_kg = shell_mass_kg(part.area_cm2, thickness, rates["shell.density"])
        each_kg = part.volume_cm3 * (1 + c("gate_fraction")) * job.alloy["density"] / 1000 + shell_kg
        return np.minimum(hung, np.floor((c("weight_limit") - runner_kg) / each_kg))

    limits = (
        f"parts hang inside {common.limit(c('dip_diameter'))} mm on a runner of "
        f"{common.limit(c('runner_diameter'))} × {common.limit(c('runner_length'))} mm, and a cluster weighs "
        f"at most {common.limit(c('weight_limit'))} kg"
    )
    return common.lots("cluster", common.share_of_lots(job.kit, capacity, limits, "a cluster"))


def _runner_cm3(rates):
    runner = cylinder_cm3(rates["cluster.runner_diameter"], rates["cluster.runner_length"])
    return runner + rates["cluster.cup_volume"]


def _longest_mm(job):
    longest = 0.0
    for item in job.kit.parts:
        longest = np.maximum(longest, np.max(item.part.box_mm, axis=-1))
    return longest


def coats(job, rates):
    """Shell coats for the kit's longest part [-]."""
    s = rates.section("shell")
    return np.ceil(by_size(_longest_mm(job), s("size_small"), s("size_large"), s("coats_small"), s("coats_large")))


def shell_thickness_mm(job, rates):
    """Shell thickness for the kit's longest part [mm]."""
    s = rates.section("shell")
    return by_size(_longest_mm(job), s("size_small"), s("size_large"), s("thickness_small"), s("thickness_large"))


def coat_interval_h(job, rates):
    """Drying between coats [h]: longer the deeper the deepest blind hole is for its diameter."""
    holes = [hole for item in job.kit.parts for hole in item.sockets]
    slenderness = max((hole.depth_mm / hole.diameter_mm for hole in holes), default=0.0)
    return rates["shell.coat_interval"] * (1 + rates["shell.cavity_delay"] * slenderness)


def from_cluster_on(job, rates, first):
    """The steps from the cluster to the finished part; a failure sends work back to the step named `first`."""
    s = rates.section("shell")
    kit, part, cluster = job.kit, common.part_level(job.kit), clusters_of(job, rates)
    tolerance = common.cast_hole_tolerance(rates["printed_pattern.casting_grade"])
    machining = common.machining_of(job, rates, tolerance, rates["printed_pattern.machining_stock"])
    runner_cm3 = _runner_cm3(rates)
    n_coats, thickness = coats(job, rates), shell_thickness_mm(job, rates)
    coat = Level("coat", lambda kits: n_coats * cluster.per_batch(kits))
    load = Level("kiln load", lambda kits: np.ceil(cluster.per_batch(kits) / s("kiln_clusters") - 1e-9))
    runner_area_cm2 = np.pi * rates["cluster.runner_diameter"] * rates["cluster.runner_length"] / 100
    parts_cm3 = sum(
        item.count * (item.part.volume_cm3 + work.stock_cm3) for item, work in zip(kit.parts, machining, strict=True)
    )
    metal_cm3 = parts_cm3 * (1 + rates["cluster.gate_fraction"])

    def poured_kg(kits):
        return (kits * metal_cm3 + cluster.per_batch(kits) * runner_cm3) * job.alloy["density"] / 1000

    part_shell = shell_mass_kg(common.mean(kit, lambda item: item.part.area_cm2), thickness, s("density"))
    runner_shell = shell_mass_kg(runner_area_cm2, thickness, s("density"))
    return (
        Step(
            Stage.ASSEMBLE,
            "glue patterns to the runner",
            (
                Work(part, hands_on_h=rates["printed_pattern.glue_each"]),
                Work(
                    cluster,
                    hands_on_h=rates["printed_pattern.cluster_setup"],
                    materials={"material.runner_wax": runner_cm3 * rates["cluster.wax_density"] / 1000},
                ),
            ),
            first_pass_yield=rates["printed_pattern.yield_assemble"],
            spoils="cluster",
            returns_to=first,
        ),
        Step(
            Stage.MOULD,
            "dip and stucco the coats",
            (
                Work(coat, hands_on_h=s("dip_time"), wait_h=coat_interval_h(job, rates)),
                Work(cluster, materials={"material.shell": runner_shell}),
                Work(part, materials={"material.shell": part_shell}),
            ),
            rounds=lambda kits: n_coats * BATCH.per_batch(kits),
            first_pass_yield=rates["printed_pattern.yield_shell"],
            spoils="cluster",
            returns_to=first,
        ),
        Step(Stage.MOULD, "dry the finished shell", (Work(BATCH, wait_h=s("final_drying")),)),
        Step(
            Stage.FIRE,
            "burn out the patterns",
            (Work(load, hands_on_h=s("kiln_setup"), machine_h=s("burn_out") + s("kiln_ramp")),),
            machine="kiln",
            rounds=load.per_batch,
            first_pass_yield=rates["printed_pattern.yield_burn_out"],
            spoils="cluster",
            returns_to=first,
        ),
        Step(
            Stage.FIRE,
            "rinse, inspect and patch the shells",
            (Work(cluster, hands_on_h=s("patch_time"), wait_h=s("patch_drying")),),
        ),
        Step(
            Stage.FIRE,
            "fire and preheat the shells",
            (Work(load, hands_on_h=s("kiln_setup"), machine_h=s("preheat")),),
            machine="kiln",
            rounds=load.per_batch,
        ),
        common.melt_and_pour(job, rates, cluster, poured_kg, "cluster", first),
        Step(Stage.POUR, "cool in the shell", (Work(BATCH, wait_h=s("cooling")),)),
        Step(Stage.BREAK_OUT, "knock out and wash", (Work(cluster, hands_on_h=s("knock_out")),)),
        Step(
            Stage.BREAK_OUT,
            "cut off and grind the gates",
            (Work(part, hands_on_h=s("gate_cut")),),
            machine="saw",
            attended=True,
        ),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, machining, first),
    )
