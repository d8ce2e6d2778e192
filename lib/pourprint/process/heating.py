"""Furnaces and kilns: how long they take to heat up from the room, or to cool down to it, and the heat in a melt."""

import numpy as np

from pourprint.ledger.checks import check_numbers


def heating_h(hottest_c, rate_k_h, room_c):
    """Time between the room and a temperature, either way: [°C], [K/h], [°C] → [h]. Raises: InputError.

    >>> float(heating_h(325, 150, 25))
    2.0
    """
    check_numbers(heating=rate_k_h)
    return np.maximum(np.asarray(hottest_c) - room_c, 0) / rate_k_h


def melt_kj_kg(melt, room_c):
    """Heat that brings a kilogram of metal from the room to the pour [kJ/kg].

    Parameters: `melt` a Melt; `room_c` [°C]. Source: latent heat and one specific heat for solid and liquid alike.
    """
    return (melt.latent_j_kg + melt.heat_j_kgk * (melt.pour_c - room_c)) / 1000
