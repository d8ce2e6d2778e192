"""Pour a part on trial: fill and freeze its mould with feeder, gate and chills, see what goes wrong, try what mends it.

A printed mould is poured through its gating; a shell from the top, through the runner. What is not modelled stands in
`NOT_MODELLED`, to be said before any answer. The plan's yields are assumptions of a scenario and stay as they are
unless `with_risk` is asked for.
"""

from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts import kept
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.process.cavity import Rigging, Stand, cavity
from pourprint.process.filling import Filling, Inflow, Trap, fill
from pourprint.process.freezing.section_modulus import METALS, nearest_metals
from pourprint.process.freezing.solidification import Melt, Mould, default_cell_mm, rim_mm
from pourprint.process.misrun import Band, band, shares
from pourprint.process.pores import Feeding, Pore, feed
from pourprint.routes.mould_sizes import PartMould, moulds_of, with_feeders

NOT_MODELLED = (
    "Not modelled: jets, splash, the back-pressure of air, gas from binder and melt, convection, a mould that moves. "
    "Read order, places and bands, not promises."
)
FINE_CELLS, COARSE_CELLS = 400_000, 100_000  # of the box of part, feeder and sand: about a second, and a fifth of it
CHILL_BELOW_MM = 20.0  # how far below a pore one looks for the wall that takes the chill
WIDE_NECK, NARROW_NECK = 0.9, 0.6  # of the feeder's width
GATE_SIDE = np.pi / 2  # of the plan's gate: where the block has room for the sprue


@dataclass(frozen=True, eq=False)
class Pour:
    """A part poured on trial. `mould` PartMould with the feeders as tried; `rigging` what was put to it, in the mould's
    frame; `filling`, `feeding` what came of it; `fill_limit` the card's entry for misruns, `efficiency` the share
    of its metal that a feeder gives [-]."""

    mould: PartMould
    rigging: Rigging
    filling: Filling
    feeding: Feeding
    fill_limit: object
    efficiency: float

    @cached_property
    def share(self):
        """Worst section's time to fill over its time to freeze [-]: upper percent, as odd cells count for nothing."""
        with np.errstate(invalid="ignore"):  # nan between two sections that never fill
            return float(np.nanpercentile(shares(self.filling, self.feeding), 99))

    @property
    def band(self):
        """The Band of the worst section."""
        return band(self.share, self.fill_limit) if self.filling.complete else Band.MISRUN

    @property
    def gate_m_s(self):
        """Fastest metal in the ingates [m/s]."""
        return float(self.filling.flow_cm3_s.max() / self.rigging.ingate_mm2)

    def on_part(self, place_mm):
        """A place of the mould's frame (..., 3) on the part as drawn [mm]."""
        return np.asarray(place_mm) @ self.mould.study.frame

    @cached_property
    def slow_mm(self):
        """The section that is fullest late for its freezing, on the part as drawn (3,) [mm]."""
        worst = shares(self.filling, self.feeding) >= np.nan_to_num(self.share, nan=np.inf)
        return self.on_part(self.filling.cavity.grid.centres_mm(np.argwhere(worst)).mean(0))


def plan_rigging(one, rates):
    """The Rigging of a PartMould's plan: one feeder over the hottest section, one gate on the parting plane."""
    (u, v, down), top = map(float, one.hot_mm), float(one.study.high_mm[2])
    size = float(one.feeder.diameter_mm), float(one.feeder.height_mm)
    stand = Stand((u, v), top, *size, float(rates["feeding.neck"]), down)
    gate_mm, ingate = float(one.study.parting_mm), float(one.gating.ingate_mm2)
    return Rigging((stand,), (GATE_SIDE,), gate_mm, ingate, float(rates["gating.gate_length"]))


def pour(one, job, rates, rigging=None, cells=FINE_CELLS, cell_mm=None, pour_c=None):
    """Pour a part in its printed mould: Pour.

    Parameters: `one` PartMould of a part with a mesh and of single numbers, `job`, `rates` that it was made for;
    `rigging` Rigging (default: the plan's); `cells` how many at most, or `cell_mm` their edge [mm]; `pour_c` another
    pouring temperature [°C]. Raises: InputError.
    """
    vertices, faces = one.part.needed_mesh("poured")
    rigging = plan_rigging(one, rates) if rigging is None else rigging
    melt = Melt.of(job.alloy, **({} if pour_c is None else {"pour_c": float(pour_c)}))
    sand = Mould.sand(density_kg_m3=1000 * rates["printed_mould.sand_density"], start_c=rates["room.temperature"])
    if len(rigging.feeders) != 1 or rigging.chills or rigging.feeders != plan_rigging(one, rates).feeders:
        one = with_feeders(one, rigging.feeders, len(rigging.chills), job, rates)
        rigging = rigging.with_(ingate_mm2=float(one.gating.ingate_mm2))
    pad = rim_mm(one.part.modulus_mm, melt, sand)
    cell_mm = default_cell_mm(one.high_mm - one.low_mm, pad, cells) if cell_mm is None else cell_mm
    made = cavity(vertices @ one.study.frame.T, faces, rigging, cell_mm, pad)
    basin = float(one.study.parting_mm + one.gating.head_mm)
    filling = fill(made, Inflow(float(one.gating.choke_mm2), basin, rates["gating.discharge"]))
    feeding = feed(made, melt, sand, job.alloy["shrinkage"] / 100)
    limit = rates.entries["printed_mould.fill_share"]
    return Pour(one, rigging, filling, feeding, limit, float(rates["feeding.efficiency"]))


def trial(first, place, width_mm, neck, chill_mm=0.0):
    """A Rigging to try after a `first` Pour.

    Parameters: `place` of the feeder: "over the hottest section", "over the largest pore", "both", or any other word
    for none and a vent instead; `width_mm` [mm], its height in proportion; `neck` over it [-]; `chill_mm` width of a
    chill at the largest pore [mm], 0 for none. Without a pore the hottest section stands for it.
    """
    head = first.rigging.feeders[0]
    head = replace(head, diameter_mm=width_mm, height_mm=width_mm * head.height_mm / head.diameter_mm, neck=neck)
    u, v, w = first.feeding.pores[0].place_mm if first.feeding.pores else (*head.at_mm, head.down_mm)
    there = replace(head, at_mm=(u, v), down_mm=w)
    feeders = {"over the hottest section": (head,), "over the largest pore": (there,), "both": (head, there)}
    standing = feeders.get(place, ())
    chills = ((u, v, w - CHILL_BELOW_MM),) if chill_mm > 0 else ()
    vents = () if standing else (head.at_mm,)
    return first.rigging.with_(feeders=standing, vents=vents, chills=chills, chill_mm=chill_mm)


def with_risk(rates, run):
    """A scenario, off unless asked for: the card with the pour's yield at its low end where a Pour leaves a pore beyond
    the card's limit, or a wall that is not safe; else the card as it is. No model knows a yield: a lab counts it."""
    pores = run.feeding.pore_cm3 > rates["printed_mould.most_pore"]
    key = "foundry.yield_pour"
    return rates.replace({key: rates.entries[key].low}) if pores or run.band is not Band.SAFE else rates


# What mends it ------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Try:
    """One thing to try: its `name`, the Pour that came of it, and the plan of the job with it."""

    name: str
    pour: Pour
    plan: object


def tries(one, job, rates, plan_with, cells=FINE_CELLS):
    """The plan's rigging and what a moulder might change about it: tuple of Try, the plan's first.

    Parameters: as of `pour`, of a kit of one part; `plan_with(moulds)` the plan of the job with given PartMoulds. Tried
    where a pore is left: another feeder over it, a chill under it, the feeder moved to it; always: another neck, no
    feeder, the part upside down.
    """
    first = pour(one, job, rates, cells=cells)
    head = first.rigging.feeders[0]
    wide, neck, here = head.diameter_mm, head.neck, "over the hottest section"
    found = [("as planned", one, first.rigging)]
    if first.feeding.pores:
        found += [
            ("second feeder", one, trial(first, "both", wide, neck)),
            ("feeder moved", one, trial(first, "over the largest pore", wide, neck)),
            ("chill under it", one, trial(first, here, wide, neck, 0.6 * wide)),
        ]
    other_neck = ("narrow neck", NARROW_NECK) if neck > WIDE_NECK else ("neck as wide as the feeder", 1.0)
    found += [(other_neck[0], one, trial(first, here, wide, other_neck[1]))]
    other = moulds_of(job, rates, upside_down=True)[0]
    found += [("upside down", other, plan_rigging(other, rates))]
    found += [("no feeder, a vent instead", one, trial(first, "none", wide, neck))]
    made = []
    for name, mould, rigging in found:
        with suppress(InputError):  # a feeder that would stand over a hollow
            run = first if name == "as planned" else pour(mould, job, rates, rigging, cells)
            made.append(Try(name, run, plan_with((run.mould,))))
    return tuple(made)


def tries_table(made):
    """What each of some Tries does, as a pandas table: pores, air, metal, sand, yield, cost a kit."""
    import pandas as pd

    rows = [
        {
            "tried": one.name,
            "pores_cm3": one.pour.feeding.pore_cm3,
            "caught_air_cm3": sum(trap.volume_cm3 for trap in one.pour.filling.traps),
            "filling": str(one.pour.band),
            "metal_kg": float(one.pour.mould.metal_kg),
            "sand_kg": float(one.pour.mould.sand_kg),
            "casting_yield": float(one.pour.mould.casting_yield),
            "cost": float(one.plan.unit_cost),
        }
        for one in made
    ]
    return pd.DataFrame(rows).set_index("tried").round(3)


# What stands against a part -------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Look:
    """A pour of a shape by the default card, kept: its `pores` and `traps` of air, `last_at` where it fills last (3,),
    `share` of the time to fill over the time to freeze and `slow_at` (3,), all places on the part as drawn [mm]; `bare`
    the same with a vent instead of the feeder. `share` is nan where no grid of reasonable size holds its walls: nothing
    was seen then."""

    pores: tuple[Pore, ...]
    traps: tuple[Trap, ...]
    last_at: np.ndarray
    share: float
    slow_at: np.ndarray
    bare: "Look | None" = None


@dataclass(frozen=True)
class LookIn:
    """A Look in the metal METALS[`metal`], by the numbers that it depends on (`limits`: those of the default card)."""

    metal: int
    limits: tuple[float, ...]


def look_in(alloy):
    """The kind of Look that an Alloy takes: in the nearest of METALS, by the default card."""
    low, rest = nearest_metals(alloy)
    keys = ("feeding.neck", "feeding.efficiency", "feeding.modulus_ratio", "feeding.height_ratio", "gating.least_sprue")
    card = RateCard.default()
    return LookIn(round(low + rest), tuple(float(card[key]) for key in keys))


def look(part, alloy):
    """The Look of a Part; None without a mesh, or for one of several bodies."""
    if part.shape is None or part.bodies > 1:
        return None
    kind, shape = look_in(alloy), part.shape
    if kind not in shape.studies:
        shape.studies[kind] = kept.made_once(shape.content, kind, partial(looked, part, kind))
    return shape.studies[kind]


def looked(part, kind):
    """Make the Look of a kind now; one that saw nothing where no grid of reasonable size holds its walls."""
    card = RateCard.default()
    job = Job(Kit.of(part.as_studied), METALS[kind.metal])
    (one,) = moulds_of(job, card)
    try:
        run = pour(one, job, card)
        bare = pour(one, job, card, trial(run, "none", one.feeder.diameter_mm, 1.0))
    except InputError:
        return Look((), (), np.zeros(3), np.nan, np.zeros(3))
    return replace(_seen(run), bare=_seen(bare))


def _seen(run):
    """The Look of a Pour."""
    found = (run.feeding.pores, run.filling.traps)
    placed = (tuple(replace(one, place_mm=tuple(run.on_part(one.place_mm).tolist())) for one in each) for each in found)
    return Look(*placed, run.on_part(run.filling.last_mm), run.share, run.slow_mm)


PORE = ("shrinkage that its feeder cannot reach", "printed_mould.most_pore")
PORE_ADVICE = (
    "set a chill or a second feeder there, or thicken the way to it; a pour on trial by the default card says so"
)
SLOW = ("time to fill over time to freeze", "printed_mould.fill_share")
SLOW_ADVICE = "pour hotter, widen the sprue, or thicken it; a pour on trial by the default card says so"

UNSEEN = "not poured on trial, as no grid of reasonable size holds its thin walls"
UNSEEN_ADVICE = "whether it fills and feeds is not known: pour one before you promise more"


def unseen(item, job):
    """Whether a pour on trial of a part with a mesh came to nothing."""
    found = look(item.part, job.alloy)
    return found is not None and bool(np.isnan(found.share))


def judged(item, job):
    """What a pour on trial is judged by: rows (measured, what, key of the limit, advice, where on the part [mm])."""
    found = look(item.part, job.alloy)
    if found is None or unseen(item, job):
        return
    cubed = np.asarray(item.part.volume_cm3) / item.part.shape.volume_cm3
    size = np.cbrt(cubed)
    known = np.ndim(size) == 0
    for pore in found.pores:
        where = np.multiply(pore.place_mm, size) if known else None
        yield pore.pore_cm3 * cubed, *PORE, PORE_ADVICE, where
    # A mould of similar shape fills in a time that goes with its volume while the least sprue decides, freezes with the
    # square of its size.
    yield found.share * size, *SLOW, SLOW_ADVICE, found.slow_at * size if known else None
