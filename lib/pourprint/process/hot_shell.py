"""A thin, hot shell as a mould: how much of a casting's heat it can take before its outside must pass it on."""

import numpy as np

from pourprint.process.solidification import freezing_point_c, heat_to_freeze_j_m3


def shell_heat_share(modulus_mm, melt, mould):
    """Heat that a shell takes on its way to the freezing point, over the heat that the metal must lose to freeze.

    Below 1 the shell is full of heat before the metal is solid: rules for thick moulds do not hold.
    Parameters: `modulus_mm` V/A of the casting [mm]; `melt` Melt; `mould` Mould with a thickness; numbers may be
    arrays. Returns: [-], ρct(T_f − T_0)/(ρH·V/A). Source: heat balance of flat walls (exact); round shells take more.

    >>> from pourprint.process.solidification import Melt, Mould
    >>> a356 = Melt(2680, 963, 389e3, 167, 557, 613, 700)
    >>> hot, hotter = (Mould(1.0, 2100, 1100, start, thickness_mm=7) for start in (300, 400))
    >>> [round(float(shell_heat_share(5, a356, mould)), 2) for mould in (hot, hotter)]
    [0.63, 0.39]
    """
    room = mould.density_kg_m3 * mould.heat_j_kgk * (freezing_point_c(melt) - np.asarray(mould.start_c))
    return room * mould.thickness_mm / (heat_to_freeze_j_m3(melt) * np.asarray(modulus_mm))
