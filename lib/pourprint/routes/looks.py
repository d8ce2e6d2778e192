"""Pours on trial that the plan itself looks at: one of each shape in each metal, by the default card, kept on disk.

They say what a moulder has to count besides one feeder: how much metal stands in the necks and fills hollows under
them, and further feeders. A pore beyond the limit from which a part is refused gets a feeder of its own, sized by the
same two rules; what is left then stands against the part. Which shape needs them is found in the size that it is drawn
in: a larger one whose pores grow beyond the limit is refused, a smaller one does without.
"""

from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np

from pourprint.ledger.alloys import Alloy
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts import kept
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.process.filling import Trap
from pourprint.process.freezing.section_modulus import METALS, nearest_metals
from pourprint.process.freezing.solidification import Melt, Mould, chvorinov_s_mm2
from pourprint.process.pores import Pore
from pourprint.routes.cluster_turns import hung_on_part, runner_feeding
from pourprint.routes.mould_sizes import feeder_of, moulds_with_one_feeder, stand_over
from pourprint.routes.pouring import FINE_CELLS, pour, trial
from pourprint.routes.shell_sizes import ShellSizes

MOST_FEEDERS = 4
OTHER_CELLS = 200_000  # of a second grid, whose cells are a quarter wider, to see what holds on both
NECK_MM = 0.5  # what grids tell of a neck's mean length: a part that is turned before it is drawn falls on others
MOST_PORE = "printed_mould.most_pore"
LOOKED = ("feeding.", "gating.", "cluster.", "shell.")  # sections of the card on which a look depends
PORES_WITHIN = 0.4  # of its volume, a pore lies on grids of other cells; only what is left is beyond doubt


@dataclass(frozen=True, eq=False)
class Look:
    """A pour of a shape by the default card, kept: its `pores` and `traps` of air, `last_at` where it fills last (3,)
    and `last_within_mm` of it, `share` of the time to fill over the time to freeze and `slow_at` (3,), all places on
    the part as drawn [mm].

    neck_mm, hollow_mm: mean length of the necks below the feeders' feet, outside and inside hollows. over: the pores
    that further feeders stand over. bare: the same with a vent instead of feeders. fed: with further feeders, None
    where no pore asks for them. `share` is nan where no grid of reasonable size holds its walls: nothing was seen then.
    """

    pores: tuple[Pore, ...]
    traps: tuple[Trap, ...]
    last_at: np.ndarray
    last_within_mm: float
    share: float
    slow_at: np.ndarray
    neck_mm: float
    hollow_mm: float
    over: tuple[Pore, ...] = ()
    bare: "Look | None" = None
    fed: "Look | None" = None

    @property
    def planned(self):
        """As the plan of a part of this size pours it."""
        return self.fed or self


@dataclass(frozen=True)
class LookIn:
    """A Look in the metal METALS[`metal`], by the numbers that it depends on (`limits`: those of the default card), on
    at most so many `cells`; in a printed mould or in a `shell`, where only its gate and the runner feed it."""

    metal: int
    limits: tuple[float, ...]
    cells: int
    shell: bool


@cache
def _limits():
    """What a Look depends on of the default card."""
    card = RateCard.default()
    return (*(float(card[key]) for key in card.entries if key.startswith(LOOKED)), float(card.entries[MOST_PORE].high))


def look_in(alloy, cells=FINE_CELLS, shell=False):
    """The kind of Look that an Alloy takes: in the nearest of METALS, by the default card."""
    low, rest = nearest_metals(alloy)
    return LookIn(round(low + rest), _limits(), cells, shell)


def look(part, alloy, cells=FINE_CELLS, shell=False):
    """The Look of a Part; None without a mesh, or for one of several bodies."""
    if part.shape is None or part.bodies > 1:
        return None
    kind, shape = look_in(alloy, cells, shell), part.shape
    if kind not in shape.studies:
        shape.studies[kind] = kept.made_once(shape.content, kind, partial(looked, part, kind))
    return shape.studies[kind]


def looked(part, kind):
    """Make the Look of a kind now; one that saw nothing where no grid of reasonable size holds its walls."""
    card, job = RateCard.default(), Job(Kit.of(part.as_studied), METALS[kind.metal])
    try:
        if kind.shell:
            return _in_shell(ShellSizes(job, card), kind.cells)
        (one,) = moulds_with_one_feeder(job, card)
        run = pour(one, cells=kind.cells)
        bare = pour(one, trial(run, "none", one.feeder.diameter_mm, 1.0), kind.cells)
        first = replace(_seen(run), bare=_seen(bare))
    except InputError:
        return Look((), (), np.zeros(3), 0.0, np.nan, np.zeros(3), 0.0, 0.0)
    most, over, fed = card.entries[MOST_PORE].high, (), None
    unfed = _beyond(first.pores, most)
    while unfed and len(over) + len(unfed) < MOST_FEEDERS:
        over += unfed
        more = replace(one, stands=(*one.stands, *_further(one, over, kind.metal, 1.0)))
        try:
            fed = replace(_seen(pour(more, cells=kind.cells)), over=over)
        except InputError:  # one would stand over no metal
            break
        unfed = _beyond(fed.pores, most)
    return replace(first, fed=fed)


def _in_shell(sizes, cells):
    """The Look of a part that hangs alone: its pores, since air leaves through the shell."""
    fed = runner_feeding(sizes, 0, cells)
    pores = (replace(one, place_mm=tuple(hung_on_part(sizes, 0, one.place_mm).tolist())) for one in fed.pores)
    return Look(tuple(pores), (), np.zeros(3), 0.0, 0.0, np.zeros(3), 0.0, 0.0)


def _beyond(pores, most_cm3):
    return tuple(pore for pore in pores if (1 - PORES_WITHIN) * pore.pore_cm3 > most_cm3)


def _seen(run):
    """The Look of a Pour."""
    found = (run.feeding.pores, run.filling.traps)
    placed = (tuple(replace(one, place_mm=tuple(run.on_part(one.place_mm).tolist())) for one in each) for each in found)
    mould, foot_cm2 = run.mould, max(float(run.mould.foot_cm2), 1e-9)
    necks = (round(float(cm3) * 10 / foot_cm2 / NECK_MM) * NECK_MM for cm3 in (mould.neck_cm3, mould.hollow_cm3))
    last_mm, within_mm = run.filling.fills_last()
    return Look(*placed, run.on_part(last_mm), within_mm, run.share, run.slow_mm, *necks)


def _further(one, over, metal, size, needed=True):
    """The Stands of further feeders of a PartMould, over pores of the shape as drawn in METALS[metal].

    `size` (...): the part's over the drawn one's [-]; `needed` (...): 0 where they stay away. Each feeds the section
    that freezes when its pore does, and holds enough for what the pore's pocket held.
    """
    alloy, stands = Alloy.named(METALS[metal]), []
    per_mm2, scale = chvorinov_s_mm2(Melt.of(alloy), Mould.sand()), size * needed
    for pore in over:
        modulus_mm = np.sqrt(pore.frozen_s / per_mm2) * scale
        head = feeder_of(modulus_mm, pore.metal_cm3 * scale**3, one.job, one.rates)
        place_mm = np.multiply.outer(size, np.asarray(pore.place_mm)) @ one.study.frame.T
        stands.append(stand_over(place_mm, head, one.study, one.rates))
    return tuple(stands)


# What follows for the plan ------------------------------------------------------------------------------


def moulds_of(job, rates):
    """The PartMould of each part of a job's kit, in the kit's order, as planned: (Job, RateCard) → tuple.

    With as many feeders as its Look asks for, and what their necks take. Raises: Infeasible.
    """
    return tuple(map(_as_looked, moulds_with_one_feeder(job, rates)))


def _as_looked(one):
    found = look(one.part, one.job.alloy)
    if found is None:
        return one
    size, more, fed = sized(one.part, found, one.rates)
    metal = look_in(one.job.alloy).metal
    one = replace(one, stands=(*one.stands, *_further(one, fed.over, metal, size, more)))
    per_mm = one.foot_cm2 * size / 10
    neck_cm3 = per_mm * np.where(more, fed.neck_mm, found.neck_mm)
    return replace(one, neck_cm3=neck_cm3, hollow_cm3=per_mm * np.where(more, fed.hollow_mm, found.hollow_mm))


def sized(part, found, rates):
    """(a part's size over the drawn one's, whether it needs the Look's further feeders, each (...); the Look with them,
    or the same where it has none)."""
    cubed = np.asarray(part.volume_cm3) / part.shape.volume_cm3
    largest = max((pore.pore_cm3 for pore in found.pores), default=0.0)
    more = ((1 - PORES_WITHIN) * largest * cubed > rates.entries[MOST_PORE].high) & (found.fed is not None)
    return np.cbrt(cubed), more, found.planned
