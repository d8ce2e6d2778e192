"""For the instructor: the catalogue as a table, worked answers, a check of the scenario, and an invented class."""

import datetime as dt
import tempfile
from pathlib import Path

import pandas as pd

from pourprint.ledger.errors import InputError
from pourprint.ledger.files import write_whole
from pourprint.lessons.answers import Answers, Event, file_of
from pourprint.lessons.catalogue import exercise_named, exercises_of
from pourprint.lessons.numbers import Draw

TRIAL = ("ada", "ben", *(f"student {i}" for i in range(6)))  # ids with which a scenario is tried


def exercise_table(room):
    """The exercises that a class sets: notebook, title, kind, level, learning outcome, misconception revealed.

    Parameters: `room` Classroom. Returns: pandas table by exercise name.
    """
    asked = exercises_of(room).values()
    rows = [(e.name, e.notebook, e.title, _kind(e, room), e.level, e.outcome, e.reveals) for e in asked]
    columns = ["exercise", "notebook", "title", "kind", "level", "outcome", "a wrong answer shows who"]
    return pd.DataFrame(rows, columns=columns).set_index("exercise")


def _kind(exercise, room):
    try:
        return exercise.question(room, TRIAL[0]).kind
    except InputError:
        return "cannot be set with this class file"


def worked_answers(room, student, notebook=None):
    """Question, worked answer and working of every exercise for one student, each put through its own check.

    Parameters: `room` Classroom; `student` id; `notebook` such as "05" (default: all). Returns: pandas table with
    `passes` for the worked answer, and `stub_says` for an untouched one. Raises: InputError, see `check_scenario`.
    """
    rows = []
    for name, exercise in exercises_of(room).items():
        if notebook in (None, exercise.notebook):
            posed = exercise.question(room, student)
            text = " ".join((posed.text, *(f"({i}) {line}" for i, line in enumerate(posed.lines, start=1))))
            stub = posed.check({})
            passes = posed.check(posed.worked).right
            rows.append((name, text, _in_words(posed), posed.working, passes, stub.right, stub.say))
    columns = ["exercise", "question", "answer", "working", "passes", "stub_passes", "stub_says"]
    return pd.DataFrame(rows, columns=columns).set_index("exercise")


def _in_words(posed):
    """A worked answer as it would be read out."""
    said = (part.options.get(posed.worked[part.key], posed.worked[part.key]) for part in posed.fields)
    return "; ".join(f"{part.label}: {text}" for part, text in zip(posed.fields, said, strict=True))


def variants(name, room, students):
    """One exercise as several students see it: pandas table of question and answer by student."""
    posed = {student: exercise_named(name).question(room, student) for student in students}
    rows = {student: {"question": q.text, "answer": _in_words(q)} for student, q in posed.items()}
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("student")


def check_scenario(room):
    """Pose every exercise to a few ids, and say which cannot be set with this kit, these rates or this alloy, and why.

    Returns: pandas table by exercise with `settable` and `reason`.
    """
    rows = []
    for name, exercise in exercises_of(room).items():
        reason = ""
        for student in TRIAL:
            try:
                posed = exercise.question(room, student)
                if not posed.check(posed.worked).right:
                    reason = f"its worked answer does not pass for {student!r}."
            except InputError as error:
                reason = str(error)
        rows.append((name, not reason, reason))
    return pd.DataFrame(rows, columns=["exercise", "settable", "reason"]).set_index("exercise")


def invented_class(room, students=12, folder=None):
    """Write the hand-in files of a class that never was, to try the marking on: some solve, some slip, some give up.

    Parameters: `room` Classroom; `students` how many; `folder` (default: a new temporary one). Returns: its Path.
    One file is cut short, and one was edited by hand. Everything follows from the class code: no chance is at work.
    """
    folder = Path(folder or tempfile.mkdtemp(prefix="hand-ins-"))
    for i in range(1, students + 1):
        student = f"invented-{i:02d}"
        text = Answers(room.code, student).plus(_evening(room, student)).text()
        if i == students:
            text = text[:-80]
        if i == students - 1:
            text = text.replace('"hint": 0', '"hint": 1', 1)
        write_whole(folder / file_of(folder, student).name, text.encode())
    return folder


def _evening(room, student):
    """What one invented student did: tries at each exercise, slips before the right answer, or none at all."""
    moment = dt.datetime(2026, 1, 12, 18, tzinfo=dt.UTC)
    for name, exercise in exercises_of(room).items():
        draw, posed = Draw(room.code, student, f"evening/{name}"), exercise.question(room, student)
        tries = draw.number("tries", 0, 3)
        for n in range(tries):
            pause = draw.choice(f"pause {n}", (5, 8, 20, 45, 90, 240, 700)) + draw.number(f"µs {n}", 0, 999_999) / 1e6
            moment += dt.timedelta(seconds=pause)
            last = n == tries - 1 and draw.number("solves", 1, 10) > 2
            slips = posed.number.slips if posed.number else {}
            slip = slips and draw.choice("slip", sorted(slips))
            wrong = {**posed.worked, **({"value": f"{float(slips[slip][0]):.6g}"} if slip else _other(posed))}
            yield Event(moment.isoformat(timespec="microseconds"), name, dict(posed.worked if last else wrong))


def _other(posed):
    """A wrong answer without numbers: two places swapped, or another choice."""
    if "2" in posed.worked:
        return {"1": posed.worked["2"], "2": posed.worked["1"]}
    part = max(posed.fields, key=lambda part: bool(part.options))
    return {part.key: next((key for key in part.options if key != posed.worked[part.key]), "0.5")}
