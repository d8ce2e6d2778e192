"""Printed metal: laser powder-bed fusion, stress relief, removal from the plate and of supports, finish.

First planning model: parts stand as their box does (z up), one layer high; a plate is as tall as the
kit's tallest part. Laser rates are data-sheet exposure rates, an upper bound.
"""

import numpy as np

from pourprint.errors import Infeasible
from pourprint.process.packing import per_bed
from pourprint.process.powder_bed import exposure_h, recoating_h
from pourprint.routes import _common as common
from pourprint.steps import JOB, Level, Stage, Step, Work

NAME = "printed_metal"
TITLE = "Printed metal"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print on the plate"


def plates_of(job, rates):
    """(Level of plates, printed height [mm]). Raises: Infeasible that names the part and the limit."""
    m = rates.section("printed_metal")
    plate = (m("plate_x"), m("plate_y"))
    height = 0.0
    for item in job.kit.parts:
        height = np.maximum(height, item.part.height_mm + m("lift"))
    if np.any(height > m("height_limit")):
        raise Infeasible(
            f"the tallest part needs {np.max(height):.0f} mm with its supports, but the printer builds "
            f"{common.limit(m('height_limit'))} mm: turn the part, or split it."
        )
    share = common.share_of_lots(
        job.kit,
        lambda part: per_bed(part.box_mm, plate, m("plate_gap")),
        f"the plate is {' × '.join(map(common.limit, plate))} mm",
        "the plate",
    )
    return common.lots("plate", share), height


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    m = rates.section("printed_metal")
    kit, part = job.kit, common.part_level(job.kit)
    plates, height = plates_of(job, rates)
    tolerance = common.same_tolerance(m("socket_tolerance"))
    machining = common.machining_of(job, rates, tolerance, m("machining_stock"))
    kit_cm3 = sum(
        item.count * (item.part.volume_cm3 + item.part.support_cm3 * m("support_density") + work.stock_cm3)
        for item, work in zip(kit.parts, machining, strict=True)
    )
    printed_cm3 = kit_cm3 / kit.nodes
    laser_h = exposure_h(printed_cm3, job.alloy["laser_rate"])
    recoat_h = recoating_h(height, job.alloy["laser_layer"] / 1000, m("recoat"))
    powder_kg = printed_cm3 * job.alloy["density"] / 1000 * (1 + m("powder_loss"))
    foot_cm2 = common.mean(kit, lambda item: item.part.footprint_cm2) * m("foot_fraction")
    held_cm2 = common.mean(kit, lambda item: item.part.overhang_cm2)
    loads = Level("furnace load", lambda kits: np.ceil(plates.per_batch(kits) / m("relief_plates") - 1e-9))
    return (
        common.check_the_part(job, rates, "printing"),
        Step(
            Stage.TOOLING,
            "orient, support and lay out the plate",
            (Work(JOB, hands_on_h=m("layout_base") + m("layout_each") * len(kit.parts)),),
            who="labour.engineer",
        ),
        Step(
            Stage.MOULD,
            PRINT,
            (
                Work(
                    plates,
                    hands_on_h=m("plate_setup"),
                    machine_h=recoat_h,
                    wait_h=m("plate_cooling"),
                    materials={"material.inert_gas": recoat_h * m("gas_flow")},
                ),
                Work(
                    part,
                    machine_h=laser_h,
                    materials={
                        f"powder.{job.alloy.name}": powder_kg,
                        "material.inert_gas": laser_h * m("gas_flow"),
                    },
                ),
            ),
            machine="metal_printer",
            rounds=plates.per_batch,
            first_pass_yield=m("yield_print"),
            spoils="plate",
            returns_to=PRINT,
        ),
        Step(
            Stage.BREAK_OUT,
            "stress-relieve on the plate",
            (Work(loads, hands_on_h=0.25 * m("cut_setup"), machine_h=m("relief_time")),),
            machine="heat_treatment_furnace",
            rounds=loads.per_batch,
        ),
        Step(
            Stage.BREAK_OUT,
            "cut the parts from the plate",
            (Work(plates, hands_on_h=m("cut_setup")), Work(part, machine_h=foot_cm2 / m("cut_rate"))),
            machine="saw",
        ),
        Step(
            Stage.FINISH,
            "take off the supports",
            (Work(part, hands_on_h=m("support_handling") + held_cm2 / m("support_rate")),),
        ),
        *common.finish(job, rates, machining, PRINT),
    )
