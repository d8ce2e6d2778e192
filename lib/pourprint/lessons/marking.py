"""Marking: a folder of handed-in files becomes a mark sheet, a table of attempts and a report on every file.

Each student's right answers are worked out again from the class file; what a file says about right and wrong does
not exist. Files are read as data and never run. Nothing is left out in silence: every file has a line in `reports`.
"""

import datetime as dt
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from pourprint.ledger.checks import existing_file
from pourprint.ledger.errors import InputError
from pourprint.lessons.answers import MOST_BYTES, Answers, from_json
from pourprint.lessons.catalogue import catalogue, exercises_of
from pourprint.lessons.classroom import Classroom
from pourprint.lessons.numbers import GUEST, identity

FORMULA = ("=", "+", "-", "@", "\t")  # a spreadsheet would run a cell that begins so


@dataclass(frozen=True)
class Marks:
    """A marked class.

    `sheet`: one row a student, one column an exercise (1 solved, 0 tried, empty untouched) and totals; `attempts`: one
    row a check with verdict, slip and minutes since the try before; `reports`: one row a file or missing student with
    what was found and whether it counts. All pandas tables.
    """

    sheet: object
    attempts: object
    reports: object

    def charts(self):
        """What failed most, the typical slips, and the time between tries: three Charts. Raises: InputError."""
        from pourprint.figures import classroom

        return tuple(
            chart(self.attempts) for chart in (classroom.failures_chart, classroom.slips_chart, classroom.gaps_chart)
        )

    def save(self, path):
        """Write the mark sheet as CSV, and the reports beside it. Returns: both paths. Raises: InputError."""
        path = Path(path)
        reports = path.with_name(f"{path.stem}-reports.csv")
        try:
            for table, place in ((self.sheet.reset_index(), path), (self.reports, reports)):
                safe = table.map(
                    lambda cell: "'" + cell if isinstance(cell, str) and cell.startswith(FORMULA) else cell
                )
                safe.to_csv(place, index=False, encoding="utf-8")
        except OSError as error:
            raise InputError(
                f"{path} cannot be written ({error.strerror}): close it elsewhere, or choose another."
            ) from None
        return path, reports


@dataclass
class _File:
    """One file of the folder while it is looked at: what was read, what is to be said, and whether it counts."""

    name: str
    answers: Answers | None = None
    notes: list = field(default_factory=list)
    counted: bool = True

    def out(self, note):
        self.notes.append(note)
        self.counted = False


def mark(folder, class_file, accept=()):
    """Mark all files of a folder and its subfolders.

    Parameters: `folder` of handed-in files; `class_file` the class's TOML file; `accept` names of edited files that
    are to count all the same. Returns: Marks. Raises: InputError for a folder or class file that cannot be read.
    """
    room = Classroom.load(existing_file(class_file, (".toml",)))
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError(f"{str(folder)!r} is not a folder: name the one that holds the handed-in files.")
    files = [_looked_at(path, folder, room, accept) for path in sorted(folder.rglob("*")) if not path.is_dir()]
    if not files:
        raise InputError(f"{str(folder)!r} holds no files: put the handed-in files there.")
    _one_each(files)
    _copies(files)
    return _marked(files, room)


def _looked_at(path, folder, room, accept):
    """Read and check one file: whose it is, of which class, whole and unedited."""
    file = _File(path.relative_to(folder).as_posix())
    try:
        if path.is_symlink():
            raise InputError("it is a link to another place, which is not followed.")
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"it is larger than {MOST_BYTES // 1_000_000} MB, more than answers can fill.")
        file.answers, held = from_json(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        file.out("malformed: it is not text, so not a hand-in file.")
    except InputError as error:
        file.out(f"malformed: {error}")
    except OSError as error:
        file.out(f"malformed: it cannot be read ({error.strerror}).")
    else:
        _belongs(file, held, room, file.name in accept)
    return file


def _belongs(file, held, room, accepted):
    answers = file.answers
    if answers.class_code != room.code:
        return file.out(f"foreign: it is of class {answers.class_code!r}, not {room.code!r}.")
    if identity(answers.student) == GUEST:
        return file.out("foreign: nobody was signed in, so it is nobody's.")
    if room.students and identity(answers.student) not in map(identity, room.students):
        return file.out(f"foreign: {answers.student!r} is not on the class's list.")
    if not held or answers.edited:
        how = "its signature does not fit: it" if not held else "its answers were changed outside the course; it"
        if not accepted:
            return file.out(f"edited: {how} was edited. To count it all the same, name it in accept.")
        file.notes.append(f"edited: {how} was edited; it counts because you accepted it.")
    unknown = sorted({event.exercise for event in answers.events} - {*catalogue()})
    if unknown:
        file.notes.append(f"it names exercises that do not exist, which are left out: {', '.join(unknown)[:200]}.")
    now = dt.datetime.now(dt.UTC)
    if any(dt.datetime.fromisoformat(event.at) > now + dt.timedelta(hours=1) for event in answers.events):
        file.notes.append("some answers are dated in the future: a wrong clock, or edited.")


def _one_each(files):
    """Of several files of one student the fullest counts; of equally full ones the latest."""
    theirs = {}
    for file in files:
        if file.counted:
            theirs.setdefault(identity(file.answers.student), []).append(file)
    for several in theirs.values():
        best = max(several, key=lambda file: (len(file.answers.events), _last(file)))
        for file in several:
            if file is not best:
                mine, kept = {*map(repr, file.answers.events)}, {*map(repr, best.answers.events)}
                what = "the same as" if mine == kept else "an earlier state of" if mine < kept else "different from"
                file.out(f"duplicate: {what} {best.name} of the same student, which counts.")
                if not mine <= kept:
                    best.notes.append(f"duplicate: {file.name} of the same student holds other answers; look at both.")


def _last(file):
    return max((event.at for event in file.answers.events), default="")


def _copies(files):
    """Say where two students' files hold checks of the same moment: one is a copy of the other."""
    counted = [file for file in files if file.counted]
    moments = {file.name: {(event.at, event.exercise) for event in file.answers.events} for file in counted}
    for file in counted:
        for other in counted:
            shared = len(moments[file.name] & moments[other.name])
            if other is not file and shared:
                file.notes.append(
                    f"shares {shared} events to the microsecond with {other.name}: copied? It counts for now."
                )


def _marked(files, room):
    """Judge every check of every counted file anew."""
    import pandas as pd

    known, set_for_class = catalogue(), exercises_of(room)
    rows, sheet = [], []

    for file in (file for file in files if file.counted):
        student, answers = file.answers.student, file.answers

        @cache
        def question(name, student=student):
            try:
                return known[name].question(room, student)
            except InputError:
                return None

        mine = []
        for name in known:
            posed = question(name) if answers.of(name) else None
            if answers.of(name) and posed is None:
                file.notes.append(f"{name} cannot be set with this class file, so its answers are not judged.")
                continue
            before = None
            for number, event in enumerate(answers.of(name), start=1):
                verdict, at = posed.check(event.answer), dt.datetime.fromisoformat(event.at)
                gap = None if before is None else (at - before).total_seconds() / 60
                shown = "; ".join(f"{key}: {text}" for key, text in event.answer.items())[:200]
                mine.append((student, name, known[name].notebook, number, at, shown, verdict.right, verdict.slip, gap))
                before = at
        rows += mine
        sheet.append(_row(file, mine, set_for_class))
    columns = ["student", "exercise", "notebook", "try", "at", "answer", "right", "slip", "minutes_since"]
    attempts = pd.DataFrame(rows, columns=columns)
    head = ["student", "file", "solved", "of", "tries", "hints", "solved_beyond", "first", "last", *set_for_class]
    table = pd.DataFrame(sheet, columns=head).astype(dict.fromkeys(set_for_class, "Int64")).set_index("student")
    here = {identity(file.answers.student) for file in files if file.counted}
    missing = [name for name in room.students if identity(name) not in here]
    told = [(file.name, " ".join(file.notes) or "in order", file.counted) for file in files]
    told += [("", f"missing: no file that counts from {name!r}.", False) for name in missing]
    return Marks(table.sort_index(), attempts, pd.DataFrame(told, columns=["file", "finding", "counts"]))


def _row(file, mine, set_for_class):
    """One student's line of the mark sheet."""
    tried, solved = {row[1] for row in mine}, {row[1] for row in mine if row[6]}
    times = sorted(row[4] for row in mine)
    return {
        "student": file.answers.student,
        "file": file.name,
        "solved": len(solved & {*set_for_class}),
        "of": len(set_for_class),
        "tries": len(mine),
        "hints": sum(file.answers.hints(name) for name in set_for_class),
        "solved_beyond": len(solved - {*set_for_class}),
        "first": times[0].isoformat(timespec="minutes") if times else "",
        "last": times[-1].isoformat(timespec="minutes") if times else "",
        **{name: int(name in solved) for name in set_for_class if name in tried},
    }
