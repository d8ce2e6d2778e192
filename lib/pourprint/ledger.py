"""Numbers with a pedigree: what an entry is, and how a table of them is read and checked.

Every number that a user may question lives in a TOML table as an entry with value, unit, range,
pedigree, source and date. Faults in a file are collected and reported together, in one message.
"""

import datetime as dt
import difflib
import tomllib
from enum import StrEnum
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pourprint.errors import InputError


class Pedigree(StrEnum):
    """Where a number comes from, best first."""

    PUBLISHED = "published"
    PRACTICE = "common practice"
    MEMORY = "from memory"
    INVENTED = "invented"


Amount = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]


class Entry(BaseModel):
    """One number: value and range in a unit, its pedigree, source and date."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Amount
    unit: Annotated[str, Field(min_length=1, strict=True)]
    low: Amount
    high: Amount
    pedigree: Pedigree
    source: Annotated[str, Field(min_length=1, strict=True)]
    date: dt.date

    @model_validator(mode="after")
    def _ordered(self):
        if not self.low <= self.value <= self.high:
            raise ValueError(f"needs low ≤ value ≤ high, has {self.low} ≤ {self.value} ≤ {self.high}")
        return self


_ALLOWED = {
    "extra_forbidden": "is not a known field; allowed are value, unit, low, high, pedigree, source, date",
    "missing": "is missing; every entry needs value, unit, low, high, pedigree and source",
    "float_type": "must be a number",
    "greater_than_equal": "must not be negative",
    "finite_number": "must be a finite number",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "enum": "must be one of " + ", ".join(f'"{p}"' for p in Pedigree),
    "value_error": "",
}


def nearest(word, words):
    """A ' (did you mean …?)' when a known word is close, otherwise nothing."""
    close = difflib.get_close_matches(str(word), list(words), n=1)
    return f' (did you mean "{close[0]}"?)' if close else ""


def read_entry(key, raw, date):
    """An Entry from a TOML value, or the list of what is wrong with it.

    Parameters: `key` dotted name for messages; `raw` the TOML value; `date` used where the entry has none.
    Returns: (Entry or None, list of faults).
    """
    if not isinstance(raw, dict):
        return None, [f"{key} must be an entry {{ value = …, unit = …, … }}, not {raw!r}"]
    try:
        return Entry(**{"date": date, **raw}), []
    except ValidationError as error:
        faults = []
        for fault in error.errors():
            field = ".".join(str(part) for part in fault["loc"])
            said = _ALLOWED.get(fault["type"])
            detail = said or fault["msg"].removeprefix("Value error, ")
            given = "" if fault["type"] in ("missing", "value_error") else f" (given: {fault['input']!r})"
            faults.append(f"{key}{'.' + field if field else ''} {detail}{given}")
        return None, faults


def read_toml(path):
    """The text and the content of a TOML file; every way to fail is one sentence.

    Parameters: `path` file to read. Returns: (text, dict). Raises: InputError.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(f'there is no file "{path}": check the name and the folder.') from None
    except UnicodeDecodeError:
        raise InputError(f'"{path}" is not a text file in UTF-8: save it as plain text.') from None
    except OSError as error:
        raise InputError(f'"{path}" cannot be read ({error.strerror}): give a readable TOML file.') from None
    try:
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f'"{path}" is not valid TOML: {error}. Mend that line and load again.') from None


def refuse(path, faults):
    """Raise one InputError that lists every fault of a file."""
    lines = "\n".join(f"  - {fault}" for fault in faults)
    raise InputError(f'"{path}" has {len(faults)} fault(s):\n{lines}\nMend these lines and load again.')


@cache
def library():
    """The library's own process tables as {"section.key": Entry}, read once.

    Raises: InputError when a table in the package is faulty.
    """
    entries = {}
    for resource in sorted(files("pourprint").joinpath("data/process").iterdir(), key=lambda r: r.name):
        content = tomllib.loads(resource.read_text(encoding="utf-8"))
        date = content.pop("date")
        faults = []
        for section, table in content.items():
            for key, raw in table.items():
                entries[f"{section}.{key}"], found = read_entry(f"{section}.{key}", raw, date)
                faults += found
        if faults:
            refuse(resource.name, faults)
    return entries


def as_table(entries):
    """Entries as a pandas table: key, value, low, high, unit, pedigree, source, date."""
    import pandas as pd

    rows = [{"key": key, **entry.model_dump(), "pedigree": str(entry.pedigree)} for key, entry in entries.items()]
    columns = ["key", "value", "low", "high", "unit", "pedigree", "source", "date"]
    return pd.DataFrame(rows, columns=columns).set_index("key")
