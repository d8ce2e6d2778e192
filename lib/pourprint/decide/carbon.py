"""Energy and greenhouse gases of a plan, step by step: a second axis of the decision, never its verdict.

A plan multiplies hours, kilograms and counts by prices. Put kilograms of CO2 equivalent in the place of prices, and
nothing in the place of wages and machine hours, and the same plan counts carbon.

Counted: electricity of the lab's machines, and materials from the mine to the door. Not counted: people, rooms,
transport, what is bought in the place of a step, making the machines, what becomes of waste, and what a lighter frame
saves in use. First-pass yields are not priced here either: spoilt work adds to the routes that fail more.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from pourprint.ledger.checks import check_numbers, nearest
from pourprint.ledger.entries import read_table, table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import draw
from pourprint.plans.plan import Plan, made

RANGE = (0.05, 0.95)  # of the draws: the low and the high that are shown


@cache
def carbon_ledger():
    """What a kilowatt-hour, a kilogram or a die carries, as {"carbon.section.key": Entry}; read once."""
    return {f"carbon.{key}": entry for key, entry in read_table("carbon").items()}


@dataclass(frozen=True)
class Footprint:
    """Energy and greenhouse gases of a plan, for the whole job.

    `energy_kwh`, `co2e_kg` (1 + n, steps, …): first at the ledger's values, then in n draws from its ranges, the
    same for every plan of the rate card, so that routes are compared draw by draw.
    """

    plan: Plan
    energy_kwh: np.ndarray
    co2e_kg: np.ndarray

    @property
    def total_kwh(self):
        """Electricity of the job (3, …) [kWh]: low (5% of draws below), at the values, high (95%)."""
        return _spread(self.energy_kwh.sum(axis=1))

    @property
    def total_kg(self):
        """Greenhouse gases of the job (3, …) [kg CO2e]: low, at the values, high."""
        return _spread(self.co2e_kg.sum(axis=1))

    def less_than(self, other):
        """In which share of the draws this plan emits less than another one [-]."""
        return np.mean(self.co2e_kg.sum(axis=1)[1:] < other.co2e_kg.sum(axis=1)[1:], axis=0)

    def table(self):
        """A pandas table, one row a step: stage, step, energy [kWh] and CO2e [kg], each with low and high."""
        self.plan.single_only("the table of a footprint")
        columns = ["stage", "step", "energy_low", "energy_kwh", "energy_high", "co2e_low", "co2e_kg", "co2e_high"]
        values = np.vstack([_spread(self.energy_kwh), _spread(self.co2e_kg)]).T
        rows = [(step.stage.title, step.name, *row) for step, row in zip(self.plan.steps, values, strict=True)]
        return table_of(rows, columns[:2], columns)


def _spread(table):
    low, high = np.quantile(table[1:], RANGE, axis=0)
    # Ranges are lopsided: all values at once may lie outside what most draws say, and are shown then too.
    return np.stack([np.minimum(low, table[0]), table[0], np.maximum(high, table[0])])


def footprint(plan, n=1000, seed=1, known=None):
    """Energy and greenhouse gases of a plan.

    Parameters: `plan` a feasible Plan of single numbers, or of arrays; `n` draws [-] from the ranges of machine
    power and of the carbon ledger, triangular, independent; `seed`; `known` {"energy.electricity": 0.05, …} what the
    lab knows of the ledger, in its units, without doubt. Returns: Footprint. Raises: InputError.
    Limits: gates and feeders that are melted again count as their lost value, not as new metal.
    """
    made(plan)
    ledger = {key.removeprefix("carbon."): entry for key, entry in carbon_ledger().items()}
    known = dict(known or {})
    for key in known:
        if key not in ledger:
            raise InputError(f"the carbon ledger has no {key!r}{nearest(key, ledger)}; it has {', '.join(ledger)}.")
    check_numbers(zero_allowed=True, arrays=False, **known)
    power = {key: entry for key, entry in plan.rates.entries.items() if key.startswith("power.")}
    entries = {**ledger, **power}
    drawn = {key: np.r_[entries[key].value, values] for key, values in draw(entries, n, seed).items()}
    drawn |= {key: np.full(int(n) + 1, float(value)) for key, value in known.items()}
    drawn = {key: values.reshape(-1, *[1] * len(plan.shape)) for key, values in drawn.items()}
    # Machines draw what is drawn for them: the same steps with other power, weighed by other things than money.
    amounts = replace(plan, rates=plan.rates.replace({key: drawn[key] for key in power})).amounts
    co2e_kg = [sum(amount * _weight(key, drawn) for key, amount in row.items()) for row in amounts]
    energy_kwh = [row.get("energy.electricity", 0.0) for row in amounts]
    shape = (int(n) + 1, *plan.shape)
    tables = (np.stack([np.broadcast_to(each, shape) for each in rows], axis=1) for rows in (energy_kwh, co2e_kg))
    return Footprint(plan, *tables)


def carbon_kg(amounts):
    """Greenhouse gases of amounts {rate key: amount}, at the ledger's values [kg CO2e]; limits as of the module."""
    values = {key.removeprefix("carbon."): entry.value for key, entry in carbon_ledger().items()}
    return sum(amount * _weight(key, values) for key, amount in amounts.items())


def _weight(key, drawn):
    """What stands in the place of a price: kg CO2e a unit, nothing for people and machine hours."""
    section, _, name = key.partition(".")
    if section in ("labour", "machine", "buy"):
        return 0.0
    if section in ("ingot", "powder"):
        return drawn[f"metal.{name}"] + (drawn["metal.atomising"] if section == "powder" else 0.0)
    return drawn[key]
