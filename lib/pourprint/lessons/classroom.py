"""The class: its code and its scenario (kit, rates, alloy, start), from one text file that an instructor edits."""

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pourprint.ledger.alloys import Alloy
from pourprint.ledger.checks import STRICT, read_toml, refuse, validated
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.ledger.workdays import moment_of
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.plans.plan import lead_time, made
from pourprint.routes import PRINTED, plan

CLASS_FILE = "class.toml"
MEND = "\nMend this and load again."  # said once, at the end


@dataclass(frozen=True)
class _ClassFile:
    """The keys of a class file; kit and rates are paths beside it."""

    __pydantic_config__ = STRICT
    code: str
    title: str
    kit: str
    rates: str
    alloy: str
    start: str
    level: int = 2
    exercises: tuple[str, ...] = ()
    students: tuple[str, ...] = ()

    def __post_init__(self):
        if not self.code.strip():
            raise InputError("code must be text that is not empty: every student's numbers follow from it.")
        if self.level not in (1, 2):
            raise InputError(f"level must be 1 (for everybody) or 2 (all exercises), not {self.level}.")


@dataclass(frozen=True)
class Classroom:
    """A class's code and scenario, ready for exercises.

    `exercises` and `students` are the names that are set and the ids that are expected; empty means all, or anyone.
    """

    code: str
    title: str
    kit: Kit
    rates: RateCard
    alloy: Alloy
    start: dt.datetime
    level: int = 2
    exercises: tuple[str, ...] = ()
    students: tuple[str, ...] = ()

    @classmethod
    def load(cls, path):
        """Read and check a class file with its kit and rates. Raises InputError that lists every fault."""
        content, folder = read_toml(path), Path(path).parent
        head, faults = validated(_ClassFile, content)
        found = {}
        # Each file is looked at even where another is wrong, so that all faults are told at once.
        for key, read in (
            ("kit", lambda name: Kit.load(folder / name)),
            ("rates", lambda name: RateCard.load(folder / name)),
            ("alloy", Alloy.named),
            ("start", moment_of),
        ):
            if isinstance(content.get(key), str):
                try:
                    found[key] = read(content[key])
                except InputError as error:
                    faults.append(f"{key}: {str(error).removesuffix(MEND)}")
        refuse(path, faults)
        return cls(head.code, head.title, level=head.level, exercises=head.exercises, students=head.students, **found)

    @property
    def money(self):
        """The currency of the rate card."""
        return self.rates.currency

    @property
    def making(self):
        """The same class making what its card buys, for what goes along a route step by step."""
        return replace(self, rates=self.rates.making()) if self.rates.bought else self

    def job(self, quantity=1, batch_size=None):
        """A Job of the class's kit and alloy, from its start on."""
        return Job(self.kit, self.alloy, quantity, batch_size, start=self.start)

    def plan(self, route, quantity=1, batch_size=None):
        """The plan of a route for the class's kit and alloy. Raises: InputError where the route cannot."""
        return made(plan(route, self.job(quantity, batch_size), self.rates))

    def batches(self, quantity):
        """Every printed route and batch size for some kits, without failures.

        Returns: {(route, batch size): (total cost [currency], days, moment when all is ready)}.
        """
        sizes, found = np.arange(1, quantity + 1), {}
        for route in PRINTED:
            each = self.plan(route).at(quantity=quantity, batch_size=sizes)
            time = lead_time(each, self.start)
            rows = zip(sizes.tolist(), each.total_cost.tolist(), time.days.tolist(), time.finish.tolist(), strict=True)
            found |= {(route, size): tuple(row) for size, *row in rows}
        return found


def classroom(path=None, folder="."):
    """The Classroom of a class file: `path`, else `class.toml` or `data_demo/class.toml` in the folder or above it."""
    if path is not None:
        return Classroom.load(path)
    here = Path(folder).resolve()
    for place in (here, *here.parents):
        for found in (place / CLASS_FILE, place / "data_demo" / CLASS_FILE):
            if found.is_file():
                return Classroom.load(found)
    raise InputError(f"no {CLASS_FILE} is in this folder, in data_demo, or above: copy data_demo/{CLASS_FILE} here.")
