"""The way of the metal into a mould: sprue, runner and ingate, sized from the height that it falls.

Bernoulli without friction, a discharge coefficient for all losses. Valid for a full sprue and a mould that can
breathe; not for thin walls, where the metal may freeze before the mould is full.
"""

from dataclasses import dataclass

import numpy as np

GRAVITY_M_S2 = 9.81


def fall_speed_m_s(head_mm):
    """Speed of metal that has fallen from rest by head_mm [mm] → [m/s]: √(2gh).

    Source: exact. Textbook exercise (published): 200 mm give 198.1 cm/s.

    >>> round(100 * float(fall_speed_m_s(200)), 1)
    198.1
    """
    return np.sqrt(2 * GRAVITY_M_S2 * np.asarray(head_mm) / 1000)


def flow_cm3_s(area_mm2, speed_m_s):
    """Flow through an area [mm2] at a speed [m/s] → [cm3/s].

    Textbook exercises (published): 2.5 cm2 under 20 cm fill 1560 cm3 in 3.15 s; 444 mm2 under 175 mm fill
    1376 cm3 in 1.67 s.

    >>> round(float(flow_cm3_s(250, fall_speed_m_s(200))), 1)
    495.2
    >>> [round(float(v / flow_cm3_s(a, fall_speed_m_s(h))), 2) for v, a, h in ((1560, 250, 200), (1376, 444, 175))]
    [3.15, 1.67]
    """
    return np.asarray(area_mm2) * speed_m_s


def mean_head_mm(head_mm, above_mm, cavity_mm):
    """Steady head that fills a cavity in the same time as the real one, which falls as the metal rises.

    Parameters: `head_mm` H from the basin's surface to the gate; `above_mm` P ≤ H, height of the cavity above the
    gate; `cavity_mm` C, its whole height, of even section. Returns: [mm].
    Source: exact, the integral of dy/√(H − y). Handbooks (from memory) shorten it to H − P²/2C, which is at most
    12% high in speed with a wall of C/8 above the cavity, and 41% when it fills to the basin's brim.

    >>> round(float(mean_head_mm(150, 0, 80)), 6), round(float(mean_head_mm(80, 80, 80)), 6)  # gate on top; to the brim
    (150.0, 20.0)
    """
    head, above = np.asarray(head_mm, dtype=float), np.asarray(above_mm, dtype=float)
    slowness = (cavity_mm - above) / np.sqrt(head) + 2 * (np.sqrt(head) - np.sqrt(head - above))
    return (cavity_mm / slowness) ** 2


def taper(head_top_mm, head_base_mm):
    """Area at the top of a sprue over the area at its base [-], so that the stream fills it: √(h_base/h_top).

    Heads [mm] from the basin's surface. Source: exact (continuity).

    >>> float(taper(40, 160))
    2.0
    """
    return np.sqrt(np.asarray(head_base_mm) / head_top_mm)


@dataclass(frozen=True)
class Gating:
    """Sizes of one cavity's sprue and ingate.

    head_mm: from the basin's surface to the gate; pour_s: time to fill; choke_mm2, top_mm2: area of the sprue's
    base and top; base_m_s: speed at its base; ingate_mm2: area at which the metal enters slowly enough;
    flow_cm3_s: at the beginning; volume_cm3: metal in basin, sprue and gate. Each a number or an array (...).
    """

    head_mm: np.ndarray | float
    pour_s: np.ndarray | float
    choke_mm2: np.ndarray | float
    top_mm2: np.ndarray | float
    base_m_s: np.ndarray | float
    ingate_mm2: np.ndarray | float
    flow_cm3_s: np.ndarray | float
    volume_cm3: np.ndarray | float


def gating(metal_cm3, mass_kg, head_mm, above_mm, cavity_mm, g):
    """The Gating that fills a cavity at the parting plane in the time wanted, or as slowly as the least sprue allows.

    Parameters: metal in casting and feeder [cm3], [kg]; heads and heights as in `mean_head_mm` [mm]; `g` gives the
    entries of the ledger's section gating by name.
    """
    wanted_s = g("pour_factor") * np.sqrt(mass_kg)
    mean_m_s = g("discharge") * fall_speed_m_s(mean_head_mm(head_mm, above_mm, cavity_mm))
    choke = np.maximum(metal_cm3 / (wanted_s * mean_m_s), np.pi / 4 * g("least_sprue") ** 2)
    drop_mm = np.maximum(head_mm - g("basin_depth"), 0)
    top = choke * taper(g("basin_depth"), g("basin_depth") + drop_mm)
    base_m_s = fall_speed_m_s(head_mm)
    flow = flow_cm3_s(choke, g("discharge") * base_m_s)
    ingate = flow / g("ingate_speed")
    sprue_cm3 = drop_mm * (choke + top + np.sqrt(choke * top)) / 3000  # a frustum
    volume = g("basin_volume") + sprue_cm3 + ingate * g("gate_length") / 1000
    return Gating(head_mm, metal_cm3 / (choke * mean_m_s), choke, top, base_m_s, ingate, flow, volume)
