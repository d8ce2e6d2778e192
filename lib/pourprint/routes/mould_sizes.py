"""What the printed mould route sizes before it plans: how the mould opens, feeder, gating, sand block, cores.

The plan, the notebook, the pictures and the filling and freezing of a mould read the same numbers from here.
"""

from dataclasses import dataclass, replace

import numpy as np

from pourprint.process.freezing.section_modulus import hottest_section, nearest_metals
from pourprint.process.sand.feeding import Feeder, cylinder_cm3, feeder
from pourprint.process.sand.gating import Gating, gating
from pourprint.process.sand.parting import PartingStudy, block_mm
from pourprint.routes import common

NAME = "printed_mould"


@dataclass(frozen=True)
class PartMould:
    """The mould of one part, a cavity and what belongs to it: numbers or arrays (...).

    part: as wanted. study: how the mould opens; places are in its frame, u, v, w. modulus_mm, hot_mm (..., 3): of the
    hottest section, and where it is [mm]; spots: places that freeze later than all around them [-]. features,
    stock_cm3: holes and faces to machine [-] and their stock [cm3]. feeder, gating: their sizes; feeder_cm3, foot_cm2:
    of all feeders together, and where their necks are sawn through. low_mm, high_mm (..., 3): corners of the room of
    part and feeders, and block_mm (..., 3): the sand block round it [mm]. cores [-], core_cm3: how many and how much of
    the casting they form. metal_cm3: casting, feeders and gating; sand_kg: bonded sand, cores included.
    """

    part: object
    study: PartingStudy
    modulus_mm: np.ndarray | float
    hot_mm: np.ndarray
    spots: int
    features: np.ndarray | int
    stock_cm3: np.ndarray | float
    feeder: Feeder
    feeder_cm3: np.ndarray | float
    foot_cm2: np.ndarray | float
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


def moulds_of(job, rates, upside_down=False):
    """The PartMould of each part of a job's kit, in the kit's order: (Job, RateCard) → tuple. Raises: Infeasible.

    `upside_down`: with the other side up than the study of the parting would have.
    """
    job.alloy.check_route(NAME)
    m = rates.section(NAME)
    tolerance = common.cast_hole_tolerance(m("casting_grade"))
    machining = common.machining_of(job, rates, tolerance, m("machining_stock"), m("core_clearance"))
    pairs = zip(job.kit.parts, machining, strict=True)
    return tuple(_mould(item, work, job, rates, upside_down) for item, work in pairs)


def _mould(item, work, job, rates, upside_down):
    m, part = rates.section(NAME), item.part
    study, section = part.study(PartingStudy), hottest_section(part, nearest_metals(job.alloy))
    study = study.upside_down() if upside_down else study
    hot_mm = section.place_mm @ study.frame.T  # in the mould's frame
    casting_cm3 = part.volume_cm3 + work.stock_cm3
    head = feeder(section.modulus_mm, casting_cm3, job.alloy["shrinkage"] / 100, rates.section("feeding"))
    # The feeder stands over the hottest section, on the level of the part's top, and may stick out sideways.
    radius = np.asarray(head.diameter_mm)[..., None] / 2 * np.array([1, 1, 0])
    high = np.maximum(study.high_mm, hot_mm + radius) + np.asarray(head.height_mm)[..., None] * np.array([0, 0, 1])
    low = np.minimum(study.low_mm, hot_mm - radius)
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
        cores=cores,
        core_cm3=core_cm3,
        **_around(part, study, work.stock_cm3, head.volume_cm3, head.height_mm, low, high, job, rates),
        foot_cm2=head.foot_cm2 * rates["feeding.neck"] ** 2,
    )


def _around(part, study, stock_cm3, feeder_cm3, feeder_mm, low, high, job, rates):
    """What follows from the feeders: gating, block, metal and sand, by field of PartMould."""
    m, density, filled_cm3 = rates.section(NAME), job.alloy["density"], part.volume_cm3 + stock_cm3 + feeder_cm3
    above_mm = study.above_mm + feeder_mm
    sizes = filled_cm3, filled_cm3 * density / 1000, above_mm + m("wall"), above_mm, (high - low)[..., 2]
    way = gating(*sizes, rates.section("gating"))
    block = block_mm(high - low, m("wall"), rates["gating.gate_length"] + np.sqrt(4 / np.pi * way.top_mm2))
    metal_cm3 = filled_cm3 + way.volume_cm3
    return {
        "feeder_cm3": feeder_cm3,
        "gating": way,
        "low_mm": low,
        "high_mm": high,
        "block_mm": block,
        "metal_cm3": metal_cm3,
        "metal_kg": metal_cm3 * density / 1000,
        "sand_kg": (np.prod(block, axis=-1) - 1000 * metal_cm3) / 1e6 * m("sand_density"),
    }


def with_feeders(one, stands, chills, job, rates):
    """The PartMould with other feeders, `process.cavity.Stand`s, and so many chills, each set as a core is set.

    All single numbers. Parameters: `one` PartMould; Job and RateCard that it was made for.
    """
    ends = [one.study.low_mm, one.study.high_mm]
    for stand in stands:
        r = stand.diameter_mm / 2
        ends += [(*(np.array(stand.at_mm) - r), stand.foot_mm), (*(np.array(stand.at_mm) + r), stand.top_mm)]
    volume = float(sum(cylinder_cm3(stand.diameter_mm, stand.height_mm) for stand in stands))
    height = max((stand.top_mm for stand in stands), default=one.study.high_mm[2]) - one.study.high_mm[2]
    low, high = np.min(ends, axis=0), np.max(ends, axis=0)
    around = _around(one.part, one.study, one.stock_cm3, volume, max(height, 0.0), low, high, job, rates)
    foot = sum(np.pi / 400 * (stand.neck * stand.diameter_mm) ** 2 for stand in stands)
    return replace(one, cores=one.cores + chills, foot_cm2=float(foot), **around)
