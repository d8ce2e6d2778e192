"""Can it be made? What stands against a part on each route, where on the part, and what to change.

The geometry is measured by `process.walls`; limits are entries of the ledger, so that a lab's card overrules them:
below the low of a least, or above the high of a most, a part is refused; from there to the value it is watched.
Pores and misruns of a printed mould are found by `looks`. What no machine of the lab holds is refused by the routes
themselves.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pourprint.ledger.entries import Pedigree, in_words
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard
from pourprint.process.walls import SHARP_DEG, Walls
from pourprint.routes.common import crucible_kg
from pourprint.routes.looks import MOST_PORE, OTHER_CELLS, PORES_WITHIN, look, sized
from pourprint.routes.pouring import FINE_CELLS

HOT = ("steel", "titanium")  # families that are poured so hot that they lose their heat before they run far
ROUNDING = 1e-3
UNIT = "handling.least_size"  # what is smaller was perhaps drawn in another unit
LOGIC = "by logic"  # the pedigree of what needs no measuring
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
        named = f": {in_words(self.key)}" if self.key else ""
        return f"{self.part.replace('_', ' ')}: {self.what}{measured}{place}{limit}{named}; {self.advice}"


def findings(route, job, rates=None):
    """What stands against each part of a job's kit on a route: tuple of Finding, refusals first but for a doubt about
    the unit, from which all else may follow.

    Parameters: `route` name; `job` Job; `rates` RateCard (default: the library's placeholder card). Of sizes and
    limits given as arrays the worst counts. Raises: InputError for a route that is none.
    """
    if route not in LEASTS:
        raise InputError(f"route must be one of {', '.join(LEASTS)}, not {route!r}.")
    rates = RateCard.default() if rates is None else rates
    found = [one for item in job.kit.parts for one in _of_part(item, route, job, rates)]
    if route not in job.alloy.refused and not allowed(route, job.alloy, rates):
        what = "this lab's card does not allow molten magnesium"
        advice = "take another metal; a lab with licence, cover gas and training writes 1 for it, under handling"
        found.append(Finding(Verdict.REFUSED, job.alloy.title, what, np.nan, np.nan, "-", "", LOGIC, advice))
    return tuple(sorted(found, key=lambda one: (one.key != UNIT, one.verdict is Verdict.WATCH, not one.key)))


def allowed(route, alloy, rates):
    """May this lab make an alloy on a route? Molten magnesium asks for the lab's own word on its card."""
    poured = route in BLIND_MOST and alloy.family == "magnesium"
    return route not in alloy.refused and not (poured and np.any(np.asarray(rates["handling.magnesium"]) < 1))


def refuse(route, job, rates):
    """Raise Infeasible with all that is refused, after a doubt about the unit; do nothing where nothing is."""
    found = findings(route, job, rates)
    if any(one.verdict is Verdict.REFUSED for one in found):
        raise Infeasible(*(f"{one}." for one in found if one.verdict is Verdict.REFUSED or one.key == UNIT))


def note(found):
    """What there is to watch, in one sentence; empty where nothing is. Parameter: `found` as from `findings`."""
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    return f"{found[0].verdict}: {found[0]}{more}" if found else ""


def table(found):
    """Findings as a pandas table, one row each."""
    import pandas as pd

    columns = ("verdict", "part", "what", "measured", "limit", "unit", "pedigree", "advice")
    rows = [{name: getattr(one, name) for name in columns} | {"verdict": str(one.verdict)} for one in found]
    return pd.DataFrame(rows, columns=columns)


# What is measured, by which field of Walls, against which least of the ledger, and what to do: {route: rows}.
SHELL_LEASTS = (
    ("wall", "thin", "shell.least_wall{hot}", "thicken it, or print the metal"),
    ("hollow", "narrow", "shell.least_opening", "widen it, or drill it afterwards"),
)
LEASTS = {
    "printed_pattern": SHELL_LEASTS,
    "tooled_pattern": SHELL_LEASTS,
    "printed_mould": (
        ("wall", "thin", "printed_mould.least_wall{hot}", "thicken it, or print the metal"),
        ("hollow", "narrow", "printed_mould.least_core", "widen it, or drill it afterwards"),
    ),
    "printed_metal": (
        ("wall", "thin", "printed_metal.least_wall", "thicken it, or it warps or is missing"),
        ("hollow", "narrow", "printed_metal.least_gap", "widen it, or powder stays inside"),
    ),
}
# What a part without a mesh leaves to estimates; the shell routes answer within 3 % of the mesh.
BY_NUMBERS = {
    "printed_mould": "each listed hole takes a core and the hottest section is estimated",
    "printed_metal": "overhangs, supports and nesting are estimated",
}
HIDDEN_MOST = (
    "surface beyond a straight tool's reach",
    "printed_metal.hidden_surface",
    "open it: supports and powder would stay there",
)
PORE = "unfed shrinkage"
PORE_ADVICE = "set a chill or feeder there, or thicken the way to it; so says a pour on trial by the default card"
GATE_ADVICE = "gate it there, or thicken the way to the gate; so says a pour on trial, fed by gate and runner alone"
SLOW_ADVICE = "pour hotter, widen the sprue, or thicken it; a pour on trial by the default card says so"
SLOW = ("time to fill over time to freeze", "printed_mould.fill_share", SLOW_ADVICE)
FED_ADVICE = "the plan counts one there: thicken the way to it, and save that"
UNSEEN = "not poured on trial, as its walls are too thin or its mass too large for a grid of reasonable size"
UNSEEN_ADVICE = "whether it fills and feeds is not known: pour one before you promise more"
SHELL_MOST = ("blind hole, depth over diameter", "shell.blind_depth", "let it through, or drill it afterwards")
CORE_MOST = ("core held at one end, length over diameter", "printed_mould.core_slenderness", "hold it at both ends")
BLIND_MOST = {"printed_pattern": SHELL_MOST, "tooled_pattern": SHELL_MOST, "printed_mould": CORE_MOST}


def _of_part(item, route, job, rates):
    part, walls = item.part, item.part.study(Walls)
    yield from _by_logic(part, walls, route)
    size = "longest side", UNIT, "check the unit, or make it larger"
    yield from _judged(part, -1, np.max(part.box_mm, axis=-1), *size, rates)
    hot = "_hot" if job.alloy.family in HOT else ""
    for what, field, key, advice in LEASTS[route]:
        measured, where = getattr(walls, f"{field}_mm"), getattr(walls, f"{field}_at")
        yield from _judged(part, -1, measured, what, key.format(hot=hot), advice, rates, where)
    mass_kg = part.volume_cm3 * job.alloy["density"] / 1000
    advice = "split it, or use a hoist and say so on the card"
    yield from _judged(part, 1, mass_kg, "mass", "handling.most_mass", advice, rates)
    if route in BLIND_MOST:
        yield from _of_pour(part, job.alloy, rates, route != "printed_mould")
        held_kg = np.min(crucible_kg(job, rates))
        if np.max(mass_kg) > held_kg:
            what = f"its {_short(np.max(mass_kg))} kg are more than the crucible holds"
            advice = "no casting is poured from two melts: split it"
            counted = np.max(mass_kg), held_kg, "kg", str(rates.entries["foundry.crucible"].pedigree)
            yield _by_reason(part, Verdict.REFUSED, what, advice, *counted)
        listed = max((hole.depth_mm / hole.diameter_mm for hole in item.sockets), default=0.0)
        seen = walls.deep > listed
        where = walls.deep_at if seen else None
        yield from _judged(part, 1, walls.deep if seen else listed, *BLIND_MOST[route], rates, where)
    else:
        yield from _judged(part, 1, walls.hidden_cm2, *HIDDEN_MOST, rates, walls.hidden_at)


def _of_pour(part, alloy, rates, shell):
    """What a pour on trial says; in a shell nothing is refused, since other gates and feeders may be tried."""
    found = look(part, alloy, OTHER_CELLS if shell else FINE_CELLS, shell)
    if found is None:
        return
    if np.isnan(found.share):
        yield _by_reason(part, Verdict.WATCH, UNSEEN, UNSEEN_ADVICE)
        return
    size, more, fed = sized(part, found, rates)

    def at(place_mm):
        return np.multiply(place_mm, size) if np.ndim(size) == 0 else None

    for pore in fed.over if np.any(more) else ():
        most_cm3 = float(np.max(pore.pore_cm3 * size**3))
        what = f"one feeder leaves {_short(most_cm3)} cm³ of shrinkage unfed, and it takes another"
        yield _by_reason(part, Verdict.WATCH, what, FED_ADVICE, most_cm3, unit="cm³", where=at(pore.place_mm))
    advice, sure = (GATE_ADVICE, 0.0) if shell else (PORE_ADVICE, 1 - PORES_WITHIN)
    for seen, counts in ((found, ~more), (fed, more)):
        for pore in seen.pores:
            cm3 = pore.pore_cm3 * size**3 * counts
            yield from _judged(part, 1, cm3, PORE, MOST_PORE, advice, rates, at(pore.place_mm), sure)
    # A mould of similar shape fills in a time that goes with its volume while the least sprue decides, freezes with the
    # square of its size.
    share, slow_at = np.where(more, fed.share, found.share), fed.slow_at if np.all(more) else found.slow_at
    yield from _judged(part, 1, share * size, *SLOW, rates, at(slow_at))


def _by_reason(part, verdict, what, advice, measured=np.nan, limit=np.nan, unit="-", pedigree=LOGIC, where=None):
    return Finding(verdict, part.name, what, float(measured), float(limit), unit, "", pedigree, advice, where)


def _by_logic(part, walls, route):
    """What needs no limit of the ledger."""
    if part.shape is None and route in BY_NUMBERS:
        advice = "cost may be off by 15 %, days by a weekend, as with the demo nodes: give its mesh where you can"
        yield _by_reason(part, Verdict.WATCH, f"known by numbers alone, so that {BY_NUMBERS[route]}", advice)
    if part.bodies > 1:
        what, advice = f"{part.bodies} separate bodies", "give each its own file, or take Kit.of_bodies(part)"
        yield _by_reason(part, Verdict.REFUSED, what, advice, part.bodies, 1)
    if walls.sealed:
        inside = "powder" if route == "printed_metal" else "sand and shell"
        what = f"{walls.sealed} sealed {'cavity' if walls.sealed == 1 else 'cavities'}"
        advice = f"{inside} would stay inside: open it, or fill it"
        yield _by_reason(part, Verdict.REFUSED, what, advice, walls.sealed, 0, where=walls.sealed_at)
    if route in BLIND_MOST and np.any(walls.sharp_mm > 0):
        counted = np.max(walls.sharp_mm), 0, "mm", Pedigree.PRACTICE.value, walls.sharp_at
        yield _by_reason(part, Verdict.WATCH, "sharp inner corners, length", SHARP_ADVICE, *counted)


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
