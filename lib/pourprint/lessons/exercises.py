"""What an exercise is: a question with fields to fill, and a judge that says what is off without the answer.

Answers are plain texts by field, {"value": "12.5", "unit": "h"}, since they come from a page or a file.
The right answer is computed from the library when the question is posed; nothing is stored. What an exercise says
stands beside its module in a TOML file, with the ranges of the numbers that are drawn for a student.
"""

import string
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from pourprint.ledger.errors import InputError
from pourprint.lessons.numbers import Draw
from pourprint.routes import PRINTED

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


class _Filler(string.Formatter):
    """Puts numbers into a text: `{share!p}` is a share in percent, `{title!l}` a text in small letters."""

    def convert_field(self, value, conversion):
        match conversion:
            case "p":
                return 100 * value
            case "l":
                return value.lower()
        return super().convert_field(value, conversion)


@dataclass(frozen=True)
class Task(Draw):
    """An exercise while it is posed to a student: their draws, and its words with their numbers.

    `words` are the exercise's table in the TOML file; `numbers` what they may name: the class's `room`, what was drawn,
    and what the exercise works out.
    """

    words: Mapping
    numbers: Mapping

    def drawn(self, room):
        """What the words ask for: a list is one of these, a table from low to high in steps, a text names a choice."""
        known, found = {"part": [item.part for item in room.kit.parts], "route": PRINTED}, {}
        for name, of in self.words.get("draws", {}).items():
            plain = name.rstrip("_")  # "yield_" is drawn as "yield", a word that Python keeps for itself
            of = known[of] if isinstance(of, str) else of
            found[name] = self.number(plain, **of) if isinstance(of, dict) else self.choice(plain, of)
        return found

    def knows(self, **numbers):
        """The same task with further numbers for its words, before one of `kinds` makes a Question of them."""
        return replace(self, numbers={**self.numbers, **numbers})

    def told(self, key, default=None):
        """What the words say under a key, with the numbers put in: a text, a list or a table of texts."""
        return self.filled(self.words.get(key, default))

    def filled(self, words):
        """Any words with the numbers put in."""
        match words:
            case str():
                return _Filler().vformat(words, (), self.numbers)
            case list():
                return [self.filled(each) for each in words]
            case dict():
                return {key: self.filled(each) for key, each in words.items()}
        return words

    def question(self, kind, fields, judge, worked, **more):
        """The Question of these words."""
        hints, source = self.words.get("hints", ()), self.words.get("source", "")
        text, working = self.told("text"), self.told("working")
        return Question(kind, text, tuple(fields), judge, worked, working, hints=tuple(hints), source=source, **more)


@dataclass(frozen=True)
class Exercise:
    """One exercise of the catalogue.

    `outcome` is what can be done by who has worked its notebook; `pose` makes the Question from a Task, the class's
    room and what was drawn; `words` are its table in the TOML file (the catalogue says how they are written), of
    which `title`, `reveals` and `level`.
    """

    name: str
    notebook: str
    outcome: str
    pose: Callable = field(repr=False)
    words: Mapping = field(repr=False)
    title: str
    reveals: str
    level: int

    def question(self, room, student):
        """The Question for one student of a class; the same whenever it is asked.

        Numbers with which a known slip leads to the right answer are drawn anew. Raises: InputError where the class's
        kit, rates or alloy do not allow the exercise.
        """
        for again in range(MOST_DRAWS):
            task = Task(room.code, student, self.name + "'" * again, self.words, {"room": room})
            drawn = task.drawn(room)
            posed = self.pose(task.knows(**drawn), room, **drawn)
            if posed.number is None or posed.number.tells_apart:
                return posed
        raise InputError(f"{self.name}: with this class file a wrong way leads to the right number.")
