"""The exercises, one module a notebook; each computes its right answer from the library when it is posed."""

from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from pourprint.ledger.entries import nearest
from pourprint.ledger.errors import InputError
from pourprint.lessons.exercises import Exercise


@cache
def catalogue():
    """All exercises in course order, {name: Exercise}: of each module of this folder, by its NOTEBOOK."""
    modules = (import_module(f"{__name__}.{found.name}") for found in iter_modules(__path__))
    in_order = sorted(modules, key=lambda module: module.NOTEBOOK)
    found = [thing for module in in_order for thing in vars(module).values() if isinstance(thing, Exercise)]
    return {exercise.name: exercise for exercise in found}


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
