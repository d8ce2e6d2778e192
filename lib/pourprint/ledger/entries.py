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
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pourprint.ledger.checks import refuse


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


PRICES = ("labour", "machine", "power", "energy", "material", "ingot", "powder", "purchase")  # sections of a rate card


def is_price(key):
    """Whether an input is a price of the rate card: a plan's cost is linear in it, its days do not depend on it."""
    return key.partition(".")[0] in PRICES


def is_yield(key):
    """Whether a key names a first-pass yield, "section.yield_what"."""
    return key.rpartition(".")[2].startswith("yield_")


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


def read_table(resource):
    """One of the library's own tables as {"section.key": Entry}. Raises: InputError when it is faulty."""
    content = tomllib.loads(resource.read_text(encoding="utf-8"))
    date, entries, faults = content.pop("date"), {}, []
    for section, table in content.items():
        for key, raw in table.items():
            entries[f"{section}.{key}"], found = read_entry(f"{section}.{key}", raw, date)
            faults += found
    refuse(resource.name, faults)
    return entries


@cache
def library():
    """The library's process tables, which a rate card may overrule, as {"section.key": Entry}; read once."""
    tables = sorted(files("pourprint.ledger").joinpath("data/process").iterdir(), key=lambda resource: resource.name)
    return {key: entry for table in tables for key, entry in read_table(table).items()}


@cache
def unmeshed():
    """What is assumed of a part that is given by numbers alone, as {"unmeshed.key": Entry}; read once."""
    return read_table(files("pourprint.ledger").joinpath("data/unmeshed.toml"))


@cache
def freezing():
    """Heat properties of sand and shell, as {"sand.key" or "hot_shell.key": Entry}; read once."""
    return read_table(files("pourprint.ledger").joinpath("data/freezing.toml"))


def as_table(entries):
    """Entries as a pandas table: key, value, low, high, unit, pedigree, source, date."""
    import pandas as pd

    rows = [{"key": key, **entry.model_dump(), "pedigree": str(entry.pedigree)} for key, entry in entries.items()]
    columns = ["key", "value", "low", "high", "unit", "pedigree", "source", "date"]
    return pd.DataFrame(rows, columns=columns).set_index("key")
