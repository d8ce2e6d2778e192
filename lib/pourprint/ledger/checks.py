"""Checks at the edge: numbers, files and TOML tables; every fault found is named in one message."""

import difflib
import inspect
import json
import math
import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from pourprint.ledger.errors import InputError

# What a TOML dataclass accepts: no unknown keys, no text or boolean where a number belongs.
STRICT = {"extra": "forbid", "strict": True}


def check_numbers(zero_allowed=False, arrays=True, whole=False, at_most=math.inf, **given):
    """Refuse what is no finite number above 0 (or at least 0), not whole, or above the most, naming every one such.

    A value is a number or, with arrays, an array of them; no text, boolean or None. Raises InputError.
    """
    faults = []
    for name, value in given.items():
        if isinstance(value, float) and 0 < value < math.inf and value <= at_most and not whole:
            continue  # what most are, known without an array
        try:
            array = np.asarray(value)
        except ValueError:  # a ragged list
            array = np.asarray(None)
        good = array.dtype.kind in "iuf" and array.size and np.isfinite(array).all()
        good = good and (arrays or array.ndim == 0)
        if not good or not (array >= 0 if zero_allowed else array > 0).all():
            kind = "" if arrays else "one number, "
            faults.append(f"{name}={value!r} must be {kind}finite and {'at least' if zero_allowed else 'above'} 0")
        elif whole and np.any(array % 1):
            faults.append(f"{name}={value!r} must be a whole number")
        elif np.any(array > at_most):
            faults.append(f"{name}={value!r} must be at most {at_most:g}")
    if faults:
        raise InputError("; ".join(faults) + ".")


def check_known(known, **given):
    """Refuse text that is none of some known words. Raises InputError that lists them."""
    for name, value in given.items():
        if not isinstance(value, str) or value not in known:
            raise InputError(f"{name} must be one of {', '.join(known)}, not {value!r}{nearest(value, known)}.")


def nearest(word, words):
    """A ' (did you mean …?)' when a known word is close, otherwise nothing."""
    close = difflib.get_close_matches(str(word), list(words), n=1)
    return f' (did you mean "{close[0]}"?)' if close else ""


def existing_file(path, endings):
    """The path as a Path if it is a file with one of the endings, such as (".stl",). Raises InputError."""
    if str(path).startswith(("//", "\\\\")):
        raise InputError(f"{str(path)!r} names another machine; copy the file here first.")
    try:
        path = Path(path)
        kind = "file" if path.is_file() else "folder" if path.is_dir() else "nothing"
    except (TypeError, ValueError, OSError):
        raise InputError(f"path={path!r} must be the path of a file.") from None
    if kind == "nothing":
        raise InputError(f"there is no file {str(path)!r}; check its name and the folder you work in.")
    if kind == "folder":
        raise InputError(f"{str(path)!r} is a folder; name a file in it.")
    if path.suffix.lower() not in endings:
        raise InputError(f"{path.name!r} must end in {' or '.join(endings)}.")
    return path


def toml_text(path):
    """The text and the content of a TOML file: (str, dict). Raises InputError for every way to fail."""
    path = existing_file(path, (".toml",))
    try:
        text = path.read_text(encoding="utf-8-sig")  # some editors put a mark in front
        return text, tomllib.loads(text)
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not text in UTF-8; a TOML file was expected.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path.name} is not valid TOML: {error}. Mend that line and load again.") from None
    except OSError as error:
        raise InputError(f"{path.name} cannot be read: {error.strerror}.") from None


def read_toml(path):
    """The content of a TOML file as a dict. Raises InputError for every way to fail."""
    return toml_text(path)[1]


@cache
def own_data(name):
    """The content of one of the library's own files, ledger/data/NAME.toml, read once: it is not to be changed."""
    return read_toml(files("pourprint.ledger").joinpath(f"data/{name}.toml"))


def validated(cls, table, where=""):
    """Turn a TOML table into a dataclass or a function's arguments, strictly; a function is called with them.

    Returns (instance or result, else None; faults as a list of texts).
    """
    from pydantic import ValidationError

    try:
        # Through JSON, strict typing still lets a list be a tuple and a table a dataclass; dates become text.
        return _adapter(cls).validate_json(json.dumps(table, default=str)), []
    except InputError as error:  # from the function
        return None, [": ".join(filter(None, (where, str(error))))]
    except ValidationError as error:
        faults = []
        for fault in error.errors():
            place = " ".join(str(key + 1) if isinstance(key, int) else key for key in fault["loc"])
            text = _explained(fault, cls)
            faults.append(": ".join(filter(None, (where, place, text))))
        return None, faults


@cache
def _adapter(cls):
    from pydantic import TypeAdapter

    return TypeAdapter(cls) if isinstance(cls, type) else TypeAdapter(cls, config=STRICT)


_SAID = {
    "arguments_type": "must be a table",
    "list_type": "must be a list in square brackets",
    "float_type": "must be a number",
    "greater_than_equal": "must not be negative",
    "finite_number": "must be a finite number",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
}


def _explained(fault, cls):
    if fault["type"] == "value_error":
        return str(fault["ctx"]["error"])
    if fault["type"] in ("missing", "missing_argument"):
        return "this key is missing"
    if fault["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        known = f"; known are {', '.join(inspect.signature(cls).parameters)}" if len(fault["loc"]) == 1 else ""
        return "this key is not known" + known
    given = "" if isinstance(fault["input"], dict) else f" (given: {fault['input']!r})"
    return _SAID.get(fault["type"], fault["msg"].replace("Input should be", "must be")) + given


def refuse(path, faults):
    """Raise one InputError that lists all faults of a file; do nothing when there are none."""
    if faults:
        count = "one fault" if len(faults) == 1 else f"{len(faults)} faults"
        lines = "\n".join(f"  - {fault.rstrip('.')}" for fault in faults)
        raise InputError(f"{Path(path).name} has {count}:\n{lines}\nMend this and load again.")


def plain(value):
    """A float where the value is a single number, else a float array."""
    array = np.asarray(value, dtype=float)
    return float(array) if array.ndim == 0 else array
