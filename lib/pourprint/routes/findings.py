"""Can it be made? What stands against a part on each route, where on the part, and what to change.

The geometry is measured by `process.walls`; limits are entries of the ledger, so that a lab's card overrules them:
below the low of a least, or above the high of a most, a part is refused; from there to the value it is watched.
Pores and misruns of a printed mould are found by `looks`. What no machine of the lab holds is refused by the routes
themselves.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pourprint.ledger.checks import check_known, own_data
from pourprint.ledger.entries import Pedigree, in_words, table_of
from pourprint.ledger.errors import Infeasible
from pourprint.ledger.rates import RateCard
from pourprint.process.walls import SHARP_DEG, Walls
from pourprint.routes.common import crucible_kg
from pourprint.routes.looks import MOST_PORE, OTHER_CELLS, PORES_WITHIN, look, sized
from pourprint.routes.pouring import FINE_CELLS
from pourprint.routes.shell_sizes import ShellSizes

HOT = ("steel", "titanium")  # families that are poured so hot that they lose their heat before they run far
ROUNDING = 1e-3
UNIT = "handling.least_size"  # what is smaller was perhaps drawn in another unit
LOGIC = "by logic"  # the pedigree of what needs no measuring
KINDS = {"printed_pattern": "shell", "tooled_pattern": "shell", "printed_mould": "sand", "printed_metal": "print"}
SHARP_ADVICE = f"round what turns by more than {SHARP_DEG:.0f}°, or the metal may tear there as it freezes"


class Verdict(StrEnum):
    """What a finding asks for, worst first."""

    REFUSED = "refused"
    WATCH = "watch"


def _short(number):
    """Three digits, or all before the point."""
    return f"{number:.3g}" if abs(number) < 1000 else f"{number:.0f}"


@dataclass(frozen=True, eq=False)
class Finding:
    """One thing that stands against a part: what was `measured` [`unit`], the worst of an array, against the `limit`
    from which it is refused or watched, both nan where nothing is counted; `key` of the limit, empty where it is no
    entry, and its `pedigree`; `where_mm` (3,) on the part as drawn, None where it has no one place."""

    verdict: Verdict
    part: str
    what: str
    measured: float
    limit: float
    unit: str
    key: str
    pedigree: str
    advice: str
    where_mm: np.ndarray | None = None

    def __str__(self):
        at = () if self.where_mm is None else np.round(self.where_mm) + 0.0
        place = " at ({:.0f}, {:.0f}, {:.0f}) mm".format(*at) if len(at) else ""
        unit = "" if self.unit == "-" else f" {self.unit}"
        said = "" if np.isnan(self.measured) else _short(self.measured)
        measured = "" if said in self.what else f" {said}{unit}"  # else the words say it
        most = f"limit {_short(self.limit)}{unit}" if self.limit else "should be none"
        limit = "" if np.isnan(self.limit) else f", {most} ({self.pedigree})"
        named = f": {in_words(self.key.rpartition('.')[2])}" if self.key else ""
        return f"{self.part.replace('_', ' ')}: {self.what}{measured}{place}{limit}{named}; {self.advice}"


def findings(route, job, rates=None):
    """What stands against each part of a job's kit on a route: tuple of Finding, refusals first but for a doubt about
    the unit, from which all else may follow.

    Parameters: `route` name; `job` Job; `rates` RateCard (default: the library's placeholder card). Of sizes and
    limits given as arrays the worst counts. Raises: InputError for a route that is none.
    """
    check_known(KINDS, route=route)
    rates = RateCard.default() if rates is None else rates
    found = [one for item in job.kit.parts for one in _of_part(item, route, job, rates)]
    if KINDS[route] == "shell" and route not in job.alloy.refused:
        what, closing = own_data("advice")["shell"]["closing"], ShellSizes(job, rates).closing_mm
        closed = [item.part for item in job.kit.parts if any(one.diameter_mm in closing for one in item.sockets)]
        found += [_by_reason(part, Verdict.WATCH, *what) for part in closed]
    if route not in job.alloy.refused and not allowed(route, job.alloy, rates):
        what = "this lab's card does not allow molten magnesium"
        advice = "take another metal; a lab with licence, cover gas and training writes 1 for it, under handling"
        found.append(Finding(Verdict.REFUSED, job.alloy.title, what, np.nan, np.nan, "-", "", LOGIC, advice))
    return tuple(sorted(found, key=lambda one: (one.key != UNIT, one.verdict is Verdict.WATCH, not one.key)))


def allowed(route, alloy, rates):
    """May this lab make an alloy on a route? Molten magnesium asks for the lab's own word on its card."""
    poured = KINDS[route] != "print" and alloy.family == "magnesium"
    return route not in alloy.refused and not (poured and np.any(np.asarray(rates["handling.magnesium"]) < 1))


def refuse(route, job, rates):
    """Raise Infeasible with why the alloy cannot be made so, or else with all that is refused, after a doubt about the
    unit; do nothing where nothing is."""
    job.alloy.check_route(route)
    found = findings(route, job, rates)
    if any(one.verdict is Verdict.REFUSED for one in found):
        raise Infeasible(*(f"{one}." for one in found if one.verdict is Verdict.REFUSED or one.key == UNIT))


def note(found):
    """What there is to watch, in one sentence; empty where nothing is. Parameter: `found` as from `findings`."""
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    return f"{found[0].verdict}: {found[0]}{more}" if found else ""


def table(found):
    """Findings as a pandas table, one row each."""
    columns = ("verdict", "part", "what", "measured", "limit", "unit", "pedigree", "advice")
    rows = [{name: getattr(one, name) for name in columns} | {"verdict": str(one.verdict)} for one in found]
    return table_of(rows, columns=columns)


def _of_part(item, route, job, rates):
    part, walls, said = item.part, item.part.study(Walls), own_data("advice")[KINDS[route]]
    yield from _by_logic(part, walls, said)
    size = "longest side", UNIT, "check the unit, or make it larger"
    yield from _judged(part, -1, np.max(part.box_mm, axis=-1), *size, rates)
    hot = "_hot" if job.alloy.family in HOT else ""
    for what, field, key, advice in said["leasts"]:
        measured, where = getattr(walls, f"{field}_mm"), getattr(walls, f"{field}_at")
        yield from _judged(part, -1, measured, what, key.format(hot=hot), advice, rates, where)
    mass_kg = part.volume_cm3 * job.alloy["density"] / 1000
    advice = "split it, or use a hoist and say so on the card"
    yield from _judged(part, 1, mass_kg, "mass", "handling.most_mass", advice, rates)
    if route == "printed_metal":
        yield from _judged(part, 1, walls.hidden_cm2, *said["most"], rates, walls.hidden_at)
    else:
        yield from _of_pour(part, job.alloy, rates, KINDS[route] == "shell", said["pore"])
        held_kg = np.min(crucible_kg(job, rates))
        if np.max(mass_kg) > held_kg:
            what = f"its {_short(np.max(mass_kg))} kg are more than the crucible holds"
            advice = "no casting is poured from two melts: split it"
            counted = np.max(mass_kg), held_kg, "kg", str(rates.entries["foundry.crucible"].pedigree)
            yield _by_reason(part, Verdict.REFUSED, what, advice, *counted)
        listed = max((hole.depth_mm / hole.diameter_mm for hole in item.sockets), default=0.0)
        seen = walls.deep > listed
        where = walls.deep_at if seen else None
        yield from _judged(part, 1, walls.deep if seen else listed, *said["most"], rates, where)


def _of_pour(part, alloy, rates, shell, advice):
    """What a pour on trial says; in a shell nothing is refused, since other gates and feeders may be tried."""
    found, said = look(part, alloy, OTHER_CELLS if shell else FINE_CELLS, shell), own_data("advice")["poured"]
    if found is None:
        return
    if np.isnan(found.share):
        yield _by_reason(part, Verdict.WATCH, *said["unseen"])
        return
    size, more, fed = sized(part, found, rates)

    def at(place_mm):
        return np.multiply(place_mm, size) if np.ndim(size) == 0 else None

    for pore in fed.over if np.any(more) else ():
        most_cm3 = float(np.max(pore.pore_cm3 * size**3))
        what = f"one feeder leaves {_short(most_cm3)} cm³ of shrinkage unfed, and it takes another"
        yield _by_reason(part, Verdict.WATCH, what, said["fed"], most_cm3, unit="cm³", where=at(pore.place_mm))
    sure = 0.0 if shell else 1 - PORES_WITHIN
    for seen, counts in ((found, ~more), (fed, more)):
        for pore in seen.pores:
            cm3 = pore.pore_cm3 * size**3 * counts
            yield from _judged(part, 1, cm3, "unfed shrinkage", MOST_PORE, advice, rates, at(pore.place_mm), sure)
    # A mould of similar shape fills in a time that goes with its volume while the least sprue decides, freezes with the
    # square of its size.
    share, slow_at = np.where(more, fed.share, found.share), fed.slow_at if np.all(more) else found.slow_at
    yield from _judged(part, 1, share * size, *said["slow"], rates, at(slow_at))


def _by_reason(part, verdict, what, advice, measured=np.nan, limit=np.nan, unit="-", pedigree=LOGIC, where=None):
    return Finding(verdict, part.name, what, float(measured), float(limit), unit, "", pedigree, advice, where)


def _by_logic(part, walls, said):
    """What needs no limit of the ledger."""
    if part.shape is None and "by_numbers" in said:
        advice = "cost may be off by 18%, days by a weekend, as with the demo nodes: give its mesh where you can"
        yield _by_reason(part, Verdict.WATCH, f"known by numbers alone, so that {said['by_numbers']}", advice)
    if part.bodies > 1:
        what, advice = f"{part.bodies} separate bodies", "give each its own file, or take Kit.of_bodies(part)"
        yield _by_reason(part, Verdict.REFUSED, what, advice, part.bodies, 1)
    if walls.sealed:
        what = f"{walls.sealed} sealed {'cavity' if walls.sealed == 1 else 'cavities'}"
        advice = f"{said['inside']} would stay inside: open it, or fill it"
        yield _by_reason(part, Verdict.REFUSED, what, advice, walls.sealed, 0, where=walls.sealed_at)
    if "pore" in said and np.any(walls.sharp_mm > 0):  # poured
        counted = np.max(walls.sharp_mm), 0, "mm", Pedigree.PRACTICE.value, walls.sharp_at
        yield _by_reason(part, Verdict.WATCH, "sharp inner corners", SHARP_ADVICE, *counted)


def _judged(part, sign, measured, what, key, advice, rates, where=None, sure=1.0):
    """At most one Finding; sign −1 for a least, 1 for a most; refused by the share `sure` of what was measured [-]."""
    entry, usual, measured = rates.entries[key], rates[key], np.asarray(measured, dtype=float)
    last, slack = (entry.low, entry.high)[sign > 0], 1 + sign * ROUNDING
    if np.any(sign * measured > sign * usual * slack):
        refused = np.any(sign * sure * measured > sign * last * slack)
        worst, limit = sign * np.max(sign * measured), last if refused else -sign * np.max(-sign * usual)
        known = where is not None and np.ndim(where) == 1 and np.isfinite(where).all()
        yield Finding(
            Verdict.REFUSED if refused else Verdict.WATCH, part.name, what, float(worst), float(limit),
            entry.unit.replace("cm2", "cm²").replace("cm3", "cm³"), key, str(entry.pedigree), advice,
            where if known else None,
        )  # fmt: skip
