"""A cluster poured from the top: in which turn its parts fill.

Metal falls to the foot of the runner and rises in it. Where it reaches a gate, the part behind it fills from its own
floor up to the gate while the runner waits; then both rise together. Not modelled: splash, metal that enters a gate on
its fall, the pressure of air that a shell lets out slowly.
"""

import numpy as np


def fill_in_turn(gate_mm, top_mm, below_cm3, above_cm3, runner_mm2, flow_cm3_s):
    """When the parts of a cluster begin to fill and are full, poured at a steady flow: two (k,) [s].

    Parameters: by part (k,) the heights of its gate and of its top over the runner's foot [mm], its volume below and
    above the gate [cm3]; the runner's area [mm2]; `flow_cm3_s`. Parts with gates at one height fill together. Source:
    exact (balance of volume); above its gate a part is taken as even.

    >>> begin, full = fill_in_turn([10, 60], [30, 80], [5, 5], [10, 10], 1000, 10)  # 1 cm3 of runner a millimetre
    >>> begin.tolist(), full.tolist()
    ([1.0, 7.5], [4.5, 11.0])
    """
    gate, top, below, above = (np.asarray(each, dtype=float) for each in (gate_mm, top_mm, below_cm3, above_cm3))

    def poured(level, spilt):
        risen = np.clip((level - gate[:, None]) / (top - gate)[:, None], 0, 1)
        return runner_mm2 * level / 1000 + below @ spilt + above @ risen

    reached = gate[:, None] < gate + 1e-9
    begin = poured(gate, (gate[:, None] < gate - 1e-9).astype(float))
    full = poured(top, (gate[:, None] <= top).astype(float))
    return begin / flow_cm3_s, np.maximum(full, poured(gate, reached.astype(float))) / flow_cm3_s
