"""Printed pattern: print burn-out patterns, build a ceramic shell round a cluster of them, burn out, pour.

Sizes come from `shell_sizes`: clusters laid out from part boxes, coats by the longest part, drying by humidity and the
slowest blind hole. Not valid for parts beyond the dipping envelope; feeding through the gates is assumed to be enough.
"""

import numpy as np

from pourprint.plans.steps import BATCH, Level, Stage, Step, Work
from pourprint.process.freezing.solidification import Melt
from pourprint.process.heating import heating_h
from pourprint.process.packing import per_bed
from pourprint.process.shell.hot_shell import knock_out_s
from pourprint.routes import common
from pourprint.routes.findings import refuse
from pourprint.routes.shell_sizes import ShellSizes

NAME = "printed_pattern"
TITLE = "Printed pattern"
PRINT = "print the patterns"


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    return steps_with(NAME, ShellSizes(job, rates), _print_patterns, PRINT)


def steps_with(name, sizes, patterns, first):
    """The steps of a route by shells, of some `name`: `patterns` turns ShellSizes into the steps that make patterns,
    and failures send work back to the step named `first`."""
    job, rates = sizes.job, sizes.rates
    refuse(name, job, rates)
    layout, made = "lay out clusters, gates and contraction", patterns(sizes)
    cluster = common.lots("cluster", sizes.per_kit)
    load = Level("kiln load", lambda kits: np.ceil(cluster.per_batch(kits) / rates["shell.kiln_clusters"] - 1e-9))

    def poured_kg(kits):
        return sizes.poured_kg(kits, cluster.per_batch(kits))

    # Shells are poured straight from the kiln: what is fired together is poured from one melt.
    melt = common.melts(job, rates, cluster, poured_kg, load)
    return (
        common.check_the_part(job, rates, "casting"),
        common.desk_step(Stage.TOOLING, layout, job, rates, "printed_pattern.layout"),
        common.simulate(job, rates),
        *made,
        *_build_shells(sizes, cluster, first),
        *_fire(sizes, cluster, load, melt, first),
        common.melt_and_pour(job, rates, cluster, poured_kg, melt, first, within_h=0.0, keeps="kiln"),
        *_break_out(sizes, cluster, first),
    )


def _print_patterns(sizes):
    """Print, in builds as many as the beds hold side by side, and clean."""
    p, kit = sizes.rates.section("printed_pattern"), sizes.job.kit
    part, bed = common.part_level(kit), (p("bed_x"), p("bed_y"), p("bed_z"))
    castings_mm = [box / sizes.scale for box in sizes.boxes_mm]
    fits = [laid_down(box, bed, p("bed_gap")) for box in sizes.boxes_mm]
    limits = f"its bed is {' × '.join(map(common.limit, bed))} mm, contraction counted: glue it, or take a larger bed"
    builds = common.lots("build", common.share_of_lots(kit, fits, castings_mm, "the pattern printer", limits))
    polymer = {"material.pattern_polymer": sizes.kit_polymer_kg / kit.nodes}
    printing = (
        Work(builds, hands_on_h=p("build_setup"), unload_h=p("build_unload")),
        Work(part, machine_h=sizes.printing_h / kit.nodes, materials=polymer),
    )
    lost = common.fails(p("yield_print"), PRINT)
    return (
        Step(Stage.PATTERN, PRINT, printing, machine="pattern_printer", rounds=builds.per_batch, **lost),
        Step(Stage.PATTERN, "clean, seal and check the patterns", (Work(part, hands_on_h=p("clean_each")),)),
    )


def laid_down(box_mm, bed_mm, gap_mm):
    """How many equal boxes (..., 3) [mm] lie on a bed (x, y, z) [mm], on whichever side most of them can stand [-]."""
    ways = [np.roll(box_mm, turn, axis=-1) for turn in range(3)]
    return common.largest(np.where(way[..., 2] <= bed_mm[2], per_bed(way, bed_mm[:2], gap_mm), 0) for way in ways)


def kiln_h(rates, hottest_c):
    """Time to bring the kiln from the room to a temperature [°C], or back [h]. Raises: InputError."""
    return heating_h(hottest_c, rates["shell.kiln_heating"], rates["room.temperature"])


def cooling_h(sizes):
    """From the pour until the thickest metal, the runner, is cold enough to knock out [h]."""
    s, runner_mm = sizes.rates.section("shell"), sizes.runner_mm / 4  # modulus of a bar
    shell = sizes.mould(loss_w_m2k=s("cooling_loss"))
    return knock_out_s(runner_mm, Melt.of(sizes.job.alloy), shell, s("knock_out_temperature")) / 3600


def _build_shells(sizes, cluster, first):
    """Glue clusters, coat and dry them; a failure spoils one and sends work back to the step named `first`."""
    job, p, s = sizes.job, sizes.rates.section("printed_pattern"), sizes.rates.section("shell")
    part = common.part_level(job.kit)
    coat = Level("coat", lambda kits: sizes.stuccoed * cluster.per_batch(kits))
    wax = {"material.runner_wax": sizes.tree_cm3 * sizes.rates["cluster.wax_density"] / 1000}
    shell_kg = common.mean(job.kit, [sizes.shell_kg(item.part) for item in job.kit.parts])
    glueing = Work(part, hands_on_h=p("glue_each")), Work(cluster, hands_on_h=p("cluster_setup"), materials=wax)
    coating = (
        Work(coat, hands_on_h=s("dip_time"), wait_h=sizes.interval_h),
        Work(cluster, materials={"material.shell": sizes.runner_shell_kg}),
        Work(part, materials={"material.shell": shell_kg}),
    )
    sealing = (Work(cluster, hands_on_h=s("dip_time")), Work(BATCH, wait_h=s("final_drying")))
    glued, coated = (common.fails(p(key), first, "cluster") for key in ("yield_assemble", "yield_shell"))

    def rounds(kits):
        return sizes.stuccoed * BATCH.per_batch(kits)

    return (
        Step(Stage.ASSEMBLE, "glue patterns to the runner", glueing, **glued),
        Step(Stage.MOULD, "dip and stucco the coats", coating, rounds=rounds, **coated),
        Step(Stage.MOULD, "seal and dry the shell", sealing),
    )


def _fire(sizes, cluster, load, melt, first):
    """Burn out in kiln loads, look inside, fire what is poured from one melt."""
    job, rates = sizes.job, sizes.rates
    s, part = rates.section("shell"), common.part_level(job.kit)
    ramp_h = kiln_h(rates, s("burn_out_temperature"))
    holding = Level("hour at heat", lambda kits: sizes.hold_h(kits, load.per_batch(kits)))
    preheat_h = kiln_h(rates, sizes.start_c) + s("preheat")
    burning = (
        Work(load, hands_on_h=s("kiln_setup"), machine_h=ramp_h, cooling_h=ramp_h, unload_h=s("kiln_unload")),
        Work(holding, machine_h=1.0),
    )
    firing = Work(melt, hands_on_h=s("kiln_setup"), machine_h=preheat_h)
    patching = (
        Work(cluster, hands_on_h=s("patch_time"), wait_h=s("patch_drying")),
        Work(part, hands_on_h=sizes.kit_ash_g / job.kit.nodes * s("ash_time")),
    )
    burnt = rates[f"{'printed' if sizes.printed else 'tooled'}_pattern.yield_burn_out"]
    lost = common.fails(burnt, first, "cluster")
    return (
        Step(Stage.FIRE, "burn out the patterns", burning, machine="kiln", rounds=load.per_batch, **lost),
        Step(Stage.FIRE, "rinse, inspect and patch the shells", patching),
        Step(Stage.FIRE, "fire and preheat the shells", (firing,), machine="kiln", rounds=melt.per_batch),
    )


def _break_out(sizes, cluster, first):
    """Cool, break out, cut off and finish."""
    job, rates = sizes.job, sizes.rates
    s, part = rates.section("shell"), common.part_level(job.kit)
    gate_cm2 = common.mean(job.kit, [np.pi / 4 * sizes.gate_mm[item.part] ** 2 / 100 for item in job.kit.parts])
    sawing = Work(part, hands_on_h=s("gate_cut") + common.cut_off_h(job, rates, gate_cm2))
    return (
        Step(Stage.POUR, "cool in the shell", (Work(BATCH, wait_h=cooling_h(sizes)),)),
        Step(Stage.BREAK_OUT, "knock out and wash", (Work(cluster, hands_on_h=s("knock_out")),)),
        Step(Stage.BREAK_OUT, "cut off and grind the gates", (sawing,), machine="saw", attended=True),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, sizes.machining, first),
    )
