"""Printed metal: laser powder-bed fusion, stress relief, removal from the plate and of supports, finish.

Each part is turned to the direction that takes the least hours of printer, saw and hands; plates are as full as
nested shadows of the kit make them, and as tall as its tallest part. Laser rates are data-sheet exposure rates;
jumps between lines come on top. Terms follow ISO/ASTM 52900.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.entries import library
from pourprint.ledger.errors import Infeasible
from pourprint.parts.kits import KitPart
from pourprint.plans.steps import JOB, Level, Stage, Step, Work
from pourprint.process.packing import per_bed, plate_share
from pourprint.process.powder import supports
from pourprint.process.powder.bed import contour_h, exposure_h, powder, recoating_h
from pourprint.process.powder.nesting import Load, room_taken
from pourprint.process.powder.orientation import Orientations
from pourprint.process.powder.supports import Standing
from pourprint.routes import common
from pourprint.routes.findings import refuse

NAME = "printed_metal"
TITLE = "Printed metal"
MILL = "resurface the plates"  # where work begins anew
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
    orientations: Orientations
    index: np.ndarray | int
    standing: Standing
    melted_cm3: np.ndarray | float
    hours: Hours

    @property
    def up(self):
        """The direction of the part as drawn that is turned upward, (…, 3)."""
        return self.orientations.directions[self.index]


@dataclass(frozen=True)
class Layout:
    """The pieces of one kit on plates: `plates` a Level, `share` plates that one kit fills [-], `height_mm` printed."""

    pieces: tuple[Piece, ...]
    plates: Level
    share: np.ndarray | float
    height_mm: np.ndarray | float

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
    layer, plate = layer_mm(job, m), (m("plate_x"), m("plate_y"))
    covered = plate_share(standing.length_mm, standing.width_mm, plate, m("plate_gap"))
    share = np.maximum(covered, 1 / (job.kit.nodes * m("kits_together")))
    slow = job.alloy["cutting"]
    return Hours(
        share * recoating_h(standing.height_mm + m("lift"), layer, m("recoat")),
        exposure_h(melted_cm3(part_cm3, standing, m), job.alloy["laser_rate"] * m("layer_scale"), m("jump_share")),
        contour_h(standing.side_cm2, layer, m("contour_speed")),
        slow * supports.cut_cm2(standing, m("support_density")) / m("cut_rate"),
        slow * supports.removal_h(standing, m("support_rate"), m("double_reach"), m("inner_factor")),
    )


def usable(standing, m):
    """Does a part fit the printer in a direction, and is it held well enough? Standing (k,) → bool (k,)."""
    fits = (per_bed(_box_mm(standing), (m("plate_x"), m("plate_y")), m("plate_gap")) >= 1) & (
        standing.height_mm + m("lift") <= m("height_limit")
    )
    return fits, standing.foot_cm2 + standing.plate_cm2 >= m("least_hold") * standing.shadow_cm2


def _by_direction(m):
    """A reader of the same process values whose arrays (…) have one more axis at their end: that of the directions."""

    def read(key):
        value = m(key)
        return value[..., None] if isinstance(value, np.ndarray) else value

    return read


def _choose(every, part_cm3, job, m):
    """Index (…) of the direction with the least hours among those that fit and hold, or else as drawn.

    Parameters: `every` Standing (…, k) of one part; `part_cm3` (…); `m` reads process values.
    """
    wide = _by_direction(m)
    fits, held = usable(every, wide)
    good = np.where(np.any(fits & held, axis=-1, keepdims=True), fits & held, fits)
    hours = np.where(good, hours_of(every, np.asarray(part_cm3)[..., None], job, wide).total, np.inf)
    # The first, as drawn, where none fits.
    return np.where(np.asarray(m("turning")) < 0.5, 0, np.argmin(hours, axis=-1))


def lay_out(job, rates):
    """How the pieces of one kit stand, and how many plates they fill.

    Every value of an array is laid out as it would be by itself. Nesting is learned once, at the measured size of the
    parts on the library's plate; on plates of 150 to 400 mm it is within 12% (measured on the demo kit).
    Returns: Layout. Raises: Infeasible that names the part and the limit.
    """
    m, pieces = rates.section(NAME), []
    machining = common.machining_of(job, rates, NAME)
    for item, work, part_cm3 in zip(job.kit.parts, machining, common.casting_cm3(job, machining), strict=True):
        found = item.part.study(Orientations)
        index = _choose(found.standing, part_cm3, job, m)
        standing = found.standing.at(index)
        sizes = melted_cm3(part_cm3, standing, m), hours_of(standing, part_cm3, job, m)
        pieces.append(Piece(item, work, found, index, standing, *sizes))
    share = _plates_per_kit(job.kit, [piece.standing for piece in pieces], m)
    height = common.largest(piece.standing.height_mm for piece in pieces) + m("lift")
    if np.any(height > m("height_limit")):
        lying = all(np.all(np.any(usable(p.orientations.standing, _by_direction(m))[0], axis=-1)) for p in pieces)
        raise Infeasible(
            f"the tallest part needs {np.max(height):.0f} mm with its supports, but the printer builds "
            f"{common.limit(m('height_limit'))} mm: "
            + ("it fits lying down, so set printed_metal.turning to 1." if lying else "split it.")
        )
    return Layout(tuple(pieces), common.lots("plate", share), share, height)


def _plates_per_kit(kit, standings, m):
    """Plates that one kit fills [-]: by the room of nested shadows, or by boxes in a grid if that is less or unknown.

    No kind of piece takes fewer plates than its whole pieces need by themselves. Raises: Infeasible.
    """
    plate_mm, gap_mm = (m("plate_x"), m("plate_y")), m("plate_gap")
    boxes_mm = [_box_mm(standing) for standing in standings]
    fits = [per_bed(box, plate_mm, gap_mm) for box in boxes_mm]
    limits = (
        f"the plate is {' × '.join(map(common.limit, plate_mm))} mm. Split the part, or raise printed_metal.plate_x "
        "and plate_y for a larger printer"
    )
    in_a_grid = common.share_of_lots(kit, fits, boxes_mm, "the plate", limits)
    load = nested_load(kit.parts)
    taken = np.nan if load is None else room_taken(load)
    rooms = [taken * plate_share(one.length_mm, one.width_mm, plate_mm, gap_mm) for one in standings]
    alone = common.largest(
        item.count / np.fmax(fit, np.floor(1 / room + 1e-9))
        for item, fit, room in zip(kit.parts, fits, rooms, strict=True)
    )
    return np.maximum(alone, np.fmin(common.total(kit, rooms), in_a_grid))


def _box_mm(standing):
    return np.stack(np.broadcast_arrays(standing.length_mm, standing.width_mm, standing.height_mm), axis=-1)


def nested_load(parts):
    """The Load from which the room that pieces take is learned; None where some piece is known by numbers alone.

    On the library's plate, with the least supports, so that no value of an array or card has a say in it.
    """
    shapes = [item.part.shape for item in parts]
    if None in shapes:
        return None
    shadows, boxes = [], []
    for shape in shapes:
        found = shape.study(Orientations)
        standing = found.standing.at(found.least_held)
        shadows.append(found.shadows[found.least_held])
        boxes.append((float(standing.length_mm), float(standing.width_mm)))
    x, y, gap = (library()[f"{NAME}.{key}"].value for key in ("plate_x", "plate_y", "plate_gap"))
    least = 2 * max(map(max, boxes))  # a plate that holds some, even of pieces for a large printer
    counts = tuple(item.count for item in parts)
    return Load(tuple(shadows), counts, tuple(boxes), (max(x, least), max(y, least)), gap)


def powder_of(job, rates):
    """Powder of one batch: melted, lost, sieved for use again [kg]. Returns: Powder. Raises: Infeasible."""
    m, layout = rates.section(NAME), lay_out(job, rates)
    kits = np.minimum(job.quantity, job.batch_size)
    melted = kits * common.total(job.kit, [piece.melted_cm3 for piece in layout.pieces])
    return _powder(melted, layout.plates.per_batch(kits) * _bed_cm3(layout, m), job, m)


def _bed_cm3(layout, m):
    """Powder bed of one plate, up to its tallest part [cm3]."""
    return m("plate_x") * m("plate_y") * layout.height_mm / 1000


def _powder(melted_cm3, bed_cm3, job, m):
    density = job.alloy["density"]
    return powder(melted_cm3, bed_cm3, density, m("powder_packing"), m("powder_loss"), m("bed_loss"))


def steps(job, rates):
    """The steps of this route for a job at a rate card: (Job, RateCard) → tuple of Step. Raises: Infeasible."""
    refuse(NAME, job, rates)
    m, layout = rates.section(NAME), lay_out(job, rates)
    return (
        common.check_the_part(job, rates, "printing"),
        common.desk_step(Stage.TOOLING, "orient, support and lay out the plate", job, rates, f"{NAME}.layout"),
        *_make_ready(m, layout),
        _print(job, m, layout),
        *_take_off(job, rates, layout),
        *_hot_pressing(job, m),
        *(common.heat_treat(job, rates) if "print_hardening" in job.alloy.entries else ()),
        *common.finish(job, rates, [piece.machining for piece in layout.pieces], MILL),
    )


def _make_ready(m, layout):
    """The job's powder into the printer, and plates flat again."""
    changing = Work(JOB, hands_on_h=m("powder_change"))
    milling = Work(layout.plates, hands_on_h=m("plate_resurface"))
    return (
        Step(Stage.TOOLING, "change the printer's powder", (changing,), machine="metal_printer"),
        Step(Stage.MOULD, MILL, (milling,), machine="machining_centre", attended=True),
    )


def _print(job, m, layout):
    plates, kit, metal, gas = layout.plates, job.kit, f"powder.{job.alloy.name}", "material.inert_gas"
    recoat_h = recoating_h(layout.height_mm, layer_mm(job, m), m("recoat"))
    laser_h = common.mean(kit, [piece.hours.laser for piece in layout.pieces])
    melted = common.mean(kit, [piece.melted_cm3 for piece in layout.pieces])
    bed_kg = _powder(0.0, _bed_cm3(layout, m), job, m).bought_kg
    piece_kg = _powder(melted, 0.0, job, m).bought_kg
    printing = (
        Work(
            plates,
            hands_on_h=m("plate_setup"),
            machine_h=recoat_h,
            cooling_h=m("plate_cooling"),
            unload_h=m("plate_unload"),
            materials={gas: recoat_h * m("gas_flow"), metal: bed_kg},
        ),
        Work(common.part_level(kit), machine_h=laser_h, materials={gas: laser_h * m("gas_flow"), metal: piece_kg}),
    )
    lost = common.fails(m("yield_print"), MILL, "plate")
    return Step(Stage.MOULD, PRINT, printing, machine="metal_printer", rounds=plates.per_batch, **lost)


def _take_off(job, rates, layout):
    """Relieve stress, cut the parts from the plate and take off their supports."""
    m, plates, part = rates.section(NAME), layout.plates, common.part_level(job.kit)
    loads = Level("relief load", lambda kits: np.ceil(plates.per_batch(kits) / m("relief_plates") - 1e-9))
    heating_h = common.furnace_h(rates, job.alloy["relief_temperature"])
    cut_h = common.mean(job.kit, [piece.hours.cut for piece in layout.pieces])
    removal_h = common.mean(job.kit, [piece.hours.removal for piece in layout.pieces])
    # It cools in the closed furnace, as fast as it heats: hot plates are not sawn, and hot titanium takes up oxygen.
    alone = {"machine_h": heating_h + job.alloy["relief_time"], "cooling_h": heating_h}
    relieving = Work(loads, hands_on_h=m("relief_setup"), unload_h=m("relief_unload"), **alone)
    cutting = (Work(plates, hands_on_h=m("cut_setup")), Work(part, machine_h=cut_h))
    clearing = Work(part, hands_on_h=m("support_handling") + removal_h)
    furnace = {"machine": "heat_treatment_furnace", "rounds": loads.per_batch}
    return (
        Step(Stage.BREAK_OUT, "stress-relieve on the plate", (relieving,), **furnace),
        Step(Stage.BREAK_OUT, "cut the parts from the plate", cutting, machine="saw"),
        Step(Stage.FINISH, "take off the supports", (clearing,)),
    )


def _hot_pressing(job, m):
    """Hot isostatic pressing outside the house, for alloys that need it; no step for the others."""
    if "hot_pressing" not in job.alloy.entries:
        return ()
    kit_kg = job.kit.volume_cm3 * job.alloy["density"] / 1000
    load, bought = common.lots("pressing load", kit_kg / m("hot_press_load")), {"purchase.hot_pressing": 1.0}
    work = Work(load, hands_on_h=m("hot_press_setup"), wait_h=m("hot_press_wait"), materials=bought)
    return (Step(Stage.FINISH, "press hot to close pores", (work,)),)
