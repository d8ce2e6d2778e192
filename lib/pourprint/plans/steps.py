"""Stages, and the steps that a route is made of: hours, kilograms and counts, never money.

Work falls due once a job, once a batch, once a cluster, box or plate (rounded up), or once a part.
All numbers broadcast over NumPy arrays of quantity, batch size, rates and part volume.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np


class Stage(IntEnum):
    """The eleven reference stages of a metal-casting job, in order."""

    DESIGN = 1
    TOOLING = 2
    SIMULATE = 3
    DIE = 4
    PATTERN = 5
    ASSEMBLE = 6
    MOULD = 7
    FIRE = 8
    POUR = 9
    BREAK_OUT = 10
    FINISH = 11

    @property
    def title(self):
        """The stage in words."""
        return _TITLES[self]


_TITLES = dict(
    zip(
        Stage,
        (
            "design and verify the part",
            "design the tooling (cluster, mould or supports)",
            "simulate the process",
            "make a pattern die",
            "make patterns",
            "assemble the cluster",
            "build the mould (shell or printed sand)",
            "burn out and fire",
            "melt, pour and cool",
            "break out and cut off",
            "finish and inspect",
        ),
        strict=True,
    )
)


@dataclass(frozen=True)
class Level:
    """How often work falls due: `per_batch` turns kits in a batch [-] into times done in that batch [-]."""

    name: str
    per_batch: Callable


JOB = Level("job", lambda kits: 0 * np.asarray(kits))  # once a job, before the first batch
BATCH = Level("batch", lambda kits: np.minimum(np.ceil(kits), 1))  # also for a part of a kit that is made again


@dataclass(frozen=True)
class Work:
    """What is needed each time a level falls due: hours [h] and materials {rate key: amount}.

    Hands-on time needs a person in working hours, or several `people` [-] side by side, who are all paid for the time
    that the clock shows once; machine time runs on unattended; waiting (drying, cooling) needs nobody, and all pieces
    of one round wait together.
    """

    level: Level
    hands_on_h: np.ndarray | float = 0.0
    machine_h: np.ndarray | float = 0.0
    wait_h: np.ndarray | float = 0.0
    materials: Mapping[str, np.ndarray | float] = field(default_factory=dict)
    people: int = 1

    @property
    def paid_h(self):
        """Hours of all people together [h]."""
        return self.people * self.hands_on_h


@dataclass(frozen=True)
class Step:
    """The smallest planned piece of work in a stage.

    `who` and `machine` are rate keys; `attended` says that the machine is also occupied during hands-on time, `whole`
    that a round's hands-on work is not left for the night if a day holds it; `rounds` turns kits in a batch into how
    many times the step goes round one after another (coats, plates): a new round begins with hands-on time. A failure
    (1 − `first_pass_yield` [-]) spoils one `spoils` ("part", "cluster", "box", "plate", "batch") and sends work back
    to the step `returns_to`.
    """

    stage: Stage
    name: str
    work: tuple[Work, ...]
    who: str = "labour.technician"
    machine: str | None = None
    attended: bool = False
    whole: bool = False
    rounds: Callable = BATCH.per_batch
    first_pass_yield: float = 1.0
    spoils: str = "part"
    returns_to: str = ""
