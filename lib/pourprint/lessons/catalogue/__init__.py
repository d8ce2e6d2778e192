"""The exercises, one module a notebook; each computes its right answer from the library when it is posed.

Beside each module stand its words, `<module>.toml`: the `notebook` and its `outcome`, who has worked it can …; and of
each exercise, in a table of its name, what it says. The function of that name in the module poses it, a function
(task, room, drawn numbers) → Question; without one it is a question in words alone. In its table stand

- `title`, `level` (1 for everybody, 2 goes deeper), `reveals` (what a wrong answer shows), `hints` that open one by
  one, and once solved the `source`;
- `draws`, what is drawn for a student: a list is one of these, a table goes from `low` to `high` in a `step`, "part"
  is one of the class's kit, "route" a printed one;
- `text`, and `working` once solved; in all words `{name}` is a number that was drawn or that the module works out;
- of a typed number its `number` (unit, tolerance, …) and its `slips`, what is said to who makes them; of a mistake its
  `lines`, and why a line is `sound`;
- of a choice its `options` and `reasons`: a text, or a text and what is said to who takes it wrongly, else `again`
  (for reasons `again_why`); a question in words alone has one or several cases under `words`, in which the first option
  and the first reason are right;
- of a prediction its `slider`, what that `says`, and what `happens`, by reason, where that is drawn;
- of a design its `fields`, and the `aims` that are to be met.
"""

from functools import cache
from importlib import import_module
from pathlib import Path

from pourprint.ledger.checks import nearest, read_toml
from pourprint.ledger.errors import InputError
from pourprint.lessons.exercises import Exercise
from pourprint.lessons.kinds import in_words


@cache
def catalogue():
    """All exercises of this folder's files in course order, {name: Exercise}."""
    found = []
    for path in Path(__file__).parent.glob("*.toml"):
        module, tables = import_module(f"{__name__}.{path.stem}"), read_toml(path)
        notebook, outcome = tables.pop("notebook"), tables.pop("outcome")
        for name, words in tables.items():
            pose = getattr(module, name.replace("-", "_"), in_words)
            said = words["title"], words["reveals"], words.get("level", 1)
            found.append(Exercise(name, notebook, outcome, pose, words, *said))
    return {exercise.name: exercise for exercise in sorted(found, key=lambda exercise: exercise.notebook)}


def exercise_named(name):
    """The Exercise of that name. Raises: InputError that suggests the nearest."""
    known = catalogue()
    if not isinstance(name, str) or name not in known:
        raise InputError(f"there is no exercise {name!r}{nearest(name, known)}; all: {', '.join(known)}.")
    return known[name]


def exercises_of(room):
    """The exercises that a class sets, in course order, {name: Exercise}. Raises: InputError for unknown names."""
    chosen = room.exercises or [name for name, exercise in catalogue().items() if exercise.level <= room.level]
    wanted = {exercise_named(name).name for name in chosen}
    return {name: exercise for name, exercise in catalogue().items() if name in wanted}
