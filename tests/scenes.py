"""What several test files share: the demo lab and its kit, parts given by numbers, and toy recipes."""

from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

import pourprint as pp
from pourprint.ledger.entries import read_table
from pourprint.plans.plan import Plan
from pourprint.plans.steps import BATCH, Level, Stage, Step, Work
from pourprint.process.freezing.solidification import default_cell_mm, freeze_grid, rim_mm
from pourprint.process.freezing.voxels import voxels

DEMO = Path(__file__).parents[1] / "data_demo"
ROUTES = ("printed_pattern", "printed_mould", "printed_metal", "tooled_pattern")
PRINTED = ROUTES[:3]
LIMITS = frozenset(read_table("process/findings"))  # what only findings ask
ROUND_THE_CLOCK = pp.WorkingHours(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), 0.0, 24.0)
PART = Level("part", lambda kits: kits)


class Noting(dict):
    """Entries that note which were read."""

    def __init__(self, entries):
        super().__init__(entries)
        self.read = set()

    def __getitem__(self, key):
        self.read.add(key)
        return super().__getitem__(key)


@cache
def demo_kit():
    return pp.Kit.load(DEMO / "rover_kit.toml")


@cache
def demo_rates():
    return pp.RateCard.load(DEMO / "rates.toml")


def bracket(volume_cm3=60, area_cm2=210, box_mm=(90, 70, 60)):
    return pp.Part.from_numbers("bracket", volume_cm3, area_cm2, box_mm)


def freeze(part, melt, mould, cell_mm=None):
    """A part with a mesh, frozen by itself on cells of some edge [mm] (default: about 400 000 of them): Freezing."""
    pad = rim_mm(part.modulus_mm, melt, mould)
    cell_mm = default_cell_mm(part.box_mm, pad, 400_000) if cell_mm is None else cell_mm
    return freeze_grid(voxels(*part.mesh, cell_mm, pad + cell_mm), melt, mould)


def small_kit(**numbers):
    """Two different parts by numbers, three pieces: a machined bracket with a socket, and a plain block."""
    machined = pp.KitPart(bracket(**numbers), 2, (pp.Bore(20, 15),), (pp.Socket(25, 30),), (pp.Face(6),))
    return pp.Kit("small kit", (machined, pp.KitPart(pp.Part.from_numbers("block", 50, 100, (50, 40, 30)))))


def small_job(quantity=1, batch_size=None, alloy="AlSi7Mg", **numbers):
    return pp.Job(small_kit(**numbers), alloy, quantity, batch_size)


def catalogue(n, seed=1):
    """Invented parts by their numbers, n of them."""
    rng = np.random.default_rng(seed)
    box = rng.uniform(30, 150, (3, n))
    volume = box.prod(axis=0) / 1000 * rng.uniform(0.05, 0.3, n)
    area = (36 * np.pi) ** (1 / 3) * volume ** (2 / 3) * rng.uniform(1.5, 3, n)
    return {"volume_cm3": volume, "area_cm2": area, "box_mm": box.T}


@dataclass(frozen=True)
class EachPrinted:
    """Each part of a catalogue as a job of its own, printed in metal; a sweep's workers read it from this module."""

    rates: pp.RateCard

    def __call__(self, cases):
        plan = pp.plan("printed_metal", pp.Job(pp.Part.from_numbers("part", **cases), "AlSi7Mg", 3), self.rates)
        return {"unit_cost": plan.unit_cost, "days": plan.lead_time_days}


def toy_plan(*steps, quantity=1, batch_size=None, hours=None, **changes):
    """A plan of given steps for a lone part; `changes` of rate keys with __ for the dot."""
    rates = pp.RateCard.default().replace({key.replace("__", "."): value for key, value in changes.items()})
    rates = rates.with_hours(hours) if hours else rates
    job = pp.Job(bracket(), "AlSi7Mg", quantity, batch_size)
    return Plan("toy", "Toy", job, rates, lambda job, rates: steps, steps)


def step(name, *work, **more):
    return Step(Stage.MOULD, name, work, **more)


def hands(hours, level=BATCH):
    return Work(level, hands_on_h=hours)


def with_alloy_value(alloy, key, value):
    """An alloy with one property changed."""
    entry = alloy.entries[key]
    return replace(alloy, entries={**alloy.entries, key: entry.model_copy(update={"value": value})})


def rims(faces):
    """How many edges are passed more often one way than the other: none where a skin is closed, even where two of its
    sheets touch along an edge, which trimesh does not call watertight."""
    passed = Counter((a, b) for face in faces.tolist() for a, b in zip(face, face[1:] + face[:1], strict=True))
    return sum(count != passed[b, a] for (a, b), count in passed.items())
