"""Alloys: properties with pedigree, and which routes can make them, with the reason where one cannot."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from pourprint.ledger.checks import check_known, nearest, own_data, refuse
from pourprint.ledger.entries import Entry, as_table, read_entry
from pourprint.ledger.errors import Infeasible, InputError


@dataclass(frozen=True)
class Alloy:
    """A metal. Read a property by its table name, say `alloy["density"]`, in the unit of its entry. `refused` {route:
    why it cannot make the metal}."""

    name: str
    title: str
    family: str
    entries: Mapping[str, Entry] = field(repr=False)
    refused: Mapping[str, str] = field(repr=False)

    def __getitem__(self, key):
        if key not in self.entries:
            raise InputError(f'{self.title} has no "{key}" in its table{nearest(key, self.entries)}.')
        return self.entries[key].value

    @classmethod
    def named(cls, name):
        """The alloy of that name. Raises: InputError that lists the known ones."""
        known = alloys()
        check_known(known, alloy=name)
        return known[name]

    def check_route(self, route):
        """Raise Infeasible with the reason when the route cannot make this alloy."""
        if route in self.refused:
            raise Infeasible(f"{self.title}: {self.refused[route]}")

    def check_pour(self, furnace_limit_c):
        """Raise Infeasible when the furnace cannot reach this alloy's pouring temperature [°C]."""
        reached_c = np.min(furnace_limit_c)
        if self["pour_temperature"] > reached_c:
            raise Infeasible(
                f"{self.title} is poured at about {self['pour_temperature']:.0f} °C, but this lab's furnace "
                f"reaches {reached_c:.0f} °C."
            )


@cache
def alloys():
    """All alloys of the library, {name: Alloy}, read once."""
    found, faults, content = {}, [], {**own_data("alloys")}
    date = content.pop("date")
    for name, table in content.items():
        entries = {}
        for key, raw in table.items():
            if key in ("title", "family", "refused"):
                continue
            entries[key], wrong = read_entry(f"{name}.{key}", raw, date)
            faults += wrong
        found[name] = Alloy(name, table["title"], table["family"], entries, table.get("refused", {}))
    refuse("alloys.toml", faults)
    return found


def alloy_ledger():
    """Every alloy property as a pandas table keyed "alloy.property"."""
    return as_table({f"{a.name}.{key}": entry for a in alloys().values() for key, entry in a.entries.items()})
