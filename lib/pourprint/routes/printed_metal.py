"""Printed metal: laser powder-bed fusion, stress relief, removal from the plate and of supports, finish.

Each part is turned to the direction that takes the least hours of printer, saw and hands; plates are as full as
nested shadows of the kit make them, and as tall as its tallest part. Laser rates are data-sheet exposure rates, an
upper bound. Terms follow ISO/ASTM 52900.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.errors import Infeasible
from pourprint.kits import KitPart
from pourprint.process import supports
from pourprint.process.nesting import advantage
from pourprint.process.orientation import Candidates
from pourprint.process.packing import per_bed
from pourprint.process.powder_bed import contour_h, exposure_h, furnace_h, powder, recoating_h
from pourprint.process.supports import Standing
from pourprint.routes import _common as common
from pourprint.steps import JOB, Level, Stage, Step, Work

NAME = "printed_metal"
TITLE = "Printed metal"
SERIAL = False  # whether it is the serial reference, or one of the printed routes
PRINT = "print on the plate"


@dataclass(frozen=True)
class Hours:
    """What a direction costs one piece [h]: its share of spreading powder, hatching, outlines, sawing, supports off."""

    recoat: np.ndarray | float
    hatch: np.ndarray | float
    contour: np.ndarray | float
    cut: np.ndarray | float
    removal: np.ndarray | float

    @property
    def laser(self):
        """Hatching and outlines [h]."""
        return self.hatch + self.contour

    @property
    def total(self):
        """The score of a direction: an hour of the printer, of the saw and of hands count alike [h]."""
        return self.recoat + self.laser + self.cut + self.removal


@dataclass(frozen=True)
class Piece:
    """One kind of piece as it is printed: its machining, the directions to choose from, the one taken, and its facts.

    melted_cm3: part, supports, foot and machining stock of one piece [cm3].
    """

    item: KitPart
    machining: common.Machining
    candidates: Candidates
    index: int
    standing: Standing
    melted_cm3: np.ndarray | float
    hours: Hours

    @property
    def up(self):
        """The direction of the part as drawn that is turned upward, (3,)."""
        return self.candidates.directions[self.index]


@dataclass(frozen=True)
class Layout:
    """The pieces of one kit on plates: `plates` a Level, `height_mm` printed, and how much nesting gains on boxes.

    share: plates that one kit fills [-]; gained: nested plates over plates of boxes in a grid [-].
    """

    pieces: tuple[Piece, ...]
    plates: Level
    share: np.ndarray | float
    height_mm: np.ndarray | float
    gained: float

    def table(self):
        """One row a kind of piece: how it stands, what holds it, and its hours; needs single numbers. pandas table."""
        import pandas as pd

        rows = {}
        for piece in self.pieces:
            standing = piece.standing
            rows[piece.item.part.name] = {
                "pieces a kit": piece.item.count,
                "up, in its own axes": "(" + ", ".join(f"{c:.2f}" for c in piece.up) + ")",
                "height [mm]": standing.height_mm,
                "held from the plate [cm²]": standing.plate_cm2,
                "held from the part [cm²]": standing.inner_cm2,
                "flat on the plate [cm²]": standing.foot_cm2,
                "room of supports [cm³]": standing.support_cm3,
                "melted [cm³]": piece.melted_cm3,
                "printer [h]": piece.hours.recoat + piece.hours.laser,
                "supports off [h]": piece.hours.removal,
            }
        return pd.DataFrame.from_dict(rows, orient="index")


def _calm(rates):
    """Read process values, an array's median where a value is an array: one layout serves a whole sweep."""
    return lambda key: _middle(rates[f"{NAME}.{key}"])


def _middle(value):
    return float(np.median(value)) if np.ndim(value) else value


def layer_mm(job, m):
    """Layer thickness [mm]; `m` reads the route's process values."""
    return job.alloy["laser_layer"] / 1000 * m("layer_scale")


def melted_cm3(part_cm3, standing, m):
    """Metal melted for one piece [cm3]: the part, the metal share of its supports, and what carries it over the saw."""
    lifted = m("support_density") * standing.plate_cm2 + standing.foot_cm2
    return part_cm3 + m("support_density") * standing.support_cm3 + lifted * m("lift") / 10


def hours_of(standing, part_cm3, job, m):
    """Hours of one piece in one or many directions.

    Parameters: `standing` Standing; `part_cm3` metal of the part with its machining stock [cm3]; `m` reads process
    values. The piece pays for its share of the plate, but at least for its part of a plate that the kits usually
    printed together have to themselves: small batches pay for height. Returns: Hours.
    """
    gap, layer = m("plate_gap"), layer_mm(job, m)
    covered = (standing.length_mm + gap) * (standing.width_mm + gap) / ((m("plate_x") + gap) * (m("plate_y") + gap))
    share = np.maximum(covered, 1 / (job.kit.nodes * m("kits_together")))
    slow = job.alloy["cutting"]
    return Hours(
        share * recoating_h(standing.height_mm + m("lift"), layer, m("recoat")),
        exposure_h(melted_cm3(part_cm3, standing, m), job.alloy["laser_rate"] * m("layer_scale")),
        contour_h(standing.side_cm2, layer, m("contour_speed")),
        slow * supports.cut_cm2(standing, m("support_density")) / m("cut_rate"),
        slow * supports.removal_h(standing, m("support_rate"), m("double_reach"), m("inner_factor")),
    )


def usable(standing, m):
    """Does a part fit the printer in a direction, and is it held well enough? Standing (k,) → bool (k,)."""
    box = np.stack([standing.length_mm, standing.width_mm, standing.height_mm], axis=-1)
    fits = (per_bed(box, (m("plate_x"), m("plate_y")), m("plate_gap")) >= 1) & (
        standing.height_mm + m("lift") <= m("height_limit")
    )
    return fits, standing.foot_cm2 + standing.plate_cm2 >= m("least_hold") * standing.shadow_cm2


def _choose(candidates, part_cm3, job, calm):
    """Index of the direction with the least hours among those that fit and hold, or else as drawn."""
    if calm("turning") < 0.5:
        return 0
    middle = candidates.standing.middle()
    fits, held = usable(middle, calm)
    good = fits & held if np.any(fits & held) else fits
    hours = hours_of(middle, part_cm3, job, calm).total
    return int(np.argmin(np.where(good, hours, np.inf))) if np.any(good) else 0


def lay_out(job, rates):
    """How the pieces of one kit stand, and how many plates they fill.

    The orientation is chosen for the middle of all arrays. Nesting is learned at the measured size of the parts and
    scales with what boxes in a grid would need. Returns: Layout. Raises: Infeasible that names the part and the limit.
    """
    m, calm = rates.section(NAME), _calm(rates)
    tolerance = common.same_tolerance(m("socket_tolerance"))
    plate, pieces, share, height = (m("plate_x"), m("plate_y")), [], 0.0, 0.0
    for item, machining in zip(
        job.kit.parts, common.machining_of(job, rates, tolerance, m("machining_stock")), strict=True
    ):
        part_cm3 = item.part.volume_cm3 + machining.stock_cm3
        candidates = item.part.study(Candidates)
        index = _choose(candidates, _middle(part_cm3), job, calm)
        standing = candidates.standing.at(index)
        hours, melted = hours_of(standing, part_cm3, job, m), melted_cm3(part_cm3, standing, m)
        pieces.append(Piece(item, machining, candidates, index, standing, melted, hours))
        box = [standing.length_mm, standing.width_mm, standing.height_mm]
        fit = per_bed(np.stack(np.broadcast_arrays(*box), axis=-1), plate, m("plate_gap"))
        if np.any(fit < 1):
            sizes = " × ".join(f"{np.max(side):.0f}" for side in box)
            limits = " × ".join(map(common.limit, plate))
            raise Infeasible(
                f"{item.part.name} ({sizes} mm) does not fit the plate: the plate is {limits} mm. Split the part, or "
                "raise printed_metal.plate_x and plate_y for a larger printer."
            )
        share = share + item.count / fit
        height = np.maximum(height, standing.height_mm + m("lift"))
    if np.any(height > m("height_limit")):
        raise Infeasible(
            f"the tallest part needs {np.max(height):.0f} mm with its supports, but the printer builds "
            f"{common.limit(m('height_limit'))} mm: turn the part, or split it."
        )
    gained = _gained(pieces, calm)
    return Layout(tuple(pieces), common.lots("plate", share * gained), share * gained, height, gained)


def _gained(pieces, calm):
    """Nested plates over plates of boxes [-], at the measured size; 1 where some piece is known by numbers alone."""
    if any(piece.item.part.shape is None for piece in pieces):
        return 1.0
    measured = [piece.item.part.shape.study(Candidates) for piece in pieces]
    sides = [m.standing.at(p.index) for m, p in zip(measured, pieces, strict=True)]
    return advantage(
        tuple(m.shadows[p.index] for m, p in zip(measured, pieces, strict=True)),
        tuple(piece.item.count for piece in pieces),
        tuple((side.length_mm, side.width_mm) for side in sides),
        (calm("plate_x"), calm("plate_y")),
        calm("plate_gap"),
    )


def powder_of(job, rates):
    """Powder of one batch: melted, lost, sieved for use again [kg]. Returns: Powder. Raises: Infeasible."""
    m, layout = rates.section(NAME), lay_out(job, rates)
    kits = np.minimum(job.quantity, job.batch_size)
    melted = kits * sum(piece.item.count * piece.melted_cm3 for piece in layout.pieces)
    return _powder(melted, layout.plates.per_batch(kits) * _bed_cm3(layout, m), job, m)


def _bed_cm3(layout, m):
    """Powder bed of one plate, up to its tallest part [cm3]."""
    return m("plate_x") * m("plate_y") * layout.height_mm / 1000


def _powder(melted_cm3, bed_cm3, job, m):
    density = job.alloy["density"]
    return powder(melted_cm3, bed_cm3, density, m("powder_packing"), m("powder_loss"), m("bed_loss"))


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    job.alloy.check_route(NAME)
    m = rates.section(NAME)
    kit, part = job.kit, common.part_level(job.kit)
    layout = lay_out(job, rates)
    plates = layout.plates
    loads = Level("furnace load", lambda kits: np.ceil(plates.per_batch(kits) / m("relief_plates") - 1e-9))

    def each(amount):
        """Mean of amount(piece) over the pieces of a kit."""
        return sum(piece.item.count * amount(piece) for piece in layout.pieces) / kit.nodes

    recoat_h = recoating_h(layout.height_mm, layer_mm(job, m), m("recoat"))
    laser_h, cut_h = each(lambda piece: piece.hours.laser), each(lambda piece: piece.hours.cut)
    melted = each(lambda piece: piece.melted_cm3)
    metal, gas = f"powder.{job.alloy.name}", "material.inert_gas"
    relief_h = furnace_h(job.alloy["relief_temperature"], job.alloy["relief_time"], m("relief_heating"))
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
                    materials={
                        gas: recoat_h * m("gas_flow"),
                        metal: _powder(0.0, _bed_cm3(layout, m), job, m).bought_kg,
                    },
                ),
                Work(
                    part,
                    machine_h=laser_h,
                    materials={gas: laser_h * m("gas_flow"), metal: _powder(melted, 0.0, job, m).bought_kg},
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
            (Work(loads, hands_on_h=m("relief_setup"), machine_h=relief_h),),
            machine="heat_treatment_furnace",
            rounds=loads.per_batch,
        ),
        Step(
            Stage.BREAK_OUT,
            "cut the parts from the plate",
            (Work(plates, hands_on_h=m("cut_setup")), Work(part, machine_h=cut_h)),
            machine="saw",
        ),
        Step(
            Stage.FINISH,
            "take off the supports",
            (Work(part, hands_on_h=m("support_handling") + each(lambda piece: piece.hours.removal)),),
        ),
        *_hot_pressing(job, m),
        *_hardening(job, rates),
        *common.finish(job, rates, [piece.machining for piece in layout.pieces], PRINT),
    )


def _hot_pressing(job, m):
    """Hot isostatic pressing outside the house, for alloys that need it; no step for the others."""
    if "hot_pressing" not in job.alloy.entries:
        return ()
    kit_kg = job.kit.volume_cm3 * job.alloy["density"] / 1000
    load = common.lots("pressing load", kit_kg / m("hot_press_load"))
    work = Work(
        load,
        hands_on_h=m("hot_press_setup"),
        wait_h=m("hot_press_wait"),
        materials={"purchase.hot_pressing": 1.0},
    )
    return (Step(Stage.FINISH, "press hot to close pores", (work,)),)


def _hardening(job, rates):
    """Solution annealing and ageing, for alloys that need it after printing; no step for the others."""
    if "hardening_time" not in job.alloy.entries:
        return ()
    kit_kg = job.kit.volume_cm3 * job.alloy["density"] / 1000
    load = common.lots("furnace load", kit_kg / rates["foundry.heat_treatment_load"])
    hours = furnace_h(
        job.alloy["hardening_temperature"], job.alloy["hardening_time"], rates["printed_metal.relief_heating"]
    )
    work = Work(load, hands_on_h=rates["foundry.heat_treatment_setup"], machine_h=hours)
    return (Step(Stage.FINISH, "harden", (work,), machine="heat_treatment_furnace", rounds=load.per_batch),)
