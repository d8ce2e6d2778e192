"""Numbers with a pedigree: what an entry is, and how a table of them is read and checked.

Every number that a user may question lives in a TOML table as an entry with value, unit, range,
pedigree, source and date. Faults in a file are collected and reported together, in one message.
"""

import datetime as dt
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from pourprint.ledger.checks import own_data, refuse, validated


class Pedigree(StrEnum):
    """Where a number comes from, best first."""

    PUBLISHED = "published"
    PRACTICE = "common practice"
    MEMORY = "from memory"
    INVENTED = "invented"


class Kind(StrEnum):
    """What a number is, which says what it may be and who asks for it."""

    PRICE = "price"  # of an hour, a kilogram, a piece: a plan's cost is linear in it, its days do not depend on it
    POWER = "power"  # of a machine at work: a price in kilowatts
    TIME = "time"  # of a step [h or s]
    SPEED = "speed"  # work done in a time, or the time that a unit of work takes
    YIELD = "yield"  # share of good pieces at the first try
    SHARE = "share"  # other parts of a whole
    SIZE = "size"  # a length, area or volume
    ALLOWANCE = "allowance"  # a length or so that is left free, added or lost
    LIMIT = "limit"  # what a machine holds or a process can do
    NUMBER = "number"  # a count, ratio or factor
    PROPERTY = "property"  # of a material

    def fault(self, value):
        """What is wrong with a value (or an array) of this kind, else an empty text."""
        if not (self in MAY_BE_ZERO or np.all(value)):
            return f"must be above 0, not {value}"
        if self in (Kind.YIELD, Kind.SHARE) and np.any(np.asarray(value) > 1):
            return f"is a share of a whole and must not pass 1, not {value}"
        return ""


PRICES = (Kind.PRICE, Kind.POWER)
MAY_BE_ZERO = (*PRICES, Kind.TIME, Kind.SHARE, Kind.ALLOWANCE, Kind.PROPERTY)  # by no other the routes divide


Amount = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]


class Entry(BaseModel):
    """One number: value and range in a unit, what kind it is, its pedigree, source and date."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Amount
    unit: Annotated[str, Field(min_length=1, strict=True)]
    kind: Kind
    low: Amount
    high: Amount
    pedigree: Pedigree
    source: Annotated[str, Field(min_length=1, strict=True)]
    date: dt.date

    @model_validator(mode="after")
    def _sound(self):
        if faults := [*filter(None, map(self.kind.fault, (self.value, self.low, self.high)))]:
            raise ValueError(faults[0])
        if not self.low <= self.value <= self.high:
            raise ValueError(f"needs low ≤ value ≤ high, has {self.low} ≤ {self.value} ≤ {self.high}")
        return self


def in_words(key):
    """A key as a reader sees it, by data/names.toml or by its own words: "machine.metal_printer" → "metal printer
    (machine)", "printed_metal.layout_each" → "layout of each part (printed metal)", "volume_cm3" → "volume"."""
    section, _, name = key.replace("volume_cm3", "volume").rpartition(".")
    name = own_data("names").get(section, {}).get(name, name)
    return (f"{name} ({section.replace('.', ' ')})" if section else name).replace("_", " ")


def read_entry(key, raw, date, kind=None):
    """An Entry from a TOML value, or the list of what is wrong with it.

    Parameters: `key` dotted name for messages; `raw` the TOML value; `date` used where the entry has none; `kind`,
    where it is known, whatever the entry says.
    Returns: (Entry or None, list of faults).
    """
    if not isinstance(raw, dict):
        return None, [f"{key} must be an entry {{ value = …, unit = …, … }}, not {raw!r}"]
    return validated(Entry, {"date": date, **raw, **({"kind": kind} if kind else {})}, key)


def read_table(name):
    """One of the library's own tables, by its file's name, as {"section.key": Entry}. Raises: InputError for faults."""
    entries, faults, content = {}, [], {**own_data(name)}
    date = content.pop("date")
    for section, table in content.items():
        for key, raw in table.items():
            entries[f"{section}.{key}"], found = read_entry(f"{section}.{key}", raw, date)
            faults += found
    refuse(f"{name}.toml", faults)
    return entries


@cache
def library():
    """The library's process tables, which a rate card may overrule, as {"section.key": Entry}; read once."""
    folder = files("pourprint.ledger").joinpath("data/process")
    names = sorted(file.name.removesuffix(".toml") for file in folder.iterdir())
    return {key: entry for name in names for key, entry in read_table(f"process/{name}").items()}


@cache
def unmeshed():
    """What is assumed of a part that is given by numbers alone, as {"unmeshed.key": Entry}; read once."""
    return read_table("unmeshed")


@cache
def freezing():
    """Heat properties of sand and shell, as {"sand.key" or "hot_shell.key": Entry}; read once."""
    return read_table("freezing")


@cache
def joints():
    """What fits and bonds ask of metals, seats and adhesives, as {"section.key": Entry}; read once."""
    return read_table("joints")


@cache
def buying():
    """What a rate card may name of what is bought and of prices, as {"buy.ware.key" or "price.key": Entry}."""
    content = own_data("buying")
    tables = {f"buy.{ware}": content["offer"] for ware in content["wares"]} | {"price": content["price"]}
    raws = {f"{section}.{key}": raw for section, table in tables.items() for key, raw in table.items()}
    return {key: Entry(**{"date": content["date"], **raw}) for key, raw in raws.items()}


def values_of(entries):
    """The values alone, {key: value}."""
    return {key: entry.value for key, entry in entries.items()}


def table_of(rows, head=None, columns=None):
    """A pandas table of `rows`, headed by its column `head`, or by several. Pandas is loaded with the first."""
    import pandas as pd

    table = pd.DataFrame(rows, columns=columns)
    return table if head is None else table.set_index(head)


def as_table(entries):
    """Entries as a pandas table: key, value, low, high, unit, kind, pedigree, source, date."""
    rows = [
        {"key": key, **entry.model_dump(), "kind": str(entry.kind), "pedigree": str(entry.pedigree)}
        for key, entry in entries.items()
    ]
    columns = ["key", "value", "low", "high", "unit", "kind", "pedigree", "source", "date"]
    return table_of(rows, "key", columns)
