"""How a casting freezes: closed forms for simple shapes, and heat flow on voxels for real ones.

Modelled: conduction in metal and mould, latent heat spread evenly between solidus and liquidus, a shell's loss
to the air. Not modelled: filling (the cavity is full at the pouring temperature from the start), convection in
the melt, the air gap between casting and mould, radiation between the walls of a hollow, moisture and binder.
"""

from dataclasses import dataclass, field

import numpy as np

from pourprint.ledger import entries as ledger
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.enthalpy import freezing_times
from pourprint.process.freezing.voxels import Grid

RIM = 4.0  # width of sand to reckon with, over √(diffusivity · freezing time): more changes no time (measured)


@dataclass(frozen=True)
class Melt:
    """A metal as it freezes: density [kg/m3], heat [J/kgK], latent [J/kg], conductivity [W/mK], °C."""

    density_kg_m3: float
    heat_j_kgk: float
    latent_j_kg: float
    conductivity_w_mk: float
    solidus_c: float
    liquidus_c: float
    pour_c: float

    def __post_init__(self):
        check_numbers(**vars(self))
        if not np.all((self.solidus_c < self.liquidus_c) & (self.liquidus_c <= np.asarray(self.pour_c))):
            raise InputError(
                f"solidus_c={self.solidus_c!r} must be below liquidus_c={self.liquidus_c!r}, and pour_c="
                f"{self.pour_c!r} not below it; a pure metal may freeze over 1 K."
            )

    @classmethod
    def of(cls, alloy, **changes):
        """The melt of an Alloy at its usual pouring temperature; `changes` replace single fields."""
        values = {
            "density_kg_m3": 1000 * alloy["density"],
            "heat_j_kgk": alloy["specific_heat"],
            "latent_j_kg": 1000 * alloy["latent_heat"],
            "conductivity_w_mk": alloy["conductivity"],
            "solidus_c": alloy["solidus"],
            "liquidus_c": alloy["liquidus"],
            "pour_c": alloy["pour_temperature"],
        }
        return cls(**(values | changes))


def room_c():
    """The ledger's room temperature [°C]: of the air, and of sand at the pour."""
    return ledger.library()["room.temperature"].value


@dataclass(frozen=True)
class Mould:
    """What holds the metal: conductivity [W/mK], density [kg/m3], heat [J/kgK], temperature at the pour [°C].

    thickness_mm: of a shell in air; infinite for sand all around. loss_w_m2k: from the shell's outside to air
    at air_c [°C], convection and radiation together.
    """

    conductivity_w_mk: float
    density_kg_m3: float
    heat_j_kgk: float
    start_c: float
    thickness_mm: float = np.inf
    loss_w_m2k: float = 0.0
    air_c: float = field(default_factory=room_c)

    def __post_init__(self):
        given = {key: value for key, value in vars(self).items() if key not in ("thickness_mm", "loss_w_m2k")}
        check_numbers(**given)
        check_numbers(True, loss_w_m2k=self.loss_w_m2k)
        if not np.all(np.asarray(self.thickness_mm) > 0):
            raise InputError(f"thickness_mm={self.thickness_mm!r} must be above 0 (infinite for sand all around).")

    @classmethod
    def sand(cls, **changes):
        """Printed sand all around, at room temperature; `changes` replace single fields."""
        return cls._of_ledger("sand", "printed_mould.sand_density", {"start_c": room_c()} | changes)

    @classmethod
    def shell(cls, thickness_mm, **changes):
        """A hot ceramic shell of thickness_mm [mm] that stands in air; `changes` replace single fields."""
        t = ledger.freezing()
        values = {
            "start_c": t["hot_shell.start"].value,
            "loss_w_m2k": t["hot_shell.surface_loss"].value,
            "thickness_mm": thickness_mm,
        }
        return cls._of_ledger("hot_shell", "shell.density", values | changes)

    @classmethod
    def _of_ledger(cls, section, density, values):
        t = ledger.freezing()
        found = {
            "conductivity_w_mk": t[f"{section}.conductivity"].value,
            "density_kg_m3": 1000 * ledger.library()[density].value,
            "heat_j_kgk": t[f"{section}.specific_heat"].value,
        }
        return cls(**(found | values))

    @property
    def diffusivity_mm2_s(self):
        """How fast warmth spreads in the mould [mm2/s]."""
        return 1e6 * self.conductivity_w_mk / (self.density_kg_m3 * self.heat_j_kgk)


# Closed forms -------------------------------------------------------------------------------------------


def freezing_point_c(melt):
    """The one temperature that stands for a freezing range: a fifth of it above the solidus (Adams, MIT 1953) [°C]."""
    return melt.solidus_c + (melt.liquidus_c - melt.solidus_c) / 5


def heat_to_freeze_j_m3(melt):
    """Heat that metal gives off from the pour until it is solid: latent, and sensible down to `freezing_point_c`.

    Adams counts superheat above the liquidus only. For an alloy that freezes over a wide range the heat of the
    range itself counts too: without it, B of a slab comes out 19 to 36% below this module's own heat flow for
    aluminium and magnesium, with it 3 to 7%. Returns: [J/m3].
    """
    superheat = np.asarray(melt.pour_c) - freezing_point_c(melt)
    return melt.density_kg_m3 * (melt.latent_j_kg + melt.heat_j_kgk * superheat)


def chvorinov_s_mm2(melt, mould):
    """The constant B of t = B·(V/A)² for a thick mould with flat walls [s/mm2].

    Source: Adams, MIT 1953: B = (π/4)·[ρH/(T_m − T_0)]²/(kρc) of the mould. Not valid for thin or hot shells, nor
    where the metal conducts as poorly as the mould; shapes that bulge freeze faster, a sphere by a third.
    """
    return np.pi / 4 * (_heat_per_kelvin(melt, mould)) ** 2 / _soak(mould) / 1e6


def drag(melt, mould):
    """How far a casting is from one temperature throughout [-]: (4/π)·(kρc of mould)/(k of metal · ρH/(T_m − T_0)).

    It is the drop of temperature within the metal over that within the mould, about: 0.003 for aluminium in sand,
    0.04 for steel. Castings of one shape and one drag in thick sand freeze alike: times go with size squared.
    """
    return 4 / np.pi * _soak(mould) / (melt.conductivity_w_mk * _heat_per_kelvin(melt, mould))


def _heat_per_kelvin(melt, mould):
    """Heat to take from the metal over the temperature drop that drives it [J/m3K]."""
    return heat_to_freeze_j_m3(melt) / (freezing_point_c(melt) - mould.start_c)


def _soak(mould):
    """kρc of the mould: how fast it takes up heat [J2/m4K2s]."""
    return mould.conductivity_w_mk * mould.density_kg_m3 * mould.heat_j_kgk


def adams_time_s(modulus_mm, melt, mould):
    """Freezing time in a thick mould with flat walls [s]; modulus_mm: V/A of the casting [mm], broadcasts.

    Limits and source as for `chvorinov_s_mm2`.

    >>> pure = Melt(2550, 1080, 397e3, 240, 659.999, 660, 660)  # a slab of pure aluminium
    >>> round(float(adams_time_s(10, pure, Mould(0.6, 1500, 1100, 25))), 2)
    201.64
    """
    return chvorinov_s_mm2(melt, mould) * np.asarray(modulus_mm) ** 2


def shake_out_s(modulus_mm, melt, mould, out_c):
    """From the pour until the metal in a thick mould with flat walls has cooled to a temperature [s].

    The heat that a wall has given off by then, Q = ρ(V/A)·[L + c·(T_pour − T)], lies in the mould as if it had been
    set free at once: t = [Q/(T − T_0)]²/(π·kρc). Both of V/A [mm] and `out_c` T [°C] broadcast; T lies between the
    mould's start and the solidus. Source: instantaneous plane source, Carslaw & Jaeger (from memory). Not valid for
    thin or hot shells. Against heat flow in endless sand it is 20 to 30% early for a flat wall, and three times
    late for a long bar of the same V/A; sand that is hot throughout, in a crowded mould, cools still later.
    Raises: InputError.
    """
    check_out(out_c, melt, mould.start_c)
    given_off = melt.latent_j_kg + melt.heat_j_kgk * (melt.pour_c - np.asarray(out_c))
    heat_j_m2 = melt.density_kg_m3 * given_off * np.asarray(modulus_mm) / 1000
    return (heat_j_m2 / (np.asarray(out_c) - mould.start_c)) ** 2 / (np.pi * _soak(mould))


def check_out(out_c, melt, coldest_c):
    """Raise InputError unless a shake-out temperature lies above what cools the casting, and not above its solidus."""
    if not np.all((np.asarray(out_c) > coldest_c) & (np.asarray(out_c) <= melt.solidus_c)):
        raise InputError(
            f"out_c={out_c!r} °C must be above {np.max(coldest_c):.0f} °C, to which nothing cools down in the end, and "
            f"not above the solidus, {np.min(melt.solidus_c):.0f} °C: give another temperature to break the mould at."
        )


# Heat flow on voxels ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Freezing:
    """A frozen casting: when each cell of its grid became solid.

    time_s (nx, ny, nz): from a full cavity to the solidus [s]; nan outside the metal.
    """

    grid: Grid
    melt: Melt
    mould: Mould
    time_s: np.ndarray

    @property
    def latest_s(self):
        """When the last metal became solid [s]."""
        return float(np.nanmax(self.time_s))

    @property
    def modulus_mm(self):
        """The V/A of a flat-walled casting that would freeze as late as the last metal here [mm]."""
        return float(np.sqrt(self.latest_s / chvorinov_s_mm2(self.melt, self.mould)))


def rim_mm(modulus_mm, melt, mould):
    """How much sand, or shell, to put around a part of that V/A on the grid [mm]."""
    if np.isfinite(mould.thickness_mm):
        return float(mould.thickness_mm)
    # Hot spots freeze at up to about twice the time of the mean V/A.
    return float(RIM * np.sqrt(mould.diffusivity_mm2_s * 2 * adams_time_s(modulus_mm, melt, mould)))


def default_cell_mm(box_mm, pad_mm, most_cells):
    """The edge [mm] of the finest cells, at most that many, that fill a box (3,) [mm] and a rim [mm] around it."""
    return float(np.cbrt(np.prod(np.asarray(box_mm) + 2 * pad_mm) / most_cells))


def freeze_grid(grid, melt, mould):
    """Freeze the metal on a Grid, rim included (see `voxels`, `rim_mm`): Freezing.

    The grid's error on the demo nodes: cells of 1 to 2 mm (400 000, 1 to 2 s) are within 2.3% of a grid 0.7 times as
    coarse, in aluminium and in steel; 2 mm cells are 1 to 8% late, most for walls of 2.5 mm. Walls below a third of a
    cell are refused. Raises InputError.
    """
    times, _ = freezing_times(grid.fraction, grid.cell_mm, melt, mould)
    return Freezing(grid, melt, mould, times)
