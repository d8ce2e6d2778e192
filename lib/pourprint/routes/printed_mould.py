"""Printed mould: binder-jet sand moulds and cores, assemble, pour, shake out, finish.

First planning model: each part takes the room of its box, sand walls and one feeder on top; parts share
moulds up to a weight limit; every bore and socket takes a core. Not valid for parts that do not fit the job box.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.errors import Infeasible
from pourprint.process.feeding import cylinder_cm3, feeder_diameter_mm, feeder_volume_cm3
from pourprint.process.sand_printing import block_mm, layers
from pourprint.routes import _common as common
from pourprint.steps import BATCH, JOB, Level, Stage, Step, Work

NAME = "printed_mould"
TITLE = "Printed mould"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print moulds and cores"


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    m = rates.section(NAME)
    kit, part = job.kit, common.part_level(job.kit)
    tolerance = common.cast_hole_tolerance(m("casting_grade"))
    machining = common.machining_of(job, rates, tolerance, m("machining_stock"))
    feeders = [feeder(item.part, job, rates) for item in kit.parts]
    metal_cm3 = [
        (item.part.volume_cm3 + work.stock_cm3 + head.volume_cm3) * (1 + m("gating_fraction"))
        for item, work, head in zip(kit.parts, machining, feeders, strict=True)
    ]
    rooms_mm = [
        block_mm(item.part.box_mm, m("wall"), head.height_mm) for item, head in zip(kit.parts, feeders, strict=True)
    ]
    sand_l = [np.prod(room, axis=-1) / 1e6 for room in rooms_mm]
    mould = _moulds(job, rates, metal_cm3, sand_l)
    cores = common.mean(kit, _cores)
    kit_metal_cm3 = sum(item.count * cm3 for item, cm3 in zip(kit.parts, metal_cm3, strict=True))
    cut_cm2 = sum(
        item.count * np.pi / 4 * head.diameter_mm**2 / 100 for item, head in zip(kit.parts, feeders, strict=True)
    )
    return (
        common.check_the_part(job, rates, "casting"),
        _design(job, rates),
        common.simulate(job, rates),
        _print(job, rates, rooms_mm, kit_metal_cm3),
        Step(
            Stage.MOULD,
            "unpack, clean and cure",
            (
                Work(mould, hands_on_h=m("unpack_mould"), wait_h=m("curing")),
                Work(part, hands_on_h=m("unpack_each") + m("core_clean") * cores),
            ),
        ),
        Step(
            Stage.MOULD,
            "coat, set cores and close",
            (
                Work(mould, hands_on_h=m("assemble_mould"), wait_h=m("coat_drying")),
                Work(part, hands_on_h=m("assemble_each") + m("assemble_core") * cores),
            ),
            first_pass_yield=m("yield_assemble"),
            spoils="mould",
            returns_to=PRINT,
        ),
        common.melt_and_pour(
            job, rates, mould, lambda kits: kits * kit_metal_cm3 * job.alloy["density"] / 1000, "mould", PRINT
        ),
        Step(Stage.POUR, "cool in the sand", (Work(BATCH, wait_h=m("cooling")),)),
        Step(
            Stage.BREAK_OUT,
            "shake out and clear the cores",
            (Work(mould, hands_on_h=m("shake_out")), Work(part, hands_on_h=m("clear_core") * cores)),
        ),
        Step(
            Stage.BREAK_OUT,
            "cut off feeders and gates",
            (Work(part, hands_on_h=m("cut_handling") + cut_cm2 / kit.nodes / m("cut_rate")),),
            machine="saw",
            attended=True,
        ),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, machining, PRINT),
    )


@dataclass(frozen=True)
class Feeder:
    """A cylindrical feeder: sizes [mm] and volume [cm3]."""

    diameter_mm: np.ndarray | float
    height_mm: np.ndarray | float
    volume_cm3: np.ndarray | float


def feeder(part, job, rates):
    """The Feeder of one part, large enough by both feeding rules."""
    ratio = rates["feeding.height_ratio"]
    by_modulus = feeder_diameter_mm(part.modulus_mm, rates["feeding.modulus_ratio"], ratio)
    needed_cm3 = feeder_volume_cm3(part.volume_cm3, job.alloy["shrinkage"] / 100, rates["feeding.efficiency"])
    by_volume = np.cbrt(1000 * needed_cm3 * 4 / (np.pi * ratio))
    diameter = np.maximum(by_modulus, by_volume)
    return Feeder(diameter, ratio * diameter, cylinder_cm3(diameter, ratio * diameter))


def _cores(item):
    return len(item.bores) + len(item.sockets)


def _moulds(job, rates, metal_cm3, sand_l):
    """The Level of moulds: parts share a mould up to the weight that can be moved. Raises: Infeasible."""
    limit_kg, filled = rates["printed_mould.weight_limit"], 0.0
    for item, metal, room in zip(job.kit.parts, metal_cm3, sand_l, strict=True):
        mass_kg = metal * job.alloy["density"] / 1000 + (room - metal / 1000) * rates["printed_mould.sand_density"]
        if np.any(mass_kg > limit_kg):
            raise Infeasible(
                f"the mould of {item.part.name} weighs {np.max(mass_kg):.0f} kg with its metal, but this lab moves "
                f"{common.limit(limit_kg)} kg: split the mould, or raise printed_mould.weight_limit for a hoist."
            )
        filled = filled + item.count * mass_kg / limit_kg
    return common.lots("mould", filled)


def _design(job, rates):
    hours = (
        rates["printed_mould.design_base"]
        + rates["printed_mould.design_each"] * len(job.kit.parts)
        + rates["printed_mould.design_core"] * sum(_cores(item) for item in job.kit.parts)
    )
    return Step(
        Stage.TOOLING, "design moulds, cores, feeders and gates", (Work(JOB, hands_on_h=hours),), who="labour.engineer"
    )


def _print(job, rates, rooms_mm, kit_metal_cm3):
    m = rates.section(NAME)
    job_box = np.stack(np.broadcast_arrays(m("box_x"), m("box_y"), m("box_z")), axis=-1)
    kit_l, lowest_mm = 0.0, 0.0
    for item, sizes in zip(job.kit.parts, rooms_mm, strict=True):
        if np.any(np.sort(sizes, axis=-1) > np.sort(job_box)):
            need = " × ".join(f"{np.max(side):.0f}" for side in np.moveaxis(sizes, -1, 0))
            have = " × ".join(map(common.limit, np.moveaxis(job_box, -1, 0)))
            raise Infeasible(f"the mould of {item.part.name} needs {need} mm, but the job box holds {have} mm.")
        kit_l = kit_l + item.count * np.prod(sizes, axis=-1) / 1e6
        lowest_mm = np.maximum(lowest_mm, np.min(sizes, axis=-1))
    boxes = common.lots("box", kit_l / (np.prod(job_box, axis=-1) / 1e6 * m("packing")))

    def printed_layers(kits):
        # A box that is not full is printed only as high as its moulds stand, but never lower than the tallest part.
        height = kits * kit_l * 1e6 / (m("box_x") * m("box_y") * m("packing"))
        return layers(np.maximum(height, lowest_mm * BATCH.per_batch(kits)), m("layer"))

    # Loose sand that carries no binder is sieved and used again: only the moulds' own sand is bought.
    sand_kg = (kit_l - kit_metal_cm3 / 1000) * m("sand_density")
    bought = {"material.mould_sand": sand_kg, "material.mould_binder": sand_kg * m("binder_fraction")}
    return Step(
        Stage.MOULD,
        PRINT,
        (
            Work(boxes, hands_on_h=m("box_setup")),
            Work(Level("layer", printed_layers), machine_h=m("layer_time") / 3600),
            Work(Level("kit", lambda kits: kits), materials=bought),
        ),
        machine="sand_printer",
        rounds=boxes.per_batch,
        first_pass_yield=m("yield_print"),
        spoils="box",
        returns_to=PRINT,
    )
