"""Answers on disk: one plain JSON file a student, beside the notebook, saved at once and never overwritten blindly.

Every save takes a lock that dies with its process, reads the file again, adds what is new, writes a temporary file,
flushes it to disk and puts it in place: two kernels, a killed kernel or a full disk lose nothing that was saved.

A signature shows that a file was changed outside the course. It is only tamper-evident: its key, the class code,
is known to the class, so that it stops slips and idle edits, not a student who reads this file.
"""

import contextlib
import datetime as dt
import errno
import hashlib
import hmac
import json
import os
import re
import tempfile
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pourprint.ledger.errors import InputError
from pourprint.lessons.numbers import GUEST, identity

FORMAT = 1
FOLDER = "answers"
SIGNED_IN = "signed_in.txt"
MOST_BYTES = 5_000_000  # no class fills a larger file; one is refused rather than read
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Event:
    """One thing a student did: checked an `answer` to an `exercise` `at` a time (UTC), or opened its `hint` number."""

    at: str
    exercise: str
    answer: dict[str, str] = field(default_factory=dict)
    hint: int = 0


@dataclass(frozen=True)
class Answers:
    """What one student of one class did, in order; `edited` says that the file was once changed by other means."""

    class_code: str
    student: str
    events: tuple[Event, ...] = ()
    edited: bool = False

    def of(self, exercise):
        """The checks of one exercise, in order."""
        return tuple(event for event in self.events if event.exercise == exercise and event.answer)

    def hints(self, exercise):
        """How many hints of an exercise have been opened."""
        return max((event.hint for event in self.events if event.exercise == exercise), default=0)


def now():
    """This moment as text in UTC, to the microsecond."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")


def file_of(folder, student):
    """Path of a student's file: readable letters of the id, and a few of its hash where letters had to go."""
    who = identity(student)
    plain = re.sub(r"[^a-z0-9]+", "-", who).strip("-")[:40]
    mark = "" if plain == who else "-" + hashlib.sha256(who.encode()).hexdigest()[:8]
    return Path(folder) / FOLDER / f"{plain or 'student'}{mark}.json"


def signature(content):
    """The signature of a file's content, over everything but itself."""
    rest = {key: value for key, value in content.items() if key != "signature"}
    text = json.dumps(rest, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    key = f"pourprint/{content.get('class_code')}".encode()
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()


def to_json(answers):
    """Answers as the text of their file."""
    content = {"format": FORMAT, **asdict(answers)}
    content["signature"] = signature(content)
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def from_json(text):
    """(Answers, whether the signature holds) from the text of a file. Raises: InputError that says what is wrong."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        raise InputError("it is not valid JSON: cut short, or not a file of answers.") from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise InputError("it is JSON, but not a file of answers of this course.")
    try:
        events = tuple(_event(raw) for raw in content["events"])
        names = [content[key] for key in ("class_code", "student")]
        edited = content["edited"]
    except (KeyError, TypeError, ValueError):
        raise InputError("it is a file of answers with a part missing or of the wrong kind.") from None
    if not all(isinstance(name, str) and name.strip() for name in names) or not isinstance(edited, bool):
        raise InputError("it is a file of answers with a part missing or of the wrong kind.")
    held = hmac.compare_digest(str(content.get("signature")).encode(), signature(content).encode())
    return Answers(*names, events, edited), held


def _event(raw):
    event = Event(**raw)
    texts = (event.at, event.exercise, *event.answer, *event.answer.values())
    moment = dt.datetime.fromisoformat(event.at)
    if not all(isinstance(text, str) for text in texts) or type(event.hint) is not int or moment.tzinfo is None:
        raise ValueError
    return event


def read(folder, class_code, student):
    """The saved Answers of a student (empty where there are none). A damaged file is set aside, never deleted.

    Returns: (Answers, note about a file set aside, or ""). Raises: InputError where the file cannot be read.
    """
    path = file_of(folder, student)
    try:
        found, held = from_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Answers(class_code, identity(student)), ""
    except (InputError, UnicodeDecodeError) as error:
        return Answers(class_code, identity(student)), _set_aside(path, str(error))
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.") from None
    if found.class_code != class_code or identity(found.student) != identity(student):
        return Answers(class_code, identity(student)), _set_aside(path, "it belongs to another class or student.")
    return Answers(class_code, found.student, found.events, found.edited or not held), ""


def _set_aside(path, reason):
    aside = path.with_name(f"{path.stem}.set-aside-{time.time_ns()}.json")
    with contextlib.suppress(OSError):
        path.replace(aside)
    return f"{path.name} could not be used ({reason.rstrip('.')}). It is kept as {aside.name}; a new one is begun."


def record(folder, class_code, student, events):
    """Add events to a student's file and save it; what another kernel saved meanwhile is kept.

    Returns: (Answers as saved, note about a damaged file set aside, or ""). Raises: InputError when it cannot be
    saved; the file then holds what it held before.
    """
    path = file_of(folder, student)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with _locked(path.with_suffix(".lock")):
            saved, note = read(folder, class_code, student)
            known = set(map(_identity_of, saved.events))
            fresh = [event for event in events if _identity_of(event) not in known]
            merged = sorted((*saved.events, *fresh), key=lambda event: event.at)
            answers = Answers(class_code, saved.student, tuple(merged), saved.edited)
            write_whole(path, to_json(answers))
    except OSError as error:
        raise InputError(_cannot_save(path, error)) from None
    return answers, note


def _identity_of(event):
    return event.at, event.exercise, event.hint, tuple(sorted(event.answer.items()))


def _cannot_save(path, error):
    if error.errno in FULL:
        return (
            f"NOT SAVED: the disk is full. Earlier answers are safe in {path.name}. Free some room, then press Check "
            "again."
        )
    return f"NOT SAVED: {path} cannot be written ({error.strerror}). Earlier answers are safe; press Check again later."


def write_whole(path, text):
    """Write a text file whole or not at all: a temporary file beside it, flushed to disk, put in its place."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
    with contextlib.suppress(OSError, AttributeError):  # the folder's own entry; not every system has this
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


@contextlib.contextmanager
def _locked(path, patience_s=10.0):
    """Hold a lock that the system drops when its process ends; wait for another holder. Raises: OSError."""
    with path.open("a+b") as file:
        deadline = time.monotonic() + patience_s
        while not _lock(file):
            if time.monotonic() > deadline:
                raise OSError(errno.EAGAIN, "another notebook holds it")
            time.sleep(0.02)
        yield  # closing the file lets go


def _lock(file):
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


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
    path = Path(folder) / FOLDER / SIGNED_IN
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, identity(student) + "\n")
    except OSError as error:
        raise InputError(_cannot_save(path, error)) from None
    return identity(student)


def hand_in(class_code, student, folder="."):
    """Write the one file to hand in, beside the notebook. Returns: its path. Raises: InputError where there is none."""
    answers, _ = read(folder, class_code, student)
    if not answers.events:
        raise InputError("there is nothing to hand in yet: no answer has been checked.")
    path = Path(folder) / f"hand-in-{file_of(folder, student).stem}.json"
    try:
        write_whole(path, to_json(answers))
    except OSError as error:
        raise InputError(_cannot_save(path, error)) from None
    return path
