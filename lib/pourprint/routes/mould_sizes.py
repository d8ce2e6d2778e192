"""What the printed mould route sizes before it plans: how the mould opens, feeders, gating, sand block, cores.

The plan, the notebook, the pictures and the filling and freezing of a mould read the same numbers from here.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.ledger.rates import RateCard
from pourprint.plans.jobs import Job
from pourprint.process.cavity import Stand
from pourprint.process.freezing.section_modulus import Section, hottest_section, nearest_metals
from pourprint.process.sand.feeding import Feeder, cylinder_cm3, feeder
from pourprint.process.sand.gating import gating
from pourprint.process.sand.parting import PartingStudy, block_mm
from pourprint.routes import common

NAME = "printed_mould"


@dataclass(frozen=True, eq=False)
class PartMould:
    """The mould of one part, a cavity and what belongs to it: numbers or arrays (...), for a `job` and `rates`.

    part: as wanted. study: how the mould opens; places are in its frame, u, v, w. section: the hottest. machined: what
    is machined off the casting. feeder: the size of the first, over the hottest section; stands: all of them, one of
    no width where none is needed. cores [-], core_cm3: how many and how much of the casting they form. neck_cm3,
    hollow_cm3: metal of the necks below the feeders' feet, and where it fills hollows that are bored out [cm3].
    """

    job: Job
    rates: RateCard
    part: object
    study: PartingStudy
    section: Section
    machined: common.Machining
    feeder: Feeder
    stands: tuple[Stand, ...]
    cores: np.ndarray | int
    core_cm3: np.ndarray | float
    neck_cm3: np.ndarray | float = 0.0
    hollow_cm3: np.ndarray | float = 0.0

    @property
    def modulus_mm(self):
        """Of the hottest section (...) [mm]."""
        return self.section.modulus_mm

    @cached_property
    def hot_mm(self):
        """Where the hottest section is, in the mould's frame (..., 3) [mm]."""
        return self.section.place_mm @ self.study.frame.T

    @cached_property
    def features(self):
        """Holes and faces to machine [-]; hollows that a neck fills count as one."""
        return self.machined.features + (np.asarray(self.hollow_cm3) > 0)

    @cached_property
    def stock_cm3(self):
        """What is machined off [cm3]."""
        return self.machined.stock_cm3 + self.hollow_cm3

    @cached_property
    def feeders(self):
        """How many feeders stand on it [-]."""
        return sum(np.asarray(stand.diameter_mm) > 0 for stand in self.stands)

    @cached_property
    def feeder_cm3(self):
        """Of all feeders together, without necks [cm3]."""
        return sum(cylinder_cm3(stand.diameter_mm, stand.height_mm) for stand in self.stands)

    @cached_property
    def foot_cm2(self):
        """Where the necks of all feeders are sawn through [cm2]."""
        return sum(np.pi / 400 * (stand.neck * stand.diameter_mm) ** 2 for stand in self.stands)

    @cached_property
    def room_mm(self):
        """Lowest and highest corner of the room of part and feeders, two (..., 3) [mm]."""
        low, high = self.study.low_mm, self.study.high_mm
        for stand in self.stands:
            one, other = stand.room_mm
            low, high = np.minimum(low, one), np.maximum(high, other)
        return low, high

    @cached_property
    def _filled_cm3(self):
        """Metal of all but the gating [cm3]."""
        return self.part.volume_cm3 + self.stock_cm3 + self.feeder_cm3 + self.neck_cm3

    @cached_property
    def gating(self):
        """Its Gating."""
        low, high = (corner[..., 2] for corner in self.room_mm)
        above_mm = high - self.study.parting_mm
        mass_kg, wall = self._filled_cm3 * self.job.alloy["density"] / 1000, self.rates["printed_mould.wall"]
        return gating(self._filled_cm3, mass_kg, above_mm + wall, above_mm, high - low, self.rates.section("gating"))

    @cached_property
    def block_mm(self):
        """Sides of the sand block round part, feeders and sprue (..., 3) [mm]."""
        low, high = self.room_mm
        sprue_mm = self.rates["gating.gate_length"] + np.sqrt(4 / np.pi * self.gating.top_mm2)
        return block_mm(high - low, self.rates["printed_mould.wall"], sprue_mm)

    @cached_property
    def metal_cm3(self):
        """Casting, feeders, necks and gating [cm3]."""
        return self._filled_cm3 + self.gating.volume_cm3

    @cached_property
    def metal_kg(self):
        """The same by mass [kg]."""
        return self.metal_cm3 * self.job.alloy["density"] / 1000

    @cached_property
    def sand_kg(self):
        """Bonded sand, cores included [kg]."""
        sand_cm3 = np.prod(self.block_mm, axis=-1) / 1000 - self.metal_cm3
        return sand_cm3 / 1000 * self.rates["printed_mould.sand_density"]

    @property
    def casting_yield(self):
        """Metal of the part as delivered over metal poured [-]."""
        return self.part.volume_cm3 / self.metal_cm3

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


def moulds_with_one_feeder(job, rates, upside_down=False):
    """The PartMould of each part of a job's kit, in the kit's order, one feeder each: (Job, RateCard) → tuple.

    What its neck takes is not counted yet. `upside_down`: with the other side up than the study of the parting would
    have. Raises: Infeasible.
    """
    job.alloy.check_route(NAME)
    pairs = zip(job.kit.parts, common.machining_of(job, rates, NAME), strict=True)
    return tuple(_mould(item, work, job, rates, upside_down) for item, work in pairs)


def _mould(item, work, job, rates, upside_down):
    part = item.part
    study, section = part.study(PartingStudy), hottest_section(part, nearest_metals(job.alloy))
    study = study.upside_down() if upside_down else study
    head = feeder_of(section.modulus_mm, part.volume_cm3 + work.stock_cm3, job, rates)
    # Of a part without a mesh only the listed holes are known: each that is cast takes a core.
    holes_cm3 = [cylinder_cm3(hole.diameter_mm, hole.depth_mm) for hole in item.holes]
    listed = (work.raw_mm > 0).sum(axis=-1), ((work.raw_mm > 0) * np.array(holes_cm3)).sum(axis=-1)
    cores, core_cm3 = study.cores(rates["printed_mould.core_least"]) if study.known else listed
    first = stand_over(section.place_mm @ study.frame.T, head, study, rates)
    return PartMould(job, rates, part, study, section, work, head, (first,), cores, core_cm3)


def feeder_of(modulus_mm, metal_cm3, job, rates):
    """The Feeder of a section of that V/A [mm] and of the metal that it feeds [cm3]."""
    return feeder(modulus_mm, metal_cm3, job.alloy["shrinkage"] / 100, rates.section("feeding"))


def stand_over(place_mm, head, study, rates):
    """Where a Feeder stands that is to feed a place (..., 3) of the mould's frame [mm]: over it, its foot on the level
    of the part's top, where it may stick out sideways. Returns: Stand."""
    u, v, down_mm = np.moveaxis(place_mm, -1, 0)
    foot_mm = study.high_mm[..., 2]
    return Stand((u, v), foot_mm, head.diameter_mm, head.height_mm, rates["feeding.neck"], down_mm)
