"""Printed mould: binder-jet sand moulds and cores, assemble, pour, shake out, finish.

Every cavity has its own sprue, ingate and feeder, or several, sized on the part; cavities share a mould up to the
weight that can be moved and the metal that one crucible holds. What neither mould half shows takes a core.
"""

from functools import partial

import numpy as np

from pourprint.ledger.errors import Infeasible
from pourprint.plans.plan import Plan
from pourprint.plans.steps import BATCH, Level, Stage, Step, Work
from pourprint.process.freezing.solidification import Melt, Mould, shake_out_s
from pourprint.process.packing import boxes_for, layers
from pourprint.process.sand.feeding import cylinder_mm, cylinder_modulus_mm
from pourprint.routes import common
from pourprint.routes.findings import refuse
from pourprint.routes.looks import moulds_of
from pourprint.routes.mould_sizes import NAME

TITLE = "Printed mould"
PRINT = "print moulds and cores"
HEAP = 150  # blocks packed on trial to see how tightly a kit fills the job boxes: within 3% of 300; of 60, 13% short


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    refuse(NAME, job, rates)
    return steps_with(moulds_of(job, rates), job, rates)


def steps_with(moulds, job, rates):
    """The steps for given PartMoulds, one for each part of the kit. Raises: Infeasible."""
    m, design = rates.section(NAME), "design moulds, cores, feeders and gates"
    kit, part = job.kit, common.part_level(job.kit)
    mould = _lots(job, rates, moulds)
    cores = common.mean(kit, [one.cores for one in moulds])
    cores_h = m("design_core") * sum(one.cores for one in moulds)
    cut_cm2 = common.mean(kit, [one.foot_cm2 + one.gating.ingate_mm2 / 100 for one in moulds])
    kit_metal_kg = common.total(kit, [one.metal_kg for one in moulds])

    def poured_kg(kits):
        return kits * kit_metal_kg

    unpacking = (
        Work(mould, hands_on_h=m("unpack_mould"), wait_h=m("curing")),
        Work(part, hands_on_h=m("unpack_each") + m("core_clean") * cores),
    )
    coating = Work(part, hands_on_h=m("coat_each")), Work(BATCH, wait_h=m("coat_drying"))
    closing = Work(mould, hands_on_h=m("assemble_mould")), Work(part, hands_on_h=m("assemble_core") * cores)
    shaking_out = (Work(mould, hands_on_h=m("shake_out")), Work(part, hands_on_h=m("clear_core") * cores))
    sawing = Work(part, hands_on_h=m("cut_handling") + common.cut_off_h(job, rates, cut_cm2))
    return (
        common.check_the_part(job, rates, "casting"),
        common.desk_step(Stage.TOOLING, design, job, rates, f"{NAME}.design", cores_h),
        common.simulate(job, rates),
        _print(job, rates, moulds),
        Step(Stage.MOULD, "unpack, clean and cure", unpacking),
        Step(Stage.MOULD, "coat the cavities and dry them", coating),
        Step(Stage.MOULD, "set cores and close", closing, **common.fails(m("yield_assemble"), PRINT, "mould")),
        common.melt_and_pour(job, rates, mould, poured_kg, common.melts(job, rates, mould, poured_kg), PRINT),
        Step(Stage.POUR, "cool in the sand", (Work(BATCH, wait_h=cooling_h(job, rates, moulds)),)),
        Step(Stage.BREAK_OUT, "shake out and clear the cores", shaking_out),
        Step(Stage.BREAK_OUT, "cut off feeders and gates", (sawing,), machine="saw", attended=True),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, moulds, PRINT),
    )


def plan_with(moulds):
    """The Plan of the job of given PartMoulds, made in them as they are. Raises: Infeasible."""
    job, rates, recipe = moulds[0].job, moulds[0].rates, partial(steps_with, moulds)
    return Plan(NAME, TITLE, job, rates, recipe, recipe(job, rates))


def cooling_h(job, rates, moulds):
    """From the pour until the thickest metal, a feeder or what is left in a basin, is cold enough to shake out [h]."""
    deep_mm = rates["gating.basin_depth"]
    basins_mm = cylinder_modulus_mm(cylinder_mm(rates["gating.basin_volume"], deep_mm), deep_mm)
    thickest_mm = common.largest([basins_mm, *(one.feeder.modulus_mm for one in moulds)])
    m = rates.section(NAME)
    sand = Mould.sand(density_kg_m3=1000 * m("sand_density"), start_c=rates["room.temperature"])
    out_c = m("shake_out_share") * job.alloy["solidus"]
    return shake_out_s(thickest_mm, Melt.of(job.alloy), sand, out_c) / 3600


def _lots(job, rates, moulds):
    """The Level of moulds: cavities share one up to a weight and to a crucible of metal. Raises: Infeasible."""
    limit_kg, crucible_kg = rates["printed_mould.weight_limit"], common.crucible_kg(job, rates)
    for one in moulds:
        if np.any(one.mass_kg > limit_kg):
            raise Infeasible(
                f"the mould of {one.part.title} weighs {np.max(one.mass_kg):.0f} kg with its metal, but this lab moves "
                f"{common.limit(limit_kg)} kg: split the mould, or raise printed_mould.weight_limit for a hoist."
            )
        if np.any(one.metal_kg > crucible_kg):
            raise Infeasible(
                f"{one.part.title} takes {np.max(one.metal_kg):.1f} kg of metal with its feeder and gates, but the "
                f"crucible holds {common.limit(crucible_kg)} kg, and a mould is filled in one pour: raise "
                "foundry.crucible (in kg of AlSi7Mg) for a larger one, or split the part."
            )
    shares = [np.maximum(one.mass_kg / limit_kg, one.metal_kg / crucible_kg) for one in moulds]
    return common.lots("mould", common.total(job.kit, shares))


def job_box_mm(rates):
    """Sides of the printer's job box (..., 3) [mm]."""
    return np.stack(np.broadcast_arrays(*(rates[f"printed_mould.box_{axis}"] for axis in "xyz")), axis=-1)


def boxes_per_kit(job, rates, moulds):
    """Share of a job box that one kit fills [-], and of its height that it takes [mm], measured by packing a heap of
    whole kits on trial.

    A batch is then reckoned in proportion and rounded up. Valid for batches of this mix of parts; a real packing
    of one batch may need one box more or less. Cores are packed as tightly as the blocks.
    """
    space = job_box_mm(rates)
    for one in moulds:
        if np.any(np.sort(one.block_mm, axis=-1) > np.sort(space, axis=-1)):
            raise Infeasible(
                f"the mould of {one.part.title} needs {common.box_text(one.block_mm)} mm, but the job box holds "
                f"{' × '.join(map(common.limit, np.moveaxis(space, -1, 0)))} mm: split the part, or "
                "raise printed_mould.box_x, box_y and box_z for a larger printer."
            )
    kits = int(np.ceil(HEAP / job.kit.nodes))
    return tuple(each / kits for each in _heap(job, rates, moulds, kits))


def _heap(job, rates, moulds, kits):
    """Job boxes that the moulds and cores of some kits fill, and how high they stand in all together [mm]."""
    blocks = np.stack(np.broadcast_arrays(*(one.block_mm for one in moulds)), axis=-2)
    heap = np.repeat(blocks, [item.count * kits for item in job.kit.parts], axis=-2)
    blocks_cm3 = common.total(job.kit, [np.prod(one.block_mm, axis=-1) / 1000 for one in moulds])
    cores_cm3 = common.total(job.kit, [one.core_cm3 for one in moulds]) * (1 + rates["printed_mould.core_print"])
    found = boxes_for(heap, job_box_mm(rates), rates["printed_mould.block_gap"])
    return tuple(each * (1 + cores_cm3 / blocks_cm3) for each in found)


def _print(job, rates, moulds):
    m = rates.section(NAME)
    per_kit, each_mm = boxes_per_kit(job, rates, moulds)
    boxes, alone_mm = common.lots("box", per_kit), _heap(job, rates, moulds, 1)[1]

    def printed_layers(kits):
        # A box is printed only as high as its moulds stand. One kit by itself stands higher than its share of a heap.
        return layers(np.maximum(kits * each_mm, alone_mm * BATCH.per_batch(kits)), m("layer"))

    # Loose sand that carries no binder is sieved and used again: only the moulds' own sand is bought.
    sand_kg = common.total(job.kit, [one.sand_kg for one in moulds])
    bought = {"material.mould_sand": sand_kg, "material.mould_binder": sand_kg * m("binder_fraction")}
    printing = (
        Work(boxes, hands_on_h=m("box_setup"), unload_h=m("box_unload")),
        Work(BATCH, unload_h=m("clean_out")),
        Work(Level("layer", printed_layers), machine_h=m("layer_time") / 3600),
        Work(Level("kit", lambda kits: kits), materials=bought),
    )
    lost = common.fails(m("yield_print"), PRINT, "box")
    return Step(Stage.MOULD, PRINT, printing, machine="sand_printer", rounds=boxes.per_batch, **lost)
