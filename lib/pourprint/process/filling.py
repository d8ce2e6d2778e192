"""How a mould fills: metal comes in at the gate, and the lowest room that it can reach fills next.

Modelled: the order of filling, the flow through the choke under what is left of the head (Torricelli, a discharge
coefficient for all losses), the level, the speed in the gate, and air that has no rising way to a vent. Not modelled:
jets, waves, splash, the back-pressure of air and gas, metal that cools or freezes on its way, sand that washes away.
"""

from dataclasses import dataclass

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.cavity import Cavity
from pourprint.process.freezing.enthalpy import steps_of
from pourprint.process.geometry import nearest_to
from pourprint.process.sand.gating import fall_speed_m_s, flow_cm3_s

LEAST_AIR_CM3 = 0.3  # less leaves through sand or shell
LAST = 0.005  # of the part's metal: what fills last


@dataclass(frozen=True)
class Trap:
    """Air that is caught: (x, y, z) [mm] of the middle of what fills last, how far that reaches from there [mm]; when
    it was cut off [s]; how much [cm3]."""

    place_mm: tuple[float, float, float]
    within_mm: float
    cut_off_s: float
    volume_cm3: float


@dataclass(frozen=True, eq=False)
class Filling:
    """A filled cavity: `time_s` (nx, ny, nz) when each cell is full [s], all of one height that fill in one go at once;
    nan outside the metal, inf where the basin stands too low. `level_mm`, `flow_cm3_s`, `clock_s` (k,): the metal's
    level over the gate, the flow, the time, as it rises. `traps` the caught air, largest first."""

    cavity: Cavity
    time_s: np.ndarray
    clock_s: np.ndarray
    flow_cm3_s: np.ndarray
    traps: tuple[Trap, ...]

    @property
    def filled_s(self):
        """When the last cell that is reached is full [s]."""
        return float(self.clock_s[-1])

    @property
    def complete(self):
        """Whether all of the cavity is filled."""
        return not np.isinf(self.time_s).any()

    def fills_last(self):
        """The middle of what fills last of the part (3,), and how far that reaches from there [mm].

        All of a rim at one height fills at once: no grid tells one place on it.
        """
        grid, filled = self.cavity.grid, self.cavity.part & np.isfinite(self.time_s)
        late_s = np.quantile(self.time_s[filled], 1 - LAST, method="lower")
        late = grid.centres_mm(np.argwhere(filled & (self.time_s >= late_s)))
        middle = nearest_to(late.mean(0), late, grid.cell_mm / 2)
        return middle, float(np.linalg.norm(late - middle, axis=1).max()) + grid.cell_mm / 2


def fill(cavity, choke_mm2, basin_mm, discharge=1.0):
    """Fill a Cavity: Filling. Raises: InputError where no metal can enter.

    Metal comes in through a choke of `choke_mm2` under a basin whose surface stands at height `basin_mm` of the
    cavity's frame [mm], with `discharge` for all losses [-].

    Valid for slow, quiet filling. Of two lips at one height one is passed first, which may decide where air is caught.
    Against formulas of boxes and steps filled from below it is within 0.5% (tests).
    """
    from pourprint.process.freezing.floods import flood  # loads numba

    check_numbers(arrays=False, choke_mm2=choke_mm2, discharge=discharge)
    if not cavity.source.any():
        raise InputError("no gate meets the metal: put the gate at another height or side.")
    grid, (room, metal), high = cavity.grid, cavity.held, cavity.grid.fraction.shape[2]
    order, stage = flood(metal.ravel(), high, np.flatnonzero(cavity.source), steps_of(metal.shape))
    amount = room.ravel()[order] * grid.cell_mm**3 / 1000
    # The gate feels the highest metal so far, or its own foot while metal falls away from it.
    level = np.maximum.accumulate(grid.origin_mm[2] + (order % high + 0.5) * grid.cell_mm)
    level = np.maximum(level, cavity.gate_mm)
    flow = flow_cm3_s(choke_mm2, discharge * fall_speed_m_s(np.maximum(basin_mm - level, 0.0)))
    with np.errstate(divide="ignore"):
        clock = np.cumsum(np.where(flow > 0, amount / flow, np.inf))
    time_s, reached = np.full(metal.shape, np.nan), np.isfinite(clock)
    time_s[metal] = np.inf
    time_s.reshape(-1)[order] = clock[np.flatnonzero(np.diff(stage, append=-1))][stage]
    # Caught is the room of the part that parts from every vent while it is empty.
    found = cavity.pockets(np.where(np.isinf(time_s), np.nan, time_s), cavity.vent, LEAST_AIR_CM3, 0.0)
    traps = tuple(Trap(*place, max(float(cut), 0.0), cm3) for _, *place, cut, cm3 in found)
    return Filling(cavity, time_s, clock[reached], flow[reached], traps)
