"""Printed mould: binder-jet sand moulds and cores, assemble, pour, shake out, finish.

Every cavity has its own feeder, sprue and ingate, sized on the part; cavities share a mould up to the weight that
can be moved and the metal that one crucible holds. What neither mould half shows takes a core.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import Infeasible
from pourprint.plans.steps import BATCH, Level, Stage, Step, Work
from pourprint.process.freezing.section_modulus import hottest_section, nearest_metals
from pourprint.process.freezing.solidification import Melt, Mould, shake_out_s
from pourprint.process.packing import boxes_for, layers
from pourprint.process.sand.feeding import Feeder, cylinder_cm3, feeder
from pourprint.process.sand.gating import Gating, gating
from pourprint.process.sand.parting import PartingStudy, block_mm
from pourprint.routes import common
from pourprint.routes.findings import refuse

NAME = "printed_mould"
TITLE = "Printed mould"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print moulds and cores"
HEAP = 60  # blocks packed on trial to see how tightly a kit fills the job boxes: within 2 % of 300 (demo kit)


@dataclass(frozen=True)
class PartMould:
    """The mould of one part, a cavity and what belongs to it: numbers or arrays (...).

    part: as wanted. study: how the mould opens; places are in its frame, u, v, w. modulus_mm, hot_mm (..., 3): of the
    hottest section, and where it is [mm]; spots: places that freeze later than all around them [-]. features,
    stock_cm3: holes and faces to machine [-] and their stock [cm3]. feeder, gating: their sizes. low_mm, high_mm
    (..., 3): corners of the room of part and feeder, and block_mm (..., 3): the sand block round it [mm]. cores [-],
    core_cm3: how many and how much of the casting they form. metal_cm3: casting, feeder and gating; sand_kg: bonded
    sand, cores included.
    """

    part: object
    study: PartingStudy
    modulus_mm: np.ndarray | float
    hot_mm: np.ndarray
    spots: int
    features: np.ndarray | int
    stock_cm3: np.ndarray | float
    feeder: Feeder
    gating: Gating
    low_mm: np.ndarray
    high_mm: np.ndarray
    block_mm: np.ndarray
    cores: np.ndarray | int
    core_cm3: np.ndarray | float
    metal_cm3: np.ndarray | float
    metal_kg: np.ndarray | float
    sand_kg: np.ndarray | float

    @property
    def casting_yield(self):
        """Metal of the part as delivered over metal poured [-]."""
        return self.part.volume_cm3 / self.metal_cm3

    @property
    def sand_to_metal(self):
        """Bonded sand over metal poured, both by mass [-]."""
        return self.sand_kg / self.metal_kg

    @property
    def farthest_mm(self):
        """From the edge of the feeder to the metal farthest from the hottest section, in a straight line [mm].

        For a part with a mesh of one size. Raises: InputError.
        """
        vertices, _ = self.part.needed_mesh("looked at from its feeder")
        away = np.linalg.norm(vertices @ self.study.frame.T - self.hot_mm, axis=1).max()
        return float(away - self.feeder.diameter_mm / 2)

    @property
    def mass_kg(self):
        """Sand and metal together [kg]."""
        return self.sand_kg + self.metal_kg


def moulds_of(job, rates):
    """The PartMould of each part of a job's kit, in the kit's order: (Job, RateCard) → tuple. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    m = rates.section(NAME)
    tolerance = common.cast_hole_tolerance(m("casting_grade"))
    machining = common.machining_of(job, rates, tolerance, m("machining_stock"), m("core_clearance"))
    return tuple(_mould(item, work, job, rates) for item, work in zip(job.kit.parts, machining, strict=True))


def _mould(item, work, job, rates):
    m, part, density = rates.section(NAME), item.part, job.alloy["density"]
    study, section = part.study(PartingStudy), hottest_section(part, nearest_metals(job.alloy))
    hot_mm = section.place_mm @ study.frame.T  # in the mould's frame
    casting_cm3 = part.volume_cm3 + work.stock_cm3
    head = feeder(section.modulus_mm, casting_cm3, job.alloy["shrinkage"] / 100, rates.section("feeding"))
    # The feeder stands over the hottest section, on the level of the part's top, and may stick out sideways.
    radius = np.asarray(head.diameter_mm)[..., None] / 2 * np.array([1, 1, 0])
    high = np.maximum(study.high_mm, hot_mm + radius) + np.asarray(head.height_mm)[..., None] * np.array([0, 0, 1])
    low = np.minimum(study.low_mm, hot_mm - radius)
    filled_cm3, above_mm = casting_cm3 + head.volume_cm3, study.above_mm + head.height_mm
    sizes = filled_cm3, filled_cm3 * density / 1000, above_mm + m("wall"), above_mm, (high - low)[..., 2]
    way = gating(*sizes, rates.section("gating"))
    block = block_mm(high - low, m("wall"), rates["gating.gate_length"] + np.sqrt(4 / np.pi * way.top_mm2))
    metal_cm3 = filled_cm3 + way.volume_cm3
    # Of a part without a mesh only the listed holes are known: each takes a core.
    holes = (*item.bores, *item.sockets)
    listed = len(holes), sum(cylinder_cm3(hole.diameter_mm, hole.depth_mm) for hole in holes)
    cores, core_cm3 = study.cores(m("core_least")) if study.known else listed
    return PartMould(
        part=part,
        study=study,
        modulus_mm=section.modulus_mm,
        hot_mm=hot_mm,
        spots=section.spots,
        features=work.features,
        stock_cm3=work.stock_cm3,
        feeder=head,
        gating=way,
        low_mm=low,
        high_mm=high,
        block_mm=block,
        cores=cores,
        core_cm3=core_cm3,
        metal_cm3=metal_cm3,
        metal_kg=metal_cm3 * density / 1000,
        sand_kg=(np.prod(block, axis=-1) - 1000 * metal_cm3) / 1e6 * m("sand_density"),
    )


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    refuse(NAME, job, rates)
    m = rates.section(NAME)
    kit, part = job.kit, common.part_level(job.kit)
    moulds = moulds_of(job, rates)
    mould = _lots(job, rates, moulds)
    cores = common.mean(kit, [one.cores for one in moulds])
    cut_cm2 = common.mean(kit, [one.feeder.foot_cm2 + one.gating.ingate_mm2 / 100 for one in moulds])
    kit_metal_kg = common.total(kit, [one.metal_kg for one in moulds])

    def poured_kg(kits):
        return kits * kit_metal_kg

    unpacking = (
        Work(mould, hands_on_h=m("unpack_mould"), wait_h=m("curing")),
        Work(part, hands_on_h=m("unpack_each") + m("core_clean") * cores),
    )
    closing = (
        Work(mould, hands_on_h=m("assemble_mould"), wait_h=m("coat_drying")),
        Work(part, hands_on_h=m("assemble_each") + m("assemble_core") * cores),
    )
    shaking_out = (Work(mould, hands_on_h=m("shake_out")), Work(part, hands_on_h=m("clear_core") * cores))
    sawing = Work(part, hands_on_h=m("cut_handling") + common.cut_off_h(job, rates, cut_cm2))
    return (
        common.check_the_part(job, rates, "casting"),
        _design(job, rates, moulds),
        common.simulate(job, rates),
        _print(job, rates, moulds),
        Step(Stage.MOULD, "unpack, clean and cure", unpacking),
        Step(
            Stage.MOULD,
            "coat, set cores and close",
            closing,
            first_pass_yield=m("yield_assemble"),
            spoils="mould",
            returns_to=PRINT,
        ),
        common.melt_and_pour(job, rates, mould, poured_kg, common.melts(job, rates, mould, poured_kg), PRINT),
        Step(Stage.POUR, "cool in the sand", (Work(BATCH, wait_h=cooling_h(job, rates, moulds)),)),
        Step(Stage.BREAK_OUT, "shake out and clear the cores", shaking_out),
        Step(Stage.BREAK_OUT, "cut off feeders and gates", (sawing,), machine="saw", attended=True),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, moulds, PRINT),
    )


def cooling_h(job, rates, moulds):
    """From the pour until the thickest metal, a feeder, is cold enough to shake out [h]."""
    thickest_mm = common.largest(one.feeder.modulus_mm for one in moulds)
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
                f"the mould of {one.part.name} weighs {np.max(one.mass_kg):.0f} kg with its metal, but this lab moves "
                f"{common.limit(limit_kg)} kg: split the mould, or raise printed_mould.weight_limit for a hoist."
            )
        if np.any(one.metal_kg > crucible_kg):
            raise Infeasible(
                f"{one.part.name} takes {np.max(one.metal_kg):.1f} kg of metal with its feeder and gates, but the "
                f"crucible holds {common.limit(crucible_kg)} kg, and a mould is filled in one pour: raise "
                "foundry.crucible (in kg of AlSi7Mg) for a larger one, or split the part."
            )
    shares = [np.maximum(one.mass_kg / limit_kg, one.metal_kg / crucible_kg) for one in moulds]
    return common.lots("mould", common.total(job.kit, shares))


def _design(job, rates, moulds):
    hours = (
        rates["printed_mould.design_base"]
        + rates["printed_mould.design_each"] * len(job.kit.parts)
        + rates["printed_mould.design_core"] * sum(one.cores for one in moulds)
    )
    return common.desk_step(Stage.TOOLING, "design moulds, cores, feeders and gates", hours)


def job_box_mm(rates):
    """Sides of the printer's job box (..., 3) [mm]."""
    return np.stack(np.broadcast_arrays(*(rates[f"printed_mould.box_{axis}"] for axis in "xyz")), axis=-1)


def boxes_per_kit(job, rates, moulds):
    """Share of a job box that one kit fills [-], measured by packing a heap of whole kits on trial.

    A batch is then reckoned in proportion and rounded up. Valid for batches of this mix of parts; a real packing
    of one batch may need one box more or less. Cores are packed as tightly as the blocks.
    """
    space = job_box_mm(rates)
    for one in moulds:
        if np.any(np.sort(one.block_mm, axis=-1) > np.sort(space, axis=-1)):
            raise Infeasible(
                f"the mould of {one.part.name} needs {common.box_text(one.block_mm)} mm, but the job box holds "
                f"{' × '.join(map(common.limit, np.moveaxis(space, -1, 0)))} mm: split the part, or "
                "raise printed_mould.box_x, box_y and box_z for a larger printer."
            )
    kits = int(np.ceil(HEAP / job.kit.nodes))
    blocks = np.stack(np.broadcast_arrays(*(one.block_mm for one in moulds)), axis=-2)
    heap = np.repeat(blocks, [item.count * kits for item in job.kit.parts], axis=-2)
    blocks_cm3 = common.total(job.kit, [np.prod(one.block_mm, axis=-1) / 1000 for one in moulds])
    cores_cm3 = common.total(job.kit, [one.core_cm3 for one in moulds]) * (1 + rates["printed_mould.core_print"])
    return boxes_for(heap, space, rates["printed_mould.block_gap"]) / kits * (1 + cores_cm3 / blocks_cm3)


def _print(job, rates, moulds):
    m = rates.section(NAME)
    per_kit = boxes_per_kit(job, rates, moulds)
    boxes = common.lots("box", per_kit)
    lowest_mm = common.largest(np.min(one.block_mm, axis=-1) for one in moulds)

    def printed_layers(kits):
        # A box that is not full is printed only as high as its moulds stand, but never lower than the tallest part.
        return layers(np.maximum(kits * per_kit * m("box_z"), lowest_mm * BATCH.per_batch(kits)), m("layer"))

    # Loose sand that carries no binder is sieved and used again: only the moulds' own sand is bought.
    sand_kg = common.total(job.kit, [one.sand_kg for one in moulds])
    bought = {"material.mould_sand": sand_kg, "material.mould_binder": sand_kg * m("binder_fraction")}
    printing = (
        Work(boxes, hands_on_h=m("box_setup"), unload_h=m("box_unload")),
        Work(BATCH, unload_h=m("clean_out")),
        Work(Level("layer", printed_layers), machine_h=m("layer_time") / 3600),
        Work(Level("kit", lambda kits: kits), materials=bought),
    )
    return Step(
        Stage.MOULD,
        PRINT,
        printing,
        machine="sand_printer",
        rounds=boxes.per_batch,
        first_pass_yield=m("yield_print"),
        spoils="box",
        returns_to=PRINT,
    )
