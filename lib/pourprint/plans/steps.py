"""Stages, and the steps that a route is made of: hours, kilograms and counts, never money.

Work falls due once a job, once a batch, once a cluster, box or plate (rounded up), or once a part.
All numbers broadcast over NumPy arrays of quantity, batch size, rates and part volume.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np


class Stage(IntEnum):
    """The eleven reference stages of a metal-casting job, in order: each its number, and its `title` in words."""

    DESIGN = 1, "design and verify the part"
    TOOLING = 2, "design the tooling (cluster, mould or supports)"
    SIMULATE = 3, "simulate the process"
    DIE = 4, "make a pattern die"
    PATTERN = 5, "make patterns"
    ASSEMBLE = 6, "assemble the cluster"
    MOULD = 7, "build the mould (shell or printed sand)"
    FIRE = 8, "burn out and fire"
    POUR = 9, "melt, pour and cool"
    BREAK_OUT = 10, "break out and cut off"
    FINISH = 11, "finish and inspect"

    def __new__(cls, number, title):
        stage = int.__new__(cls, number)
        stage._value_, stage.title = number, title
        return stage


@dataclass(frozen=True)
class Level:
    """How often work falls due: `per_batch` turns kits in a batch [-] into times done in that batch [-]."""

    name: str
    per_batch: Callable


JOB = Level("job", lambda kits: 0 * np.asarray(kits))  # once a job, before the first batch
BATCH = Level("batch", lambda kits: np.minimum(np.ceil(kits), 1))  # also for a part of a kit that is made again


@dataclass(frozen=True)
class Work:
    """What is needed each time a level falls due: hours [h] and materials {rate key: amount}, in this order of time.

    `hands_on_h` needs a person in working hours, or several `people` [-] side by side, who are all paid for the time
    that the clock shows once; `machine_h` runs on unattended, `cooling_h` the load cools in the machine, without power;
    `unload_h` needs a person again, to empty and clean the machine; `wait_h` (drying, cooling in the open) needs
    nobody and nothing, and all pieces of one round wait together. The step's machine is held, and paid, from the
    beginning of the hands-on time to the end of unloading. Closed hours are not paid.
    """

    level: Level
    hands_on_h: np.ndarray | float = 0.0
    machine_h: np.ndarray | float = 0.0
    wait_h: np.ndarray | float = 0.0
    materials: Mapping[str, np.ndarray | float] = field(default_factory=dict)
    people: int = 1
    cooling_h: np.ndarray | float = 0.0
    unload_h: np.ndarray | float = 0.0

    @property
    def by_hand_h(self):
        """Hours that hands work by the clock, however many people [h]."""
        return self.hands_on_h + self.unload_h

    @property
    def held_h(self):
        """Hours for which the step's machine is held [h]."""
        return self.by_hand_h + self.machine_h + self.cooling_h


@dataclass(frozen=True)
class Step:
    """The smallest planned piece of work in a stage.

    `who` and `machine` are rate keys; `attended` says that the machine runs while hands work at it (turning, melting)
    instead of being set up; `whole` that a round's hands-on work is done in one go, never laid down or left for the
    night; `within_h` that it begins at most so long [h] after the step before it has ended (a hot hand-over: a fired
    shell to its pour): both are then planned as one, and go round together; the machine that it `keeps` is held and
    paid, at its power, while hands work at it (the kiln, until metal is molten and poured). `rounds` turns kits in a
    batch into how many times the step goes round one after another (coats, plates): a new round begins with hands-on
    time. A failure
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
    within_h: np.ndarray | float = np.inf
    keeps: str | None = None


def weighed(step, work, rates):
    """What doing a step's work once takes of all that has a price: (Step, Work, RateCard) → {rate key: amount}.

    Hours of people ("labour.technician") and of the machine ("machine.kiln") [h], electricity [kWh], materials in the
    unit of their price. Costs, footprints, mixes and limits all weigh work by this.
    """
    amounts = {step.who: work.people * work.by_hand_h}
    if step.machine:
        runs_h = work.machine_h + step.attended * work.hands_on_h
        amounts[f"machine.{step.machine}"] = work.held_h
        amounts["energy.electricity"] = runs_h * rates[f"power.{step.machine}"]
    if step.keeps:
        kwh = amounts.get("energy.electricity", 0.0) + work.by_hand_h * rates[f"power.{step.keeps}"]
        amounts |= {f"machine.{step.keeps}": work.by_hand_h, "energy.electricity": kwh}
    for key, amount in work.materials.items():
        amounts[key] = amounts.get(key, 0.0) + amount
    return amounts


def priced(amounts, rates):
    """Cost of amounts {rate key: amount} [currency]."""
    return sum((amount * rates[key] for key, amount in amounts.items()), start=0.0)
