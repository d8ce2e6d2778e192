"""Pour a part on trial: fill and freeze its mould with feeder, gate and chills, see what goes wrong, try what mends it.

A printed mould is poured through its gating; a shell from the top, through the runner. What is not modelled stands in
`NOT_MODELLED`, to be said before any answer. The plan's yields are assumptions of a scenario and stay as they are,
whatever a pour shows: no model knows a yield, a lab counts it.
"""

from contextlib import suppress
from dataclasses import astuple, dataclass, replace
from functools import cached_property

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.process.cavity import Rigging, Stand, cavity
from pourprint.process.filling import Filling, fill
from pourprint.process.freezing.solidification import Melt, Mould, default_cell_mm, rim_mm
from pourprint.process.misrun import Band, band, shares
from pourprint.process.pores import Feeding, feed
from pourprint.routes.mould_sizes import PartMould, moulds_with_one_feeder

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
    frame; `filling`, `feeding` what came of it; `efficiency` the share
    of its metal that a feeder gives [-]."""

    mould: PartMould
    rigging: Rigging
    filling: Filling
    feeding: Feeding
    efficiency: float

    @cached_property
    def share(self):
        """Worst section's time to fill over its time to freeze [-]: upper percent, as odd cells count for nothing."""
        with np.errstate(invalid="ignore"):  # nan between two sections that never fill
            return float(np.nanpercentile(shares(self.filling, self.feeding), 99))

    @property
    def band(self):
        """The Band of the worst section."""
        limit = self.mould.rates.entries["printed_mould.fill_share"]
        return band(self.share, limit) if self.filling.complete else Band.MISRUN

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


def plan_rigging(one):
    """The Rigging of a PartMould's plan: its feeders, the first over the hottest section, and a gate on the parting."""
    stands = [stand for stand in one.stands if stand.diameter_mm > 0]
    stands = tuple(Stand(tuple(map(float, at)), *map(float, sizes)) for at, *sizes in map(astuple, stands))
    gate_mm, ingate = float(one.study.parting_mm), float(one.gating.ingate_mm2)
    return Rigging(stands, (GATE_SIDE,), gate_mm, ingate, float(one.rates["gating.gate_length"]))


def pour(one, rigging=None, cells=FINE_CELLS, cell_mm=None, pour_c=None):
    """Pour a part in its printed mould: Pour.

    Parameters: `one` PartMould of a part with a mesh, of single numbers; `rigging` Rigging (default: the plan's);
    `cells` how many at most, or `cell_mm` their edge [mm]; `pour_c` another pouring temperature [°C]. The Pour's mould
    has the feeders as tried, metal of their necks and all, and a core for each chill. Raises: InputError.
    """
    vertices, faces = one.part.needed_mesh("poured")
    job, rates, planned = one.job, one.rates, plan_rigging(one)
    rigging = planned if rigging is None else rigging
    melt = Melt.of(job.alloy, **({} if pour_c is None else {"pour_c": float(pour_c)}))
    sand = Mould.sand(density_kg_m3=1000 * rates["printed_mould.sand_density"], start_c=rates["room.temperature"])
    if rigging.feeders != planned.feeders:
        one = replace(one, stands=rigging.feeders, neck_cm3=0.0, hollow_cm3=0.0)
        rigging = replace(rigging, ingate_mm2=float(one.gating.ingate_mm2))
    low, high = one.room_mm
    pad = rim_mm(one.part.modulus_mm, melt, sand)
    if cell_mm is None:  # gates down to 1.2 cells moved neither filling nor pores beyond what grids differ by
        cell_mm = min(default_cell_mm(high - low, pad, cells), rigging.gate_width_mm)
    made = cavity(vertices @ one.study.frame.T, faces, rigging, cell_mm, pad)
    basin = float(one.study.parting_mm + one.gating.head_mm)
    filling = fill(made, float(one.gating.choke_mm2), basin, float(rates["gating.discharge"]))
    feeding = feed(made, melt, sand, job.alloy["shrinkage"] / 100)
    neck_cm3, hollow_cm3 = made.necks_cm3(float(one.study.high_mm[2]))
    one = replace(one, cores=one.cores + len(rigging.chills), neck_cm3=neck_cm3 - hollow_cm3, hollow_cm3=hollow_cm3)
    return Pour(one, rigging, filling, feeding, float(rates["feeding.efficiency"]))


def trial(first, place, width_mm, neck, chill_mm=0.0, gates=(GATE_SIDE,)):
    """A Rigging to try after a `first` Pour.

    Parameters: `place` of the feeder: "over the hottest section", "over the largest pore", "both", or any other word
    for none and a vent instead; `width_mm` [mm], its height in proportion; `neck` over it [-]; `chill_mm` width of a
    chill at the largest pore [mm], 0 for none; `gates` as of a Rigging. Without a pore the hottest section stands for
    it.
    """
    head = first.rigging.feeders[0]
    head = replace(head, diameter_mm=width_mm, height_mm=width_mm * head.height_mm / head.diameter_mm, neck=neck)
    u, v, w = first.feeding.pores[0].place_mm if first.feeding.pores else (*head.at_mm, head.down_mm)
    there = replace(head, at_mm=(u, v), down_mm=w)
    feeders = {"over the hottest section": (head,), "over the largest pore": (there,), "both": (head, there)}
    standing = feeders.get(place, ())
    chills = ((u, v, w - CHILL_BELOW_MM),) if chill_mm > 0 else ()
    vents = () if standing else (head.at_mm,)
    put = {"feeders": standing, "gates": gates, "vents": vents, "chills": chills, "chill_mm": chill_mm}
    return replace(first.rigging, **put)


# What mends it ------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Try:
    """One thing to try: its `name`, the Pour that came of it, and the plan of the job with it."""

    name: str
    pour: Pour
    plan: object


def tries(one, plan_with, cells=FINE_CELLS):
    """The plan's rigging and what a moulder might change about it: tuple of Try, the plan's first.

    Parameters: as of `pour`, of a kit of one part; `plan_with(moulds)` as of `printed_mould`. Tried
    where a pore is left: another feeder over it, a chill under it, the feeder moved to it; where the plan has several
    feeders: the first alone; always: another neck, no feeder, the part upside down over one feeder.
    """
    first = pour(one, cells=cells)
    heads, as_planned = first.rigging.feeders, first.rigging
    wide, neck = heads[0].diameter_mm, heads[0].neck
    found = [("as planned", one, as_planned)]
    if first.feeding.pores:
        moved = trial(first, "over the largest pore", wide, neck, 0.6 * wide)
        found += [
            ("another feeder", one, replace(as_planned, feeders=(*heads, *moved.feeders))),
            ("feeder moved", one, replace(moved, chills=())),
            ("chill under it", one, replace(moved, feeders=heads)),
        ]
    if len(heads) > 1:
        found += [("one feeder alone", one, replace(as_planned, feeders=heads[:1]))]
    name, width = ("narrow neck", NARROW_NECK) if neck > WIDE_NECK else ("neck as wide as the feeder", 1.0)
    found += [(name, one, replace(as_planned, feeders=tuple(replace(head, neck=width) for head in heads)))]
    other = moulds_with_one_feeder(one.job, one.rates, upside_down=True)[0]
    found += [("upside down", other, plan_rigging(other))]
    found += [("no feeder, a vent instead", one, trial(first, "none", wide, neck))]
    made = []
    for name, mould, rigging in found:
        with suppress(InputError):  # a feeder that would stand over a hollow
            run = first if name == "as planned" else pour(mould, rigging, cells)
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
