"""What several routes share: levels, the check of the part, melting and pouring, machining and inspection."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from pourprint.errors import Infeasible
from pourprint.process.contraction import cast_bore_mm
from pourprint.process.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.heating import heating_h
from pourprint.process.machining import bore_stock_cm3, cutting_h, face_stock_cm3
from pourprint.steps import BATCH, JOB, Level, Stage, Step, Work

MANY = 10_000  # kits, of which the last lot hardly counts


def part_level(kit):
    """Once a part: every piece of every kit in the batch."""
    return Level("part", lambda kits: kits * kit.nodes)


def lots(name, per_kit):
    """Once a cluster, box, plate or load: `per_kit` is the share that one kit fills [-], rounded up a batch."""
    return Level(name, lambda kits: np.ceil(kits * per_kit - 1e-9))


def total(kit, amount):
    """Sum of `amount(kit part)` over all pieces of a kit."""
    return sum(item.count * amount(item) for item in kit.parts)


def mean(kit, amount):
    """Mean of `amount(kit part)` over the pieces of a kit: what one piece of Work at part level takes."""
    return total(kit, amount) / kit.nodes


def limit(value):
    """A limit in a message, the tightest of an array."""
    return f"{np.min(value):.0f}"


def share_of_lots(kit, capacity, limits, where):
    """How many lots one kit fills [-], from how many of each part one lot holds.

    Raises: Infeasible that names the part, its box and the space, when a part does not fit at all.
    """
    filled = 0.0
    for item in kit.parts:
        fit = capacity(item.part)
        if np.any(fit < 1):
            box = " × ".join(f"{np.max(side):.0f}" for side in np.moveaxis(item.part.box_mm, -1, 0))
            raise Infeasible(f"{item.part.name} ({box} mm) does not fit {where}: {limits}.")
        filled = filled + item.count / fit
    return filled


def check_the_part(job, rates, whom):
    """The first step of every route."""
    hours = rates["design.check_base"] + rates["design.check_each"] * len(job.kit.parts)
    return Step(Stage.DESIGN, f"check the part for {whom}", (Work(JOB, hands_on_h=hours),), who="labour.engineer")


def simulate(job, rates):
    """Simulate filling and freezing: an engineer sets up and reads, a computer runs alone."""
    hours = rates["design.simulate_base"] + rates["design.simulate_each"] * len(job.kit.parts)
    work = Work(JOB, hands_on_h=hours, wait_h=rates["design.simulate_run"])
    return Step(Stage.SIMULATE, "simulate filling and freezing", (work,), who="labour.engineer")


def melt_and_pour(job, rates, lot, poured_kg, spoils, back_to):
    """Melt by the crucible, pour by the mould or cluster.

    Parameters: `lot` Level of moulds or clusters; `poured_kg` turns kits into metal poured [kg].
    Metal is bought for the parts and for what melting and remelted returns lose.
    """
    job.alloy.check_pour(rates["foundry.furnace_limit"])
    crucible = rates["foundry.crucible"]
    metal = Level("kilogram poured", poured_kg)
    full_kg = poured_kg(MANY) / lot.per_batch(MANY)  # metal of a lot that is as full as they come
    melt = Level("melt", lambda kits: _melts(poured_kg(kits), lot.per_batch(kits), full_kg, crucible))
    part = part_level(job.kit)
    part_kg = mean(job.kit, lambda item: item.part.volume_cm3) * job.alloy["density"] / 1000
    ingot, lost = f"ingot.{job.alloy.name}", rates["foundry.return_loss"]
    return Step(
        Stage.POUR,
        "melt and pour",
        (
            Work(
                melt,
                hands_on_h=rates["foundry.melt_hands_on"] + job.alloy["melt_care"],
                machine_h=rates["foundry.melt_time"],
                materials={"material.inert_gas": job.alloy["cover_gas"]} if job.alloy["cover_gas"] else {},
            ),
            Work(lot, hands_on_h=2 * rates["foundry.pour_each"]),  # two people pour
            Work(metal, materials={ingot: rates["foundry.melt_loss"] + lost}),
            Work(part, materials={ingot: part_kg * (1 - lost)}),
        ),
        machine="melting_furnace",
        attended=True,
        whole=True,
        first_pass_yield=rates["foundry.yield_pour"],
        spoils=spoils,
        returns_to=back_to,
    )


def _melts(poured_kg, lots, full_kg, crucible_kg):
    """Melts [-]: a lot is poured from one melt, so a crucible holds whole lots, each of `full_kg` [kg].

    >>> [int(_melts(3 * kg, 3, kg, 25.0)) for kg in (8, 12, 15)]  # three, two and one of such lots in a crucible
    [1, 2, 3]
    """
    whole = np.maximum(np.floor(crucible_kg / np.maximum(full_kg, 1e-9) + 1e-9), 1)
    return np.maximum(np.ceil(lots / whole - 1e-9), np.ceil(poured_kg / crucible_kg - 1e-9))


def heat_treat(job, rates):
    """Solution annealing and ageing of a hardened alloy, each heated from the room; no step at all for the others."""
    alloy = job.alloy
    if not alloy.hardened:
        return ()
    kit_kg = job.kit.volume_cm3 * alloy["density"] / 1000
    load = lots("furnace load", kit_kg / rates["foundry.heat_treatment_load"])
    hours = sum(
        heating_h(alloy[f"{part}_temperature"], rates["foundry.heat_treatment_heating"]) + alloy[f"{part}_time"]
        for part in ("solution", "ageing")
    )
    work = Work(load, hands_on_h=rates["foundry.heat_treatment_setup"], machine_h=hours)
    return (Step(Stage.FINISH, "heat-treat", (work,), machine="heat_treatment_furnace", rounds=load.per_batch),)


def cast_hole_tolerance(grade):
    """Diameter [mm] → total tolerance [mm] of a hole as cast in a DCTG grade."""
    return lambda diameter_mm: casting_tolerance_mm(diameter_mm, np.rint(grade))


def same_tolerance(tolerance_mm):
    """Diameter [mm] → total tolerance [mm], the same for every hole."""
    return lambda diameter_mm: tolerance_mm


@dataclass(frozen=True)
class Machining:
    """What is machined on one piece of a kit part: how many features [-], and the stock they take off [cm3]."""

    features: np.ndarray | int
    stock_cm3: np.ndarray | float


def machining_of(job, rates, hole_tolerance_mm, stock_mm, shift_mm=0.0):
    """Machining of each kit part, tuple of Machining in the kit's order.

    A hole that is machined is made smaller beforehand by 2·stock + a half of its total tolerance (ISO 8062-3, from
    memory: F − 2·RMA − CT/2), and by twice the shift_mm by which its core may sit off.

    Bores and faces are always machined; a tube socket only when asked for, or when the hole as made would
    leave a thinner bond gap than the adhesive needs.
    """
    target, tube = rates["bonding.gap"], rates["bonding.tube_tolerance"]

    # A kit has many holes of few diameters.
    @cache
    def must(diameter_mm):
        least, _ = bond_gap_mm(target, hole_tolerance_mm(diameter_mm), tube)
        return np.where(job.machine_all_sockets | (least < rates["bonding.least_gap"]), 1, 0)

    @cache
    def a_side(diameter_mm):
        cast_mm = cast_bore_mm(diameter_mm, stock_mm, hole_tolerance_mm(diameter_mm))
        return (diameter_mm - cast_mm) / 2 + shift_mm

    found = []
    for item in job.kit.parts:
        holes = [(bore, 1) for bore in item.bores] + [(socket, must(socket.diameter_mm)) for socket in item.sockets]
        stock = sum(
            cut * bore_stock_cm3(hole.diameter_mm, hole.depth_mm, a_side(hole.diameter_mm)) for hole, cut in holes
        )
        stock = stock + sum(face_stock_cm3(face.area_cm2, stock_mm) for face in item.faces)
        found.append(Machining(sum(cut for _, cut in holes) + len(item.faces), stock))
    return tuple(found)


def finish(job, rates, machining, back_to):
    """Blast, machine what there is to machine, and inspect."""
    part = part_level(job.kit)
    hours = 0.0
    for item, work in zip(job.kit.parts, machining, strict=True):
        cutting = cutting_h(work.features, work.stock_cm3, rates["machining.feature"], rates["machining.removal_rate"])
        clamping = rates["machining.clamp_each"] * (work.features > 0)
        hours = hours + item.count * (job.alloy["cutting"] * cutting + clamping)
    features = sum(work.features for work in machining)
    setup_h = rates["machining.setup_batch"] * np.minimum(features, 1)
    machine = Step(
        Stage.FINISH,
        "machine bores, faces and tight sockets",
        (Work(BATCH, hands_on_h=setup_h), Work(part, hands_on_h=hours / job.kit.nodes)),
        machine="machining_centre",
        attended=True,
        first_pass_yield=rates["machining.yield_machining"],
        returns_to=back_to,
    )
    return (
        Step(Stage.FINISH, "blast and look over", (Work(part, hands_on_h=rates["machining.blast_each"]),)),
        *((machine,) if np.any(features) else ()),
        Step(
            Stage.FINISH,
            "inspect and record",
            (Work(part, hands_on_h=rates["machining.inspect_each"]),),
            first_pass_yield=rates["machining.yield_inspection"],
            returns_to=back_to,
        ),
    )
