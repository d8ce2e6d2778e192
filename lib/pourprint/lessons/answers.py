"""Answers on disk: one text file a student, beside the notebook, one line of JSON for each thing done, saved at once.

A line is added under a lock that dies with its process, and lies on the disk before it is called saved. Nothing is
ever written over: two kernels, a killed kernel or a full disk lose nothing that was saved.

Each line is signed together with the one before it, so that lines changed, moved or taken out show. That is only
tamper-evident: the key, the class code, is known to the class; it stops slips and idle edits, not a student who reads
this file.
"""

import codecs
import contextlib
import datetime as dt
import errno
import hashlib
import hmac
import json
import os
import re
import time
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from pourprint.ledger.errors import InputError
from pourprint.ledger.files import write_whole
from pourprint.lessons.numbers import GUEST, identity

FOLDER = "answers"
SIGNED_IN = "signed_in.txt"
PATIENCE_S = 10.0  # so long one waits for another notebook that saves
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Event:
    """One thing a student did: checked an `answer` to an `exercise` `at` a time (UTC), or opened its `hint` number."""

    at: str
    exercise: str
    answer: dict[str, str] = field(default_factory=dict)
    hint: int = 0
    signature: str = ""


@dataclass(frozen=True)
class Answers:
    """What one student of one class did, in order; `lost` counts lines of the file that could not be read."""

    class_code: str
    student: str
    events: tuple[Event, ...] = ()
    lost: int = 0

    def of(self, exercise):
        """The checks of one exercise, in order."""
        return tuple(event for event in self.events if event.exercise == exercise and event.answer)

    def hints(self, exercise):
        """How many hints of an exercise have been opened."""
        return max((event.hint for event in self.events if event.exercise == exercise), default=0)

    def plus(self, events):
        """These answers with unsigned events added and signed."""
        known = list(self.events)
        for event in events:
            known.append(replace(event, signature=self._signature(event, known[-1:])))
        return replace(self, events=tuple(known))

    @property
    def edited(self):
        """Whether an event was changed, moved or taken out by other means than this course."""
        signed = enumerate(self.events)
        return any(event.signature != self._signature(event, self.events[max(i - 1, 0) : i]) for i, event in signed)

    def _signature(self, event, before):
        told = [self.student, asdict(replace(event, signature="")), [each.signature for each in before]]
        key = f"pourprint/{self.class_code}".encode("utf-8", "surrogatepass")
        return hmac.new(key, json.dumps(told, sort_keys=True).encode(), hashlib.sha256).hexdigest()

    def text(self, first=0):
        """The lines of the file, from one event on."""
        owner = {"class_code": self.class_code, "student": self.student}
        return "".join(json.dumps(owner | asdict(event)) + "\n" for event in self.events[first:])


def all_answers_in(content):
    """The Answers in the bytes of a file, of each student of each class that it names.

    Raises: InputError where nothing says whose answers they are.
    """
    read, lost = _read_lines(content)
    if not read:
        raise InputError("it is not a file of answers of this course.")
    theirs = {}
    for whose, event in read:
        theirs.setdefault(whose, []).append(event)
    return [Answers(*owner, tuple(events), lost) for owner, events in theirs.items()]


def answers_in(content, class_code, student):
    """The Answers of a student of a class in the bytes of a file."""
    (read, lost), owner = _read_lines(content), (class_code, identity(student))
    return Answers(*owner, tuple(event for whose, event in read if whose == owner), lost)


def _read_lines(content):
    """([what `_read_line` reads, …], how many lines it cannot read) of the bytes of a file."""
    lines = [line for line in content.removeprefix(codecs.BOM_UTF8).split(b"\n") if line.strip()]
    read = [found for found in map(_read_line, lines) if found]
    return read, len(lines) - len(read)


def _read_line(line):
    """((class code, student), Event) of one line, or None where it cannot be read."""
    try:
        content = json.loads(line)
        owner = content.pop("class_code"), content.pop("student")
        event = Event(**content)
        texts = (*owner, event.exercise, event.signature, *event.answer, *event.answer.values())
        dated = dt.datetime.fromisoformat(event.at).tzinfo
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    good = dated and type(event.hint) is int and all(isinstance(text, str) for text in texts)
    return (owner, event) if good else None


def now():
    """This moment as text in UTC, to the microsecond."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")


def file_of(folder, student):
    """Path of a student's file: readable letters of the id, and a few of its hash where letters had to go."""
    who = identity(student)
    plain = re.sub(r"[^a-z0-9]+", "-", who).strip("-")[:40]
    mark = "" if plain == who else "-" + hashlib.sha256(who.encode()).hexdigest()[:8]
    return Path(folder) / FOLDER / f"{plain or 'student'}{mark}.jsonl"


def read(folder, class_code, student):
    """The saved Answers of a student, empty where there are none. Raises: InputError where the file cannot be read."""
    path = file_of(folder, student)
    try:
        content = path.read_bytes() if path.exists() else b""
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.") from None
    return answers_in(content, class_code, student)


def record(folder, class_code, student, events):
    """Add events to a student's file. Returns: the Answers as saved.

    Raises: InputError when they cannot be saved; the file then holds what it held before.
    """
    path = file_of(folder, student)
    with _saving(path), path.open("a+b", buffering=0) as file:
        _lock(file)
        file.seek(0)
        content = file.read()
        before = answers_in(content, class_code, student)
        after = before.plus(events)
        # A line that was cut short, by a kernel killed while it wrote, is ended here and stays unread.
        added = ("\n" * (not content.endswith(b"\n") and content != b"") + after.text(len(before.events))).encode()
        try:
            if file.write(added) < len(added):
                raise OSError(errno.ENOSPC, "the disk is full")
            os.fsync(file.fileno())
        except OSError:
            file.truncate(len(content))
            raise
    return after


def _lock(file):
    """Take a file for this process alone until it is closed; the system lets go when the process ends."""
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            if os.name == "nt":
                import msvcrt

                file.seek(1 << 30)  # a place that nobody reads
                return msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
            import fcntl

            return fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            if time.monotonic() > deadline:
                raise
        time.sleep(0.02)


@contextlib.contextmanager
def _saving(path):
    """Make the folder of a file that is about to be written, and say what went wrong. Raises: InputError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as error:
        full = "the disk is full; free some room" if error.errno in FULL else f"{path}: {error.strerror}"
        raise InputError(f"NOT SAVED: {full}. Earlier answers are safe in {path.name}: press again later.") from None


def _write(path, text):
    """Write a text file whole or not at all, and its folder before it. Raises: InputError."""
    with _saving(path):
        write_whole(path, text.encode(), replace=True)


def signed_in(folder="."):
    """The student who signed in beside this notebook; the guest where nobody did."""
    try:
        return identity((Path(folder) / FOLDER / SIGNED_IN).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        return GUEST


def remember(student, folder="."):
    """Remember who works here. Returns: the id as it is kept. Raises: InputError for an unusable id or disk."""
    if not isinstance(student, str) or not student.strip() or len(student) > 80 or not student.strip().isprintable():
        raise InputError("type your student id: one line of at most 80 characters, as your instructor knows you.")
    _write(Path(folder) / FOLDER / SIGNED_IN, identity(student) + "\n")
    return identity(student)


def hand_in(class_code, student, folder="."):
    """Write the one file to hand in, beside the notebook. Returns: its path. Raises: InputError where there is none."""
    answers = read(folder, class_code, student)
    if not answers.events:
        raise InputError("there is nothing to hand in yet: no answer has been checked.")
    path = Path(folder) / f"hand-in-{file_of(folder, student).name}"
    _write(path, answers.text())
    return path
