"""A bridge between two settings: what moved cost and days, one changed input at a time.

The inputs change in one stated order; in another order the same whole would be split otherwise.
"""

from dataclasses import dataclass, replace

from pourprint.decide.compare import comparison
from pourprint.decide.settings import same_kit
from pourprint.ledger.entries import in_words, table_of
from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import moment_of
from pourprint.plans.plan import feasible, why_none
from pourprint.routes import plan_all

ORDER = ("kit", "volume_cm3", "alloy", "quantity", "batch_size", "rates", "start", "price_of_day", "routes", "deadline")
ABSENT = {"volume_cm3": "the kit's own", "batch_size": "all at once", "deadline": "no date"}


@dataclass(frozen=True)
class Pier:
    """The first setting, or a step from there: `what` has changed, and the answer then: `route`, `cost` of a kit with
    failures and the price of its days [currency], `days` with failures [d]."""

    what: str
    route: str
    cost: float
    days: float


def bridge(before, after, route=None):
    """How the answer moves from one Setting to another, one changed input at a time: tuple of Pier, the start first.

    Parameters: two Settings in one currency; `route` to follow (default: at each step the cheapest of the routes that
    are weighed). Inputs change in the order ORDER, rates in that of the card. The last pier is the second setting, so
    that the steps add up to the whole. A step after which no route can make the job is taken together with the next.
    Raises: InputError.
    """
    if before.rates.currency != after.rates.currency:
        money = f"{before.name} is in {before.rates.currency}, {after.name} in {after.rates.currency}"
        raise InputError(f"{money}: a bridge needs one currency.")
    piers, waiting = [_pier(before.name, before, route)], []
    for what, setting in _changed(before, after):
        waiting.append(what)
        try:
            piers.append(_pier(" and ".join(waiting), setting, route))
            waiting = []
        except InputError:
            continue
    if waiting:
        raise InputError(f"{after.name}: no route that is asked for can make this.")
    return tuple(piers)


def bridge_table(piers, currency, noun):
    """A bridge as a pandas table: what changed, the answer for one `noun` after it, and by how much it moved."""
    rows = [
        (pier.what, pier.route.replace("_", " "), pier.cost, pier.cost - last.cost, pier.days, pier.days - last.days)
        for last, pier in zip((piers[0], *piers), piers, strict=False)
    ]
    heads = ("what changed", "route", f"a {noun} [{currency}]", f"moved by [{currency}]", "days [d]", "moved by [d]")
    return table_of(rows, heads[0], heads)


def side_by_side(before, after):
    """What two Settings come to, route by route, with failures: a pandas table. Raises: InputError."""
    import pandas as pd

    return pd.concat([_answer(one).table().iloc[:, :2].add_prefix(f"{one.name}: ") for one in (before, after)], axis=1)


def _answer(setting, route=None):
    """The Comparison that a Setting asks for. Raises: InputError where no route can."""
    plans = plan_all(setting.job, setting.rates, setting.routes if route is None else (route,))
    if not feasible(plans):
        raise InputError(f"{setting.name}: {why_none(plans)}")
    return comparison(plans, setting.price_of_day)


def _pier(what, setting, route):
    found = _answer(setting, route)
    best = min(found.days, key=found.mean_unit_cost)
    return Pier(what, best, found.mean_unit_cost(best), found.mean_days(best))


def _changed(before, after):
    """What differs, in the stated order: (in words, the Setting with this and all before it changed)."""
    now = before
    for key in ORDER:
        if key == "rates":
            for what, rates in _rates_changed(before.rates, after.rates):
                now = replace(now, rates=rates)
                yield what, now
            continue
        old, new = getattr(before, key), getattr(after, key)
        if not (same_kit(old, new) if key == "kit" else old == new):
            now = replace(now, **{key: new})
            yield f"{in_words(key)} {_said(key, old)} → {_said(key, new)}", now


def _said(key, value):
    """The value of an input in words."""
    if value is None:
        return ABSENT[key]
    if key == "routes":
        return f"{len(value)}"
    if key in ("start", "deadline"):
        return f"{moment_of(value):%d %b %Y}"
    return f"{getattr(value, 'name', value):{'g' if isinstance(value, float) else ''}}{' cm³' * (key == 'volume_cm3')}"


def _rates_changed(before, after):
    """What differs between two cards, in the order of the second: (in words, the card so far)."""
    now = before
    for ware in (*before.bought, *(ware for ware in after.bought if ware not in before.bought)):
        here = f"buy.{ware}."
        offer = {key: entry for key, entry in after.entries.items() if key.startswith(here)}
        if (ware in before.bought) != (ware in after.bought):
            now = replace(now.making(ware), entries={**now.making(ware).entries, **offer})
            yield f"{ware.replace('_', ' ')}: {'bought' if offer else 'made here'}", now
    for key, entry in after.entries.items():
        if key in now.entries and now[key] != entry.value:  # shares of a price move no costs
            words = f"{in_words(key)} {now[key]:g} → {entry.value:g} {entry.unit}"
            now = now.replace({key: entry.value})
            yield words, now
    if before.hours != after.hours:
        yield "working hours", after
