"""What an exercise is: a question with fields to fill, and a judge that says what is off without the answer.

Answers are plain texts by field, {"value": "12.5", "unit": "h"}, since they come from a page or a file.
The right answer is computed from the library when the question is posed; nothing is stored.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files

from pourprint.ledger.errors import InputError
from pourprint.lessons.numbers import Draw

MOST_DRAWS = 40

# Slips of what is no try yet: not filled in, not a number, not a plan.
EMPTY, NO_NUMBER, NO_PLAN = "empty", "no number", "no plan"


@dataclass(frozen=True)
class Verdict:
    """Whether an answer is right, what to say, and the short name of what went wrong ("" where nothing did)."""

    right: bool
    say: str
    slip: str = ""

    @property
    def is_try(self):
        """Whether the answer counts as a try: what is empty, no number or no plan does not."""
        return self.slip not in (EMPTY, NO_NUMBER, NO_PLAN)


@dataclass(frozen=True)
class Field:
    """One thing to fill in: a typed number where there are no options, else one of the options {key: text}.

    A field marked `later` is shown once the fields before it have been answered and saved.
    """

    key: str
    label: str
    options: Mapping[str, str] = field(default_factory=dict)
    later: bool = False


@dataclass(frozen=True)
class Slider:
    """What a student may move after a prediction: places, their unit, and what the model says at a place."""

    name: str
    unit: str
    places: tuple[float, ...]
    says: Callable[[float], str]


@dataclass(frozen=True)
class Question:
    """An exercise posed to one student.

    `kind` names its builder; `worked` is an answer that passes; `working` says how to get there, and is shown with
    `source` once solved; `number` is what a typed answer is judged by; `lines` are shown as a numbered list.
    """

    kind: str
    text: str
    fields: tuple[Field, ...]
    judge: Callable[[Mapping[str, str]], Verdict]
    worked: Mapping[str, str]
    working: str
    number: object = None
    lines: tuple[str, ...] = ()
    slider: Slider | None = None
    hints: tuple[str, ...] = ()
    source: str = ""

    def check(self, answer):
        """The Verdict on an answer {field key: text}; what is missing or unknown is said, never raised."""
        given = {part.key: str(answer.get(part.key) or "").strip() for part in self.fields}
        for part in self.fields:
            if part.options and given[part.key] not in ("", *part.options):
                return Verdict(False, f"‘{given[part.key]}’ is not one of the choices for “{part.label}”.", "unknown")
        missing = [f"“{part.label}”" for part in self.fields if not given[part.key] and not part.later]
        if missing:
            return Verdict(False, f"Nothing is checked yet: please fill in {', '.join(missing)}.", EMPTY)
        return self.judge(given)


@dataclass(frozen=True)
class Exercise:
    """One exercise of the catalogue.

    `level` 1 is for everybody, 2 goes deeper; `reveals` is the misconception that a wrong answer shows; `pose` makes
    the Question from a student's draws and the class's room; `hints` and `source` go with it.
    """

    name: str
    notebook: str
    pose: Callable = field(repr=False)
    title: str
    reveals: str
    level: int = 1
    hints: tuple[str, ...] = ()
    source: str = ""

    def question(self, room, student):
        """The Question for one student of a class; the same whenever it is asked.

        Numbers with which a known slip leads to the right answer are drawn anew. Raises: InputError where the class's
        kit, rates or alloy do not allow the exercise.
        """
        for again in range(MOST_DRAWS):
            posed = self.pose(Draw(room.code, student, self.name + "'" * again), room)
            if posed.number is None or posed.number.tells_apart:
                return replace(posed, hints=self.hints, source=self.source)
        raise InputError(f"{self.name}: with this class file a wrong way leads to the right number.")


def exercise(pose):
    """Decorator: turn a function (draw, room) → Question into the Exercise of its name and its module's NOTEBOOK.

    What is said about it stands in `catalogue/exercises.toml`.
    """
    name = pose.__name__.replace("_", "-")
    words = {key: tuple(value) if key == "hints" else value for key, value in told()[name].items() if key != "words"}
    return Exercise(name, pose.__globals__["NOTEBOOK"], pose, **words)


@cache
def told():
    """What `catalogue/exercises.toml` holds: {name of an exercise, or "outcomes": table}."""
    return tomllib.loads(files("pourprint.lessons").joinpath("catalogue/exercises.toml").read_text(encoding="utf-8"))
