"""Marking: a folder of handed-in files becomes a mark sheet, a table of attempts and a report on every file.

Each student's right answers are worked out again from the class file; what a file says about right and wrong does
not exist. Files are read as data and never run. Nothing is left out in silence: every file has a line in `reports`.
"""

import datetime as dt
from dataclasses import dataclass, field
from itertools import permutations
from pathlib import Path

from pourprint.ledger.errors import InputError
from pourprint.ledger.files import check_free, harmless_csv, write_whole
from pourprint.lessons.answers import Answers, all_answers_in
from pourprint.lessons.catalogue import catalogue, exercises_of
from pourprint.lessons.classroom import Classroom
from pourprint.lessons.numbers import GUEST, identity

TOTALS = ("student", "file", "solved", "of", "tries", "hints", "solved_beyond", "first", "last")  # of the mark sheet
MOST_BYTES = 5_000_000  # no class fills a larger file; one is refused rather than read
MOST_STUDENTS = 40  # in one file, likewise


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
        from pourprint.figures.classroom import gaps_chart, slips_chart, unsolved_chart

        return unsolved_chart(self.attempts), slips_chart(self.attempts), gaps_chart(self.attempts)

    def save(self, path, replace=False):
        """Write the mark sheet as CSV, and the reports beside it, over others if `replace`.

        Returns: both paths. Raises: InputError.
        """
        path = Path(path)
        reports = path.with_name(f"{path.stem}-reports.csv")
        check_free(path, reports, replace=replace)  # both, before either is written
        for table, place in ((self.sheet.reset_index(), path), (self.reports, reports)):
            write_whole(place, harmless_csv(table).encode(), replace)
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
    room, folder = Classroom.load(class_file), Path(folder)
    if not folder.is_dir():
        raise InputError(f"{str(folder)!r} is not a folder: name the one that holds the handed-in files.")
    paths = [path for path in sorted(folder.rglob("*")) if not path.is_dir()]
    files = [file for path in paths for file in _looked_at(path, path.relative_to(folder).as_posix(), room, accept)]
    if not files:
        raise InputError(f"{str(folder)!r} holds no files: put the handed-in files there.")
    _one_each(files)
    _copies(files)
    return _marked(files, room)


def _looked_at(path, name, room, accept):
    """Read and check one file: whose it is, of which class, whole and unedited; a _File for each student in it."""
    try:
        files = [_File(name, answers) for answers in _read(path)]
    except InputError as error:
        return [_File(name, notes=[f"malformed: {error}"], counted=False)]
    except OSError as error:
        return [_File(name, notes=[f"malformed: it cannot be read ({error.strerror})."], counted=False)]
    for file in files:
        _belongs(file, room, name in accept)
        if len(files) > 1:
            file.notes.append(f"these are the answers of {file.answers.student!r}, one of {len(files)} in the file.")
    return files


def _read(path):
    """All Answers of a handed-in file. Raises: InputError for what holds none, OSError for what cannot be opened."""
    if path.is_symlink():
        raise InputError("it is a link to another place, which is not followed.")
    if not path.is_file():  # to open a named pipe would wait for ever
        raise InputError("it is no file but a pipe, a socket or a device.")
    if path.stat().st_size > MOST_BYTES:
        raise InputError(f"it is larger than {MOST_BYTES // 1_000_000} MB, more than answers can fill.")
    found = all_answers_in(path.read_bytes())
    if lost := found[0].lost:
        raise InputError(f"cut short or damaged: lines that cannot be read: {lost}.")
    if len(found) > MOST_STUDENTS:
        raise InputError(f"it names {len(found)} students or classes, more than share a computer: {MOST_STUDENTS}.")
    return found


def _belongs(file, room, accepted):
    answers = file.answers
    if answers.class_code != room.code:
        return file.out(f"foreign: it is of class {answers.class_code!r}, not {room.code!r}.")
    if identity(answers.student) == GUEST:
        return file.out("foreign: nobody was signed in, so it is nobody's.")
    if room.students and identity(answers.student) not in map(identity, room.students):
        return file.out(f"foreign: {answers.student!r} is not on the class's list.")
    if answers.edited and not accepted:
        return file.out("edited: its signatures do not fit. To count it all the same, name it in accept.")
    if answers.edited:
        file.notes.append("edited: its signatures do not fit; it counts because you accepted it.")
    unknown = sorted({event.exercise for event in answers.events} - {*catalogue()})
    if unknown:
        file.notes.append(f"it names exercises that do not exist, which are left out: {', '.join(unknown)[:200]}.")
    soon = dt.datetime.now(dt.UTC) + dt.timedelta(hours=1)
    if any(dt.datetime.fromisoformat(event.at) > soon for event in answers.events):
        file.notes.append("some answers are dated in the future: a wrong clock, or edited.")


def _one_each(files):
    """Of several files of one student the fullest counts; of equally full ones the latest."""
    theirs = {}
    for file in (file for file in files if file.counted):
        theirs.setdefault(identity(file.answers.student), []).append(file)
    for several in theirs.values():
        best = max(several, key=lambda file: (len(file.answers.events), max(event.at for event in file.answers.events)))
        kept = {*map(repr, best.answers.events)}
        for file in (file for file in several if file is not best):
            mine = {*map(repr, file.answers.events)}
            what = "the same as" if mine == kept else "an earlier state of" if mine < kept else "different from"
            file.out(f"duplicate: {what} {best.name} of the same student, which counts.")
            if not mine <= kept:
                best.notes.append(f"duplicate: {file.name} of the same student holds other answers; look at both.")


def _copies(files):
    """Say where two students' files hold checks of the same moment: one is a copy of the other."""
    told = [(file, {(event.at, event.exercise) for event in file.answers.events}) for file in files if file.counted]
    for (file, moments), (twin, theirs) in permutations(told, 2):
        if shared := len(moments & theirs):
            file.notes.append(f"shares {shared} events to the microsecond with {twin.name}: copied? It counts for now.")


def _marked(files, room):
    """Judge every check of every counted file anew."""
    import pandas as pd

    counted, set_for_class = [file for file in files if file.counted], exercises_of(room)
    columns = ["student", "exercise", "notebook", "try", "at", "answer", "right", "slip", "minutes_since"]
    attempts = pd.DataFrame([row for file in counted for row in _tries(file, room)], columns=columns)
    theirs = ((file, attempts[attempts["student"] == file.answers.student]) for file in counted)
    rows = [_row(file, mine, set_for_class) for file, mine in theirs]
    sheet = pd.DataFrame(rows, columns=[*TOTALS, *set_for_class]).astype(dict.fromkeys(set_for_class, "Int64"))
    here = {identity(file.answers.student) for file in counted}
    told = [(file.name, " ".join(file.notes) or "in order", file.counted) for file in files]
    missing = [name for name in room.students if identity(name) not in here]
    told += [("", f"missing: no file that counts from {name!r}.", False) for name in missing]
    reports = pd.DataFrame(told, columns=["file", "finding", "counts"])
    return Marks(sheet.set_index("student").sort_index(), attempts, reports)


def _tries(file, room):
    """Each check of a file with its verdict, as rows of `attempts`."""
    answers = file.answers
    for name, exercise in catalogue().items():
        events = answers.of(name)
        try:
            posed = exercise.question(room, answers.student) if events else None
        except InputError:
            file.notes.append(f"{name} cannot be set with this class file, so its answers are not judged.")
            continue
        moments = [dt.datetime.fromisoformat(event.at) for event in events]
        for i, event in enumerate(events):
            verdict, gap = posed.check(event.answer), (moments[i] - moments[i - 1]).total_seconds() / 60 if i else None
            shown = "; ".join(f"{key}: {text}" for key, text in event.answer.items())[:200]
            where = answers.student, name, exercise.notebook, i + 1, moments[i]
            yield *where, shown, verdict.right, verdict.slip, gap


def _row(file, mine, set_for_class):
    """One student's line of the mark sheet, from their rows of `attempts`."""
    solved = mine.groupby("exercise")["right"].any()
    counts = solved[solved.index.isin([*set_for_class])].astype(int)
    first, last = (end(mine["at"]).isoformat(timespec="minutes") if len(mine) else "" for end in (min, max))
    right, hints = counts.sum(), sum(file.answers.hints(name) for name in set_for_class)
    totals = right, len(set_for_class), len(mine), hints, solved.sum() - right, first, last
    return {**dict(zip(TOTALS, (file.answers.student, file.name, *totals), strict=True)), **counts}
