"""Printed mould: binder-jet sand moulds and cores, assemble, pour, shake out, finish.

Every cavity has its own feeder, sprue and ingate, sized on the part; cavities share a mould up to the weight that
can be moved and the metal that one crucible holds. What neither mould half shows takes a core.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.errors import Infeasible
from pourprint.plans.steps import BATCH, JOB, Level, Stage, Step, Work
from pourprint.process.freezing.section_modulus import hottest_section, nearest_metals
from pourprint.process.freezing.solidification import Melt, shake_out_s
from pourprint.process.freezing.solidification import Mould as Sand
from pourprint.process.sand.feeding import Feeder, feeder
from pourprint.process.sand.gating import Gating, gating
from pourprint.process.sand.parting import PartingStudy
from pourprint.process.sand.printing import block_mm, boxes_for, layers
from pourprint.routes import common

NAME = "printed_mould"
TITLE = "Printed mould"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print moulds and cores"
HEAP = 60  # blocks packed on trial to see how tightly a kit fills the job boxes: within 2 % of 300 (demo kit)


@dataclass(frozen=True)
class Mould:
    """One cavity of a printed mould and what belongs to it: numbers or arrays (...).

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
    """The Mould of each part of a job's kit, in the kit's order: (Job, RateCard) → tuple. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    m = rates.section(NAME)
    tolerance = common.cast_hole_tolerance(m("casting_grade"))
    machining = common.machining_of(job, rates, tolerance, m("machining_stock"), m("core_clearance"))
    nearest, parts = nearest_metals(job.alloy), [item.part for item in job.kit.parts]
    studies, sections = [part.study(PartingStudy) for part in parts], [hottest_section(part, nearest) for part in parts]
    # From here on all parts at once: the last axis of numbers is that of the parts, the last but one that of places.
    wide, ways = common.wide(m), common.wide(rates.section("gating"))
    modulus_mm = common.beside([section.modulus_mm for section in sections])
    hot = [section.place_mm @ study.frame.T for section, study in zip(sections, studies, strict=True)]
    hot_mm = common.beside(hot, -2)  # in the mould's frame
    casting_cm3 = common.beside(common.casting_cm3(job, machining))
    head = feeder(modulus_mm, casting_cm3, job.alloy["shrinkage"] / 100, common.wide(rates.section("feeding")))
    # The feeder stands over the hottest section, on the level of the part's top, and may stick out sideways.
    radius = head.diameter_mm[..., None] / 2 * np.array([1, 1, 0])
    low = np.minimum(common.beside([study.low_mm for study in studies], -2), hot_mm - radius)
    high = np.maximum(common.beside([study.high_mm for study in studies], -2), hot_mm + radius)
    high = high + head.height_mm[..., None] * np.array([0, 0, 1])
    filled_cm3 = casting_cm3 + head.volume_cm3
    above_mm = common.beside([study.above_mm for study in studies]) + head.height_mm
    way = gating(
        filled_cm3,
        filled_cm3 * job.alloy["density"] / 1000,
        above_mm + wide("wall"),
        above_mm,
        high[..., 2] - low[..., 2],
        ways,
    )
    block = block_mm(high - low, wide("wall"), ways("gate_length") + np.sqrt(4 / np.pi * way.top_mm2))
    metal_cm3 = filled_cm3 + way.volume_cm3
    metal_kg = metal_cm3 * job.alloy["density"] / 1000
    sand_kg = (np.prod(block, axis=-1) - 1000 * metal_cm3) / 1e6 * wide("sand_density")
    moulds = []
    for i, (item, work, study) in enumerate(zip(job.kit.parts, machining, studies, strict=True)):
        # Of a part without a mesh only the listed holes are known: each takes a core.
        holes = (*item.bores, *item.sockets)
        listed = len(holes), sum(np.pi / 4 * hole.diameter_mm**2 * hole.depth_mm / 1000 for hole in holes)
        cores, core_cm3 = study.cores(m("core_least")) if study.known else listed
        moulds.append(
            Mould(
                part=item.part,
                study=study,
                modulus_mm=sections[i].modulus_mm,
                hot_mm=hot[i],
                spots=sections[i].spots,
                features=work.features,
                stock_cm3=work.stock_cm3,
                feeder=Feeder(head.by_modulus_mm[..., i], head.by_volume_mm[..., i], rates["feeding.height_ratio"]),
                gating=common.one_of(way, i),
                low_mm=low[..., i, :],
                high_mm=high[..., i, :],
                block_mm=block[..., i, :],
                cores=cores,
                core_cm3=core_cm3,
                metal_cm3=metal_cm3[..., i],
                metal_kg=metal_kg[..., i],
                sand_kg=sand_kg[..., i],
            )
        )
    return tuple(moulds)


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    m = rates.section(NAME)
    kit, part = job.kit, common.part_level(job.kit)
    moulds = moulds_of(job, rates)
    mould = _lots(job, rates, moulds)
    cores = _total(job, moulds, lambda one: one.cores) / kit.nodes
    cut_cm2 = _total(job, moulds, lambda one: one.feeder.foot_cm2 + one.gating.ingate_mm2 / 100) / kit.nodes
    kit_metal_kg = _total(job, moulds, lambda one: one.metal_kg)
    return (
        common.check_the_part(job, rates, "casting"),
        _design(job, rates, moulds),
        common.simulate(job, rates),
        _print(job, rates, moulds),
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
        common.melt_and_pour(job, rates, mould, lambda kits: kits * kit_metal_kg, "mould", PRINT),
        Step(Stage.POUR, "cool in the sand", (Work(BATCH, wait_h=cooling_h(job, rates, moulds)),)),
        Step(
            Stage.BREAK_OUT,
            "shake out and clear the cores",
            (Work(mould, hands_on_h=m("shake_out")), Work(part, hands_on_h=m("clear_core") * cores)),
        ),
        Step(
            Stage.BREAK_OUT,
            "cut off feeders and gates",
            (Work(part, hands_on_h=m("cut_handling") + cut_cm2 / m("cut_rate")),),
            machine="saw",
            attended=True,
        ),
        *common.heat_treat(job, rates),
        *common.finish(job, rates, moulds, PRINT),
    )


def cooling_h(job, rates, moulds):
    """From the pour until the thickest metal, a feeder, is cold enough to shake out [h]."""
    thickest_mm = np.max(common.beside([one.feeder.modulus_mm for one in moulds]), axis=-1)
    m = rates.section(NAME)
    sand, out_c = Sand.sand(density_kg_m3=1000 * m("sand_density")), m("shake_out_share") * job.alloy["solidus"]
    return shake_out_s(thickest_mm, Melt.of(job.alloy), sand, out_c) / 3600


def _total(job, moulds, amount):
    """Sum of `amount(mould)` over all pieces of a kit."""
    return sum(item.count * amount(one) for item, one in zip(job.kit.parts, moulds, strict=True))


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
    share = _total(job, moulds, lambda one: np.maximum(one.mass_kg / limit_kg, one.metal_kg / crucible_kg))
    return common.lots("mould", share)


def _design(job, rates, moulds):
    hours = (
        rates["printed_mould.design_base"]
        + rates["printed_mould.design_each"] * len(job.kit.parts)
        + rates["printed_mould.design_core"] * sum(one.cores for one in moulds)
    )
    return Step(
        Stage.TOOLING, "design moulds, cores, feeders and gates", (Work(JOB, hands_on_h=hours),), who="labour.engineer"
    )


def job_box_mm(rates):
    """Sides of the printer's job box (..., 3) [mm]."""
    return common.beside(rates[f"printed_mould.box_{axis}"] for axis in "xyz")


def boxes_per_kit(job, rates, moulds):
    """Share of a job box that one kit fills [-], measured by packing a heap of whole kits on trial.

    A batch is then reckoned in proportion and rounded up. Valid for batches of this mix of parts; a real packing
    of one batch may need one box more or less. Cores are packed as tightly as the blocks.
    """
    space = job_box_mm(rates)
    blocks = common.beside([one.block_mm for one in moulds], -2)
    large = (np.sort(blocks, axis=-1) > np.sort(space)[..., None, :]).any(axis=-1)
    for i, one in enumerate(moulds):
        if np.any(large[..., i]):
            need = " × ".join(f"{np.max(side):.0f}" for side in np.moveaxis(one.block_mm, -1, 0))
            have = " × ".join(map(common.limit, np.moveaxis(space, -1, 0)))
            raise Infeasible(
                f"the mould of {one.part.name} needs {need} mm, but the job box holds {have} mm: split the part, or "
                "raise printed_mould.box_x, box_y and box_z for a larger printer."
            )
    kits = int(np.ceil(HEAP / job.kit.nodes))
    heap = np.repeat(blocks, job.kit.counts * kits, axis=-2)
    blocks_cm3 = (job.kit.counts * np.prod(blocks, axis=-1)).sum(axis=-1) / 1000
    cores_cm3 = _total(job, moulds, lambda one: one.core_cm3) * (1 + rates["printed_mould.core_print"])
    return boxes_for(heap, space, rates["printed_mould.block_gap"]) / kits * (1 + cores_cm3 / blocks_cm3)


def _print(job, rates, moulds):
    m = rates.section(NAME)
    per_kit = boxes_per_kit(job, rates, moulds)
    boxes = common.lots("box", per_kit)
    lowest_mm = np.max(common.beside([np.min(one.block_mm, axis=-1) for one in moulds]), axis=-1)

    def printed_layers(kits):
        # A box that is not full is printed only as high as its moulds stand, but never lower than the tallest part.
        return layers(np.maximum(kits * per_kit * m("box_z"), lowest_mm * BATCH.per_batch(kits)), m("layer"))

    # Loose sand that carries no binder is sieved and used again: only the moulds' own sand is bought.
    sand_kg = _total(job, moulds, lambda one: one.sand_kg)
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
