"""What several routes share: levels, the check of the part, melting and pouring, machining and inspection."""

from dataclasses import dataclass
from functools import reduce

import numpy as np

from pourprint.ledger.alloys import Alloy
from pourprint.ledger.entries import joints
from pourprint.ledger.errors import Infeasible
from pourprint.plans.steps import BATCH, JOB, Level, Stage, Step, Work
from pourprint.process.contraction import cast_bore_mm
from pourprint.process.finish.fits import bond_gap_mm, casting_tolerance_mm
from pourprint.process.finish.iso_fits import limits_mm
from pourprint.process.finish.machining import bore_stock_cm3, cutting_h, face_stock_cm3
from pourprint.process.freezing.solidification import Melt
from pourprint.process.heating import heating_h, melt_kj_kg

MANY = 10_000  # kits, of which the last lot hardly counts
RATED_FOR = "AlSi7Mg"  # the metal by which the ledger says what crucible and furnace can do


def part_level(kit):
    """Once a part: every piece of every kit in the batch."""
    return Level("part", lambda kits: kits * kit.nodes)


def lots(name, per_kit):
    """Once a cluster, box, plate or load: `per_kit` is the share that one kit fills [-], rounded up a batch."""
    return Level(name, lambda kits: np.ceil(kits * per_kit - 1e-9))


def total(kit, amounts):
    """Sum over all pieces of a kit of what one piece of each part takes: `amounts` in the kit's order."""
    return sum(item.count * amount for item, amount in zip(kit.parts, amounts, strict=True))


def mean(kit, amounts):
    """Mean over the pieces of a kit, as `total`: what one piece of Work at part level takes."""
    return total(kit, amounts) / kit.nodes


def largest(values):
    """The largest of some numbers or arrays (…), one for each part: (…)."""
    return reduce(np.maximum, values)


def limit(value):
    """A limit in a message, the tightest of an array."""
    return f"{np.min(value):.0f}"


def box_text(box_mm):
    """The sides (…, 3) of a box in a message, the largest of an array [mm]."""
    return " × ".join(f"{np.max(side):.0f}" for side in np.moveaxis(box_mm, -1, 0))


def share_of_lots(kit, fits, boxes_mm, where, limits):
    """How many lots one kit fills [-], from how many of each part one lot holds: `fits` in the kit's order.

    Raises: Infeasible that names the part, its box (…, 3) [mm] and the space, when a part does not fit at all.
    """
    for item, fit, box_mm in zip(kit.parts, fits, boxes_mm, strict=True):
        if np.any(fit < 1):
            raise Infeasible(f"{item.part.title} ({box_text(box_mm)} mm) does not fit {where}: {limits}.")
    return sum(item.count / fit for item, fit in zip(kit.parts, fits, strict=True))


def desk_step(stage, name, job, rates, key, more_h=0.0, **more):
    """An engineer's work, once a job: hours of the card's KEY_base, KEY_each for each different part, and `more_h` [h];
    `more` as for Work."""
    hours = rates[f"{key}_base"] + rates[f"{key}_each"] * len(job.kit.parts) + more_h
    return Step(stage, name, (Work(JOB, hands_on_h=hours, **more),), who="labour.engineer")


def check_the_part(job, rates, whom):
    """The first step of every route."""
    return desk_step(Stage.DESIGN, f"check the part for {whom}", job, rates, "design.check")


def simulate(job, rates):
    """Simulate filling and freezing: an engineer sets up and reads, a computer runs alone."""
    run_h = rates["design.simulate_run"]
    return desk_step(Stage.SIMULATE, "simulate filling and freezing", job, rates, "design.simulate", wait_h=run_h)


def fails(first_pass_yield, back_to, spoils="part"):
    """How often a step passes at the first try, what a failure spoils and where it sends work back to: for a Step."""
    return {"first_pass_yield": first_pass_yield, "returns_to": back_to, "spoils": spoils}


def crucible_kg(job, rates):
    """Metal of the job's alloy that the crucible holds [kg]: as much room as its filling of aluminium takes."""
    return rates["foundry.crucible"] * job.alloy["density"] / Alloy.named(RATED_FOR)["density"]


def melting_h_kg(job, rates):
    """Furnace time to melt and heat a kilogram [h/kg]: aluminium by melt_time of a full crucible, others by heat."""
    metals, room_c = (job.alloy, Alloy.named(RATED_FOR)), rates["room.temperature"]
    heat, rated = (melt_kj_kg(Melt.of(metal), room_c) for metal in metals)
    return rates["foundry.melt_time"] / rates["foundry.crucible"] * heat / rated


def melts(job, rates, lot, poured_kg, least=None):
    """The Level of melts: as many as the crucible needs, at least one for each of another Level that is poured hot."""
    crucible = crucible_kg(job, rates)
    full_kg = poured_kg(MANY) / lot.per_batch(MANY)  # metal of a lot that is as full as they come

    def per_batch(kits):
        needed = _melts(poured_kg(kits), full_kg, crucible)
        return needed if least is None else np.maximum(needed, least.per_batch(kits))

    return Level("melt", per_batch)


def cold_start_h(job, rates):
    """Furnace time to heat furnace and crucible from the room to the pour [h]: by how much hotter that is."""
    pour_c, rated_c = (alloy["pour_temperature"] for alloy in (job.alloy, Alloy.named(RATED_FOR)))
    room_c = rates["room.temperature"]
    return rates["foundry.cold_start"] * (pour_c - room_c) / (rated_c - room_c)


def melt_and_pour(job, rates, lot, poured_kg, melt, back_to, **hot):
    """Melt by the crucible, pour by the mould or cluster.

    A furnace with metal in it is never left alone, so that melting is hands-on time too: each melt is charged, melted,
    treated and poured in one go, and not begun where the day is too short for it. Furnace and crucible are heated from
    the room for each melt that waits for shells of its own to be fired; other melts follow each other into the hot
    crucible, as many as a day holds, and the next day begins cold.

    Parameters: `lot` Level of moulds or clusters; `poured_kg` turns kits into metal poured [kg]; `melt` Level of melts;
    `hot` may say within_h and keeps.
    Metal is bought for the parts and for what melting and remelted returns lose.
    """
    job.alloy.check_pour(rates["foundry.furnace_limit"])
    metal = Level("kilogram poured", poured_kg)
    part = part_level(job.kit)
    part_kg = job.kit.volume_cm3 / job.kit.nodes * job.alloy["density"] / 1000
    ingot, lost = f"ingot.{job.alloy.name}", rates["foundry.return_loss"]
    gas = {"material.inert_gas": job.alloy["cover_gas"]} if job.alloy["cover_gas"] else {}
    cold_h, kg_h = cold_start_h(job, rates), melting_h_kg(job, rates)
    melt_h, pour_h = rates["foundry.melt_hands_on"] + job.alloy["melt_care"], rates["foundry.pour_each"]

    def cold_starts(kits):
        number = melt.per_batch(kits)
        if hot:
            return number
        each_h = melt_h + (kg_h * poured_kg(kits) + pour_h * lot.per_batch(kits)) / np.maximum(number, 1)
        each_h = np.maximum(each_h, 1e-6)  # also where a card's melts take no time, and where nothing is poured
        return np.ceil(number / np.maximum(np.floor((rates.hours.day_h - cold_h) / each_h + 1e-9), 1) - 1e-9)

    work = (
        Work(Level("cold start", cold_starts), hands_on_h=cold_h),
        Work(melt, hands_on_h=melt_h, materials=gas),
        Work(metal, hands_on_h=kg_h, materials={ingot: rates["foundry.melt_loss"] + lost}),
        Work(lot, hands_on_h=pour_h, people=2),
        Work(part, materials={ingot: part_kg * (1 - lost)}),
    )
    how = {"machine": "melting_furnace", "attended": True, "whole": True, "rounds": melt.per_batch}
    lost = fails(rates["foundry.yield_pour"], back_to, lot.name)
    return Step(Stage.POUR, "melt and pour", work, **how, **lost, **hot)


def _melts(poured_kg, full_kg, crucible_kg):
    """Melts [-]: a lot is poured from one melt, so a crucible holds whole lots, each of `full_kg` [kg], and the rest,
    a lot that is not full, where there is room.

    >>> [int(_melts(3 * kg, kg, 25.0)) for kg in (8, 12, 15)]  # three, two and one of such lots in a crucible
    [1, 2, 3]
    >>> [int(_melts(8 * 3 + kg, 3.0, 25.0)) for kg in (0.9, 1.1)]  # eight fill one, but for a kilogram
    [1, 2]
    """
    full_kg = np.maximum(full_kg, 1e-9)
    whole, full = np.maximum(np.floor(crucible_kg / full_kg + 1e-9), 1), np.floor(poured_kg / full_kg + 1e-9)
    rest, number = poured_kg - full * full_kg, np.ceil(full / whole - 1e-9)
    room = (number * whole > full) | (rest <= crucible_kg - whole * full_kg + 1e-9) & (full > 0)
    return np.maximum(number + ((rest > 1e-9) & ~room), np.ceil(poured_kg / crucible_kg - 1e-9))


def furnace_h(rates, hottest_c):
    """Time to bring the heat-treatment furnace from the room to a temperature [°C] → [h]. Raises: InputError."""
    return heating_h(hottest_c, rates["foundry.heat_treatment_heating"], rates["room.temperature"])


def heat_treat(job, rates):
    """Solution annealing, quench and, where an alloy hardens so, ageing; no steps at all for alloys that need neither.

    Each is heated from the room. The quench follows the furnace at once, since phases that harden or spoil the metal
    begin to grow in seconds. Of the hands' time a quarter each goes to load, to quench, to load again and to unload.
    """
    alloy = job.alloy
    if "solution_temperature" not in alloy.entries:
        return ()
    kit_kg = job.kit.volume_cm3 * alloy["density"] / 1000
    load = lots("furnace load", kit_kg / rates["foundry.heat_treatment_load"])
    furnace, quarter_h = "heat_treatment_furnace", rates["foundry.heat_treatment_setup"] / 4

    def heated(name, part, **more):
        heat_h = furnace_h(rates, alloy[f"{part}_temperature"]) + alloy[f"{part}_time"]
        work = Work(load, hands_on_h=quarter_h, machine_h=heat_h, **more)
        return Step(Stage.FINISH, name, (work,), machine=furnace, rounds=load.per_batch)

    hot = {"whole": True, "rounds": load.per_batch, "within_h": 0.0, "keeps": furnace}
    quench = Step(Stage.FINISH, "quench", (Work(load, hands_on_h=quarter_h),), **hot)
    steps = heated("solution-treat", "solution"), quench
    if "ageing_time" not in alloy.entries:
        return steps
    cooling_h = furnace_h(rates, alloy["ageing_temperature"])  # in the closed furnace, as fast as it heats
    return (*steps, heated("age", "ageing", cooling_h=cooling_h, unload_h=quarter_h))


def cut_off_h(job, rates, section_cm2):
    """Hands at saw and grinder to take feeders and gates of a section [cm2] off a part [h]; clamping is apart."""
    return job.alloy["cutting"] * section_cm2 * (1 / rates["sawing.blade"] + rates["sawing.grind"])


OPEN = {"printed_mould": "printed_mould.least_core", "printed_metal": None}  # what a route keeps open; else a shell's


def as_made(route, rates):
    """How holes come out of a route: (function of diameters (h,) [mm] → total tolerances (..., h) [mm], stock [mm a
    side], how far cores may sit off [mm])."""
    # A shell does not know whether its pattern was printed or pressed.
    read = rates.section("printed_pattern" if route == "tooled_pattern" else route)
    stock_mm, shift_mm = read("machining_stock"), read("core_clearance") if route == "printed_mould" else 0.0
    if route == "printed_metal":
        small_mm, of_size = (np.asarray(read(key))[..., None] for key in ("socket_tolerance", "size_tolerance"))
        return lambda each_mm: np.maximum(small_mm, of_size / 100 * each_mm), stock_mm, shift_mm
    grade = np.rint(read("casting_grade"))[..., None]
    return lambda each_mm: casting_tolerance_mm(each_mm, grade), stock_mm, shift_mm


@dataclass(frozen=True, eq=False)
class Machining:
    """What is machined on one piece of a kit part, arrays by hole (..., h), bores before sockets.

    hole_mm: finished diameter, of a socket with the bond gap round its tube. tolerance_mm: total, as the route makes
    it. cut: whether it is machined. raw_mm: diameter before that [mm], 0 cast shut. hole_cm3: stock that is taken off;
    face_cm3 (...): of all faces together.
    """

    faces: int
    hole_mm: np.ndarray
    tolerance_mm: np.ndarray
    cut: np.ndarray
    raw_mm: np.ndarray
    hole_cm3: np.ndarray
    face_cm3: np.ndarray | float

    @property
    def features(self):
        """How many holes and faces are machined (...) [-]."""
        return self.cut.sum(axis=-1) + self.faces

    @property
    def stock_cm3(self):
        """Stock that is taken off (...) [cm3]."""
        return self.hole_cm3.sum(axis=-1) + self.face_cm3


def least_gap_mm(job, rates):
    """The least bond gap round a tube [mm]: what the adhesive needs, and the layer of a job's isolation."""
    layer_mm = joints()[f"{job.isolation}.thickness"].value if job.isolation else 0.0
    return rates["bonding.least_gap"] + layer_mm


def machining_of(job, rates, route):
    """Machining of each kit part by a route, tuple of Machining in the kit's order.

    A hole that is machined is made smaller beforehand by 2·stock + a half of its total tolerance (ISO 8062-3, from
    memory: F − 2·RMA − CT/2), and by twice the distance by which its core may sit off.

    One that would be narrower than what the route keeps open is cast shut. Faces are always machined, and bores whose
    fit is narrower than what the route keeps; a tube socket only when asked for, or when the hole as made would leave a
    thinner bond gap than `least_gap_mm`.
    """
    tolerance_of, stock_mm, shift_mm = as_made(route, rates)
    open_key = OPEN.get(route, "shell.least_opening")
    gap, tube = (rates[f"bonding.{key}"] for key in ("gap", "tube_tolerance"))
    # The last axis is that of a part's holes.
    numbers = (gap, tube, least_gap_mm(job, rates), stock_mm, shift_mm, rates[open_key] if open_key else 0.0)
    gap, tube, least, stock, shift, opening = (np.asarray(value)[..., None] for value in numbers)
    found = []
    for item in job.kit.parts:
        diameter, depth = np.array([(hole.diameter_mm, hole.depth_mm) for hole in item.holes]).reshape(-1, 2).T
        bored = np.arange(len(item.holes)) < len(item.bores)
        limits = [limits_mm(bore.diameter_mm, bore.fit) for bore in item.bores] + [(0.0, 0.0)] * len(item.sockets)
        low, high = np.array(limits).reshape(-1, 2).T
        hole = diameter + np.where(bored, 0.0, 2 * gap)
        tolerance = tolerance_of(hole)
        thinnest, _ = bond_gap_mm(gap, tolerance, tube)
        cut = np.where(bored, tolerance > high - low, job.machine_all_sockets | (thinnest < least))
        hole = hole + np.where(cut, 0.0, (low + high) / 2)  # left as made, it is aimed at the middle of its band
        raw = np.where(cut, cast_bore_mm(hole, stock, tolerance) - 2 * shift, hole)
        raw = np.where(cut & (raw < np.maximum(opening, 0)), 0, raw)
        holes_cm3 = bore_stock_cm3(hole, depth, (hole - raw) / 2)
        faces_cm3 = face_stock_cm3(sum(face.area_cm2 for face in item.faces), stock_mm)
        found.append(Machining(len(item.faces), hole, tolerance, cut, raw, holes_cm3, faces_cm3))
    return tuple(found)


def casting_cm3(job, machining):
    """Metal of each part with its machining stock [cm3], list in the kit's order."""
    return [item.part.volume_cm3 + work.stock_cm3 for item, work in zip(job.kit.parts, machining, strict=True)]


def finish(job, rates, machining, back_to):
    """Blast, machine what there is to machine, and inspect."""
    part, m = part_level(job.kit), rates.section("machining")
    hours = [
        job.alloy["cutting"] * cutting_h(work.features, work.stock_cm3, m("feature"), m("removal_rate"))
        + m("clamp_each") * (work.features > 0)
        for work in machining
    ]
    features = sum(work.features for work in machining)
    setup_h = m("setup_batch") * np.minimum(features, 1)
    cutting = (Work(BATCH, hands_on_h=setup_h), Work(part, hands_on_h=mean(job.kit, hours)))
    how = {"machine": "machining_centre", "attended": True, **fails(m("yield_machining"), back_to)}
    machining = Step(Stage.FINISH, "machine bores, faces and tight sockets", cutting, **how)
    inspecting = (Work(part, hands_on_h=m("inspect_each")),)
    return (
        Step(Stage.FINISH, "blast and look over", (Work(part, hands_on_h=m("blast_each")),)),
        *((machining,) if np.any(features) else ()),
        Step(Stage.FINISH, "inspect and record", inspecting, **fails(m("yield_inspection"), back_to)),
    )
