"""The rate card: a lab's hourly rates, prices, machines and working hours, in one dated currency.

A card is a TOML file that an instructor edits. Beside its own sections it may hold entries of the
library's process tables (say `[printed_pattern]`), which then replace the library's values, and may name what is
bought instead of made (`[buy.printed_mould]`) and the shares that turn a cost into a price (`[price]`).
A price's unit may say "currency" ("currency/h"): it follows the card's own.
Costs made from a card are estimates for teaching and planning, not quotations.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from pourprint.ledger.checks import check_known, check_numbers, nearest, refuse, toml_text
from pourprint.ledger.entries import PRICES, Entry, Pedigree, as_table, buying, library, read_entry
from pourprint.ledger.errors import InputError
from pourprint.ledger.files import write_whole
from pourprint.ledger.workdays import WorkingHours

HEADER = ("lab", "currency", "date", "hours")


def annuity(principal, years, rate):
    """Equal yearly payment that pays off a loan.

    Parameters: `principal` [currency]; `years` [a], > 0; `rate` interest a year [-], > 0 and at most 1.
    Returns: payment [currency/a]. Raises: InputError. Source: exact (annuity formula).

    >>> round(float(annuity(500_000, 8, 0.06)), 2)
    80517.97
    """
    check_numbers(principal=principal, years=years, rate=rate)
    if np.any(np.asarray(rate) > 1):
        raise InputError(f"rate={rate!r} must be a share a year, at most 1: 0.06 for 6%.")
    return np.asarray(principal) * rate / -np.expm1(-np.asarray(years, dtype=float) * np.log1p(rate))


def machine_hour(price, years, utilisation):
    """Straight-line cost of a machine hour, without interest, upkeep or overhead.

    Parameters: `price` [currency]; `years` of life [a]; `utilisation` share of all hours used [-].
    Returns: [currency/h]. Raises: InputError. Source: straight-line depreciation over 8760 h a year (exact).

    >>> round(float(machine_hour(1_000_000, years=5, utilisation=0.9)), 1)
    25.4
    """
    check_numbers(price=price, years=years, utilisation=utilisation)
    if np.any(np.asarray(utilisation) > 1):
        raise InputError(f"utilisation is a share of all hours and must not pass 1, not {utilisation!r}.")
    return np.asarray(price) / (np.asarray(years, dtype=float) * 8760 * np.asarray(utilisation))


@dataclass(frozen=True)
class RateCard:
    """Rates, prices and process values of one lab. Read a value with `card["labour.technician"]`.

    `lab`, `currency` and `date` head the file; `hours` are the working hours; `entries` holds every
    number by its dotted key, the lab's own first, then the library's process tables; `path` of its file, if any.
    """

    lab: str
    currency: str
    date: dt.date
    hours: WorkingHours
    entries: Mapping[str, Entry]
    text: str = field(default="", repr=False, compare=False)
    path: Path | None = field(default=None, repr=False, compare=False)

    def __getitem__(self, key):
        return self._entry(key).value

    def _entry(self, key):
        try:
            return self.entries[key]
        except (KeyError, TypeError):
            raise InputError(f'the rate card has no "{key}"{nearest(key, self.entries)}.') from None

    def section(self, name):
        """A short way to read one section: `s = card.section("shell")`, then `s("dip_time")`."""
        return lambda key: self[f"{name}.{key}"]

    @property
    def bought(self):
        """The names of what this card buys instead of making it, such as "printed_mould"."""
        return tuple(dict.fromkeys(key.split(".")[1] for key in self.entries if key.startswith("buy.")))

    def making(self, *wares):
        """The same card, but these things made in the lab (default: all)."""
        gone = tuple(f"buy.{ware}." for ware in wares or self.bought)
        return replace(self, entries={key: e for key, e in self.entries.items() if not key.startswith(gone)})

    @classmethod
    def load(cls, path):
        """Read and check a rate card. Raises InputError that lists every fault of the file together."""
        text, content = toml_text(path)
        return replace(_parse(text, content, path, template=cls.default()), path=Path(path).resolve())

    @classmethod
    @cache
    def default(cls):
        """The library's placeholder card; needs no file."""
        resource = files("pourprint.ledger").joinpath("data/rates.toml")
        text, content = toml_text(resource)
        return _parse(text, content, resource.name, template=None)

    def replace(self, changes, pedigree=Pedigree.INVENTED, source="changed by the user"):
        """A new card with some values changed; ranges widen to hold them.

        Parameters: `changes` {key: value}, values finite, ≥ 0, scalars or arrays that broadcast;
        `pedigree` and `source` of the new values. Returns: RateCard. Raises: InputError.
        """
        if not isinstance(changes, Mapping):
            raise InputError(f'changes must be a table {{"labour.technician": 40.0}}, not {changes!r}.')
        check_known(list(Pedigree), pedigree=pedigree)
        if not (isinstance(source, str) and source.strip()):
            raise InputError(f"source must be text that is not empty, not {source!r}.")
        entries = dict(self.entries)
        for key, value in changes.items():
            old = self._entry(key)
            check_numbers(zero_allowed=True, **{key: value})
            if fault := old.kind.fault(value):
                raise InputError(f"{key} {fault}.")
            number = np.asarray(value, dtype=float)
            entries[key] = old.model_copy(
                update={
                    "value": number if number.ndim else float(number),
                    "low": min(old.low, float(number.min())),
                    "high": max(old.high, float(number.max())),
                    "pedigree": Pedigree(pedigree),
                    "source": source,
                }
            )
        return replace(self, entries=entries)

    def works_as(self, other):
        """Whether work is done alike at another card: the same hours, and other prices at most, those of what is bought
        apart, since an order may have a least."""
        if self is other:
            return True
        same = self.hours == other.hours and self.entries.keys() == other.entries.keys()
        changed = (key for key, entry in self.entries.items() if entry is not other.entries[key])
        return same and all(self.entries[k].kind in PRICES and not k.startswith("buy.") for k in changed)

    def with_hours(self, hours):
        """A new card with other working hours. Raises: InputError."""
        if not isinstance(hours, WorkingHours):
            raise InputError(f"hours must be WorkingHours, not {hours!r}.")
        return replace(self, hours=hours)

    def save(self, path, replace=False):
        """Write the card as TOML: comments and order of the loaded file are kept, changes written in.

        Parameter: `replace` lets it take the place of a file that is there. Raises: InputError when a value is an
        array, a file is there, or the file cannot be written.
        """
        import tomlkit

        document = tomlkit.parse(self.text)
        document["hours"].update(self.hours.as_toml())
        base = library()
        for key, entry in self.entries.items():
            if np.ndim(entry.value):
                raise InputError(f"{key} holds {np.size(entry.value)} values; a saved card needs one value each.")
            if key in base and entry == _priced_in(self.currency, base[key]):
                continue
            *sections, name = key.split(".")
            table = document
            for section in sections:
                table = table.setdefault(section, tomlkit.table())
            line = table.setdefault(name, tomlkit.inline_table())
            for part, value in {**entry.model_dump(exclude={"kind"}), "pedigree": str(entry.pedigree)}.items():
                inherited = part == "date" and value == self.date
                if (part not in line and not inherited) or (part in line and part != "unit" and line[part] != value):
                    line[part] = value
        try:
            write_whole(path, tomlkit.dumps(document).encode(), replace)
        except (TypeError, ValueError) as error:
            raise InputError(f'"{path}" cannot be written ({error}): choose another place.') from None

    def table(self):
        """Every number of the card as a pandas table with unit, range, pedigree, source and date."""
        return as_table(self.entries)


def _parse(text, content, path, template):
    """A RateCard from TOML content, checked against the keys and units of the template card."""
    faults = []
    missing = [key for key in HEADER if key not in content]
    faults += [f"{key} is missing; a card starts with lab, currency, date and [hours]" for key in missing]
    lab, currency, date = content.get("lab"), content.get("currency"), content.get("date")
    for key, value in (("lab", lab), ("currency", currency)):
        if key in content and not (isinstance(value, str) and value.strip()):
            faults.append(f"{key} must be text in quotes, not {value!r}")
    if "date" in content and type(date) is not dt.date:
        faults.append(f"date must be a plain date such as 2026-11-01, not {date!r}")
    hours, found = WorkingHours.from_toml(content.get("hours", {}))
    faults += found

    own, base = {}, dict(library())
    known = {**template.entries, **buying()} if template else {}
    for section, table in _sections(content):
        if not isinstance(table, dict):
            faults.append(f"{section} is not a known key; entries stand in sections such as [labour]")
            continue
        for name, raw in table.items():
            key = f"{section}.{name}"
            kind = known[key].kind if key in known else None
            entry, found = read_entry(key, raw, date if type(date) is dt.date else dt.date.min, kind)
            faults += found
            if entry:
                own[key] = entry
            faults += _misfits(key, entry, currency, template, known)
    if template:
        present = {f"{s}.{n}" for s, t in content.items() if isinstance(t, dict) for n in t}
        absent = [key for key in template.entries if key not in base and key not in present]
        faults += [f"{key} is missing; copy the line from the default card" for key in absent]
    refuse(path, faults)
    named = tuple(f"{section}." for section, _ in _sections(content))
    for key, entry in buying().items():
        if key.startswith(named):
            base[key] = entry
    # Prices follow the card's currency: another currency takes one edit.
    entries = {key: _priced_in(currency, entry) for key, entry in {**base, **own}.items()}
    return RateCard(lab, currency, date, hours, entries, text)


def _priced_in(currency, entry):
    """The entry with the card's currency where its unit says "currency", as in "currency/h"."""
    unit = entry.unit.replace("currency", currency)
    return entry if unit == entry.unit else entry.model_copy(update={"unit": unit})


def _sections(content):
    """The sections of a card and their tables, those of things bought by their own names: "buy.printed_mould"."""
    for section, table in content.items():
        if section == "buy" and isinstance(table, dict):
            yield from ((f"buy.{ware}", offer) for ware, offer in table.items())
        elif section not in HEADER:
            yield section, table


def _misfits(key, entry, currency, template, known):
    """Faults of one entry against the known keys and units."""
    if template is None:
        return []
    if key not in known:
        return [f"{key} is not a known key{nearest(key, known)}"]
    if entry is None or not isinstance(currency, str):
        return []
    unit = _priced_in(currency, known[key]).unit.replace(template.currency, currency)
    return [] if _priced_in(currency, entry).unit == unit else [f'{key}.unit must be "{unit}" (given: "{entry.unit}")']


def check_card(rates):
    """Refuse what is no RateCard. Raises: InputError."""
    if not isinstance(rates, RateCard):
        raise InputError(f"rates must be a RateCard, not {rates!r}: load one with RateCard.load(path).")
