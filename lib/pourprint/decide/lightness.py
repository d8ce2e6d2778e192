"""What a gram saved costs, by route and quantity: a lightened node through the routes beside the plain one."""

from dataclasses import replace

import numpy as np

from pourprint.ledger.errors import InputError


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


def price_of_a_gram(plans, kit, quantities, design_h=16.0, worth=None):
    """What lightening costs a gram, as a pandas table: one row a route and quantity.

    plans: {route: Plan} of the plain kit; kit: the lightened Kit; quantities: numbers of kits, each made as one batch;
    design_h: an engineer's hours for lightening and verifying, once [h]; worth: what a gram is worth [currency/g].
    Columns: saved a kit [g], dearer a kit [currency] (negative: cheaper), price of a gram [currency/g], and with worth
    whether lightening pays. Infeasible routes are left out; a route that cannot make the lighter kit says so itself.
    """
    import pandas as pd

    rows = []
    for route, plan in plans.items():
        if not plan.feasible:
            continue
        density = plan.job.alloy["density"]
        saved = (plan.job.kit.volume_cm3 - kit.volume_cm3) * density
        if not saved > 0:
            raise InputError("the lightened kit must weigh less than the plain one.")
        for quantity in np.atleast_1d(quantities).tolist():
            here = plan.at(quantity=quantity, batch_size=quantity)
            once = design_h * plan.rates["labour.engineer"]
            dearer = (here.at(kit=kit).total_cost - here.total_cost + once) / quantity
            rows.append(
                (route, quantity, saved, dearer, dearer / saved, None if worth is None else dearer / saved < worth)
            )
    columns = ["route", "kits", "saved a kit [g]", "dearer a kit", "price of a gram", "pays"]
    table = pd.DataFrame(rows, columns=columns).set_index(["route", "kits"])
    return table if worth is not None else table.drop(columns="pays")


def pays_from(plans, kit, worth, design_h=16.0, most=200):
    """Fewest kits from which lightening pays at a worth [currency/g]: {route: number, or None if none to most}."""
    quantities = np.unique(np.geomspace(1, most, 40).astype(int))
    table = price_of_a_gram(plans, kit, quantities, design_h, worth)
    found = {}
    for route, rows in table.groupby(level=0):
        good = rows["pays"].to_numpy()[::-1]
        lasting = np.cumprod(good)[::-1].astype(bool)  # pays here and at all greater numbers looked at
        found[route] = int(rows.index.get_level_values(1)[lasting][0]) if lasting.any() else None
    return found
