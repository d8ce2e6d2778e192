"""A thin, hot shell as a mould: how much of a casting's heat it takes, and how long its outside passes on the rest."""

import numpy as np

from pourprint.ledger.checks import check_numbers
from pourprint.process.freezing.solidification import check_out, freezing_point_c, heat_to_freeze_j_m3


def shell_heat_share(modulus_mm, melt, mould):
    """Heat that a shell takes on its way to the freezing point, over the heat that the metal must lose to freeze.

    Below 1 the shell is full of heat before the metal is solid: rules for thick moulds do not hold.
    Parameters: `modulus_mm` V/A of the casting [mm]; `melt` Melt; `mould` Mould with a thickness; numbers may be
    arrays. Returns: [-], ρct(T_f − T_0)/(ρH·V/A). Source: heat balance of flat walls (exact); round shells take more.

    >>> from pourprint.process.freezing.solidification import Melt, Mould
    >>> a356 = Melt(2680, 963, 389e3, 167, 557, 613, 700)
    >>> hot, hotter = (Mould(1.0, 2100, 1100, start, thickness_mm=7) for start in (300, 400))
    >>> [round(float(shell_heat_share(5, a356, mould)), 2) for mould in (hot, hotter)]
    [0.63, 0.39]
    """
    room = mould.density_kg_m3 * mould.heat_j_kgk * (freezing_point_c(melt) - np.asarray(mould.start_c))
    return room * mould.thickness_mm / (heat_to_freeze_j_m3(melt) * np.asarray(modulus_mm))


def knock_out_s(modulus_mm, melt, mould, out_c):
    """From the pour until the metal in a thin shell that stands in air has cooled to a temperature [s].

    Metal and shell at one temperature, which a flat outside passes on: first the heat of freezing that the shell has no
    room for, at the freezing point, then what both hold down to `out_c` [°C].
    Parameters: `modulus_mm` V/A of the thickest metal [mm]; `melt` Melt; `mould` Mould with a thickness and a loss; all
    may be arrays. Returns: [s]. Raises: InputError. Source: heat balance (exact) with one constant loss, though what
    glows loses more. Against heat flow it is about a tenth early for a wall, a quarter to two fifths late for a bar.
    """
    check_numbers(loss_w_m2k=mould.loss_w_m2k)
    check_out(out_c, melt, mould.air_c)
    metal_m, shell_m = np.asarray(modulus_mm) / 1000, np.asarray(mould.thickness_mm) / 1000
    over_c = freezing_point_c(melt) - mould.air_c
    no_room = np.maximum(1 - shell_heat_share(modulus_mm, melt, mould), 0)
    freezing_j_m2 = heat_to_freeze_j_m3(melt) * metal_m * no_room
    held_j_m2k = melt.density_kg_m3 * melt.heat_j_kgk * metal_m + mould.density_kg_m3 * mould.heat_j_kgk * shell_m
    cooling = np.log(over_c / (np.asarray(out_c) - mould.air_c))
    return (freezing_j_m2 / over_c + held_j_m2k * cooling) / mould.loss_w_m2k
