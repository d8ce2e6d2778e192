"""Furnaces and kilns: how long they take to heat up from the room, or to cool down to it, and the heat in a melt."""

import numpy as np

from pourprint.ledger.checks import check_numbers

ROOM_C = 20.0


def heating_h(hottest_c, rate_k_h):
    """Time between the room and a temperature, either way: [°C], [K/h] → [h]. Raises: InputError.

    >>> float(heating_h(320, 150))
    2.0
    """
    check_numbers(heating=rate_k_h)
    return np.maximum(np.asarray(hottest_c) - ROOM_C, 0) / rate_k_h


def melt_kj_kg(melt):
    """Heat that brings a kilogram of metal from the room to the pour [kJ/kg].

    Parameter: `melt` a Melt. Source: latent heat and one specific heat for solid and liquid alike.
    """
    return (melt.latent_j_kg + melt.heat_j_kgk * (melt.pour_c - ROOM_C)) / 1000
