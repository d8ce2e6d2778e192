"""What a gram saved costs, by route and quantity: a lightened node through the routes beside the plain one."""

from dataclasses import replace

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.plans.plan import feasible


def with_part(kit, part, name):
    """The kit with another shape of the part of that name, which it keeps, as bores, sockets, faces and count.

    Raises: InputError.
    """
    names = [entry.part.name for entry in kit.parts]
    if name not in names:
        raise InputError(f"name={name!r} must be a part of the kit: {', '.join(names)}.")
    part = replace(part, name=name)
    parts = (replace(entry, part=part) if entry.part.name == name else entry for entry in kit.parts)
    return replace(kit, parts=tuple(parts))


def price_of_a_gram(plans, lighter, quantities, design_h=16.0):
    """What lightening costs a gram, as a pandas table: one row a route that can make both kits, and number of kits.

    plans, lighter: {route: Plan or NoPlan} of the plain and of the lightened kit; quantities: numbers of kits, each
    made as one batch; design_h: an engineer's hours for lightening and verifying, once [h]. Columns: saved a kit [g],
    dearer a kit [currency] (negative: cheaper), price of a gram [currency/g]. Raises: InputError, also where no route
    can make both.
    """
    import pandas as pd

    kits, tables, lighter = np.atleast_1d(quantities), {}, feasible(lighter)
    for route in (route for route in feasible(plans) if route in lighter):
        before, after = (some[route].at(quantity=kits, batch_size=kits) for some in (plans, lighter))
        saved = (before.job.kit.volume_cm3 - after.job.kit.volume_cm3) * before.job.alloy["density"]
        if not saved > 0:
            raise InputError("the lightened kit must weigh less than the plain one.")
        dearer = (after.total_cost - before.total_cost + design_h * before.rates["labour.engineer"]) / kits
        columns = {"saved a kit [g]": saved, "dearer a kit": dearer, "price of a gram": dearer / saved}
        tables[route] = pd.DataFrame(columns, index=pd.Index(kits, name="kits"))
    if not tables:
        raise InputError("no route can make both the plain and the lightened kit, so that no gram has a price.")
    return pd.concat(tables, names=["route"])


def pays_from(prices, worth):
    """Fewest kits from which lightening pays at a worth [currency/g], there and at all more that `prices` holds.

    Parameter: `prices` as from `price_of_a_gram`, its kits rising. Returns: {route: number, or None}.
    """
    found = {}
    for route, rows in prices["price of a gram"].groupby(level="route", sort=False):
        lasting = np.logical_and.accumulate((rows.to_numpy() < worth)[::-1])[::-1]
        found[route] = int(rows.index.get_level_values("kits")[lasting][0]) if lasting.any() else None
    return found
