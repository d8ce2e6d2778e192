"""A lab's own records: what steps really took and what failed, set against the table's range.

A log is a CSV with the columns date, what, pieces, time, unit, failed, note. `what` is a key of the rate card: a
step time in h or s, of which `time` is the time of all `pieces` together; or a first-pass yield, of which `failed`
pieces out of `pieces` failed.

Conjugate updating, in closed form:
- A yield y is Beta(a, b) before; after g good and f failed pieces it is Beta(a + g, b + f).
- A time scatters from piece to piece as Gamma with shape k and mean m; 1/m is Gamma before, so m is inverse Gamma
  (α, β); after n pieces that took T together it is (α + n·k, β + k·T). The mean of m is then the mean of the
  table's value and the log's mean, weighted by what each is worth in pieces.
The prior comes from the table: mean = value, standard deviation that of the triangle between low and high; the
posterior goes back as the triangle of its own standard deviation (what low and high mean: `ranges`). Single pieces
are taken to scatter as widely as the range, so the table is worth little more than one piece.
Source: conjugate families, Raiffa & Schlaifer 1961, Applied Statistical Decision Theory (from memory).
Not valid where pieces of one row were chosen for their result, or where the process changed within the log.
"""

import csv
import datetime as dt
import io
from dataclasses import dataclass, replace

import numpy as np

from pourprint.ledger.checks import existing_file, nearest
from pourprint.ledger.entries import Entry, Kind, Pedigree
from pourprint.ledger.errors import InputError
from pourprint.ledger.ranges import triangle_spread

COLUMNS = ("date", "what", "pieces", "time", "unit", "failed", "note")
MOST = 1e9  # pieces or hours of one row
FAR = 10.0  # a time this many times beyond the table's range is taken for a slip of the pen or the unit


@dataclass(frozen=True)
class Record:
    """One good row: `row` is its line in the file; `time` [the entry's unit] of all `pieces`, or `failed` of them."""

    row: int
    date: dt.date
    what: str
    pieces: int
    time: float | None
    failed: int | None
    note: str


@dataclass(frozen=True)
class LabLog:
    """What a log holds: `records` that can be used, and `refused` {line of the file: why not}."""

    name: str
    records: tuple[Record, ...]
    refused: dict

    @classmethod
    def load(cls, path, rates):
        """Read a log and check each row against a rate card. No row is dropped: it is used or refused by number.

        Raises: InputError when the file as a whole cannot be read.
        """
        path = existing_file(path, (".csv",))
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (UnicodeDecodeError, OSError):
            raise InputError(f"{path.name} cannot be read as text in UTF-8: save it as CSV UTF-8.") from None
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        return cls(path.name, *_read(path.name, reader, rates))

    def __str__(self):
        lines = [f"{self.name}: rows used {len(self.records)}, refused {len(self.refused)}."]
        return "\n".join([*lines, *(f"  row {row}: {why}" for row, why in self.refused.items())])


def _read(name, reader, rates):
    """([Record], {row: reason}) of a CSV; lines that are empty or begin with # are not rows."""
    rows = ((reader.line_num, [cell.strip() for cell in cells]) for cells in reader)
    rows = ((row, cells) for row, cells in rows if any(cells) and not cells[0].startswith("#"))
    records, refused, seen = [], {}, {}
    try:
        _, head = next(rows, (0, None))
        if head is None:
            raise InputError(f"{name} is empty; it must begin with the columns {', '.join(COLUMNS)}.")
        if tuple(map(str.lower, head)) != COLUMNS:
            hint = " Separate them by commas, not semicolons." if ";" in head[0] else ""
            raise InputError(f"{name} must begin with the columns {', '.join(COLUMNS)}, not {head}.{hint}")
        for row, cells in rows:
            try:
                record = _record(row, cells, rates)
                twin = seen.setdefault(replace(record, row=0), row)
                if twin != row:
                    raise InputError(f"the same as row {twin}: entered twice? Add a note that tells them apart")
                records.append(record)
            except InputError as error:
                refused[row] = str(error)
    except csv.Error as error:
        raise InputError(f"{name} is not a CSV file: {error}.") from None
    return tuple(records), refused


def _record(row, cells, rates):
    """One Record. Raises: InputError with every fault of the row."""
    if len(cells) != len(COLUMNS):
        raise InputError(f"has {len(cells)} cells, the header {len(COLUMNS)}: a comma in a number or a note?")
    cells = dict(zip(COLUMNS, cells, strict=True))
    faults, what = [], cells["what"]

    def number(column, kind, least):
        text, wanted = cells[column], "a whole number" if kind is int else "a number"
        try:
            value = kind(text or "nan")
        except ValueError:
            value = np.nan
        if least <= value <= MOST:
            return value
        if text:
            faults.append(f'{column} must be {wanted} of at least {least:g} and at most {MOST:g}, not "{text[:40]}"')

    try:
        date = dt.date.fromisoformat(cells["date"])
    except ValueError:
        date = None
        faults.append(f'date must be such as 2026-10-05, not "{cells["date"]}"')
    pieces, time, failed = number("pieces", int, 1), number("time", float, 0), number("failed", int, 0)
    if not cells["pieces"]:
        faults.append("pieces is missing: how many were made or tried?")
    entry = rates.entries.get(what)
    if entry is None:
        faults.append(f'the rate card has no "{what}"{nearest(what, rates.entries)}')
    elif entry.kind is Kind.YIELD:
        if not cells["failed"] or cells["time"]:
            faults.append("a yield needs failed, and no time")
        elif pieces and failed and failed > pieces:
            faults.append(f"{failed} failed of {pieces}: more than there were")
    elif entry.kind is Kind.TIME:
        if not cells["time"] or cells["failed"]:
            faults.append("a step time needs time, and no failed (failures have a row of their own)")
        elif cells["unit"] != entry.unit:
            faults.append(f'unit must be "{entry.unit}" as in the rate card, not "{cells["unit"]}"')
        elif pieces and time is not None and not entry.low / FAR <= time / pieces <= entry.high * FAR:
            faults.append(
                f"{time / pieces:g} {entry.unit} a piece is far from the table's {entry.low:g} to {entry.high:g}: "
                "a slip in time, pieces or unit?"
            )
    else:
        faults.append(f'"{what}" is neither a step time in h or s nor a yield')
    if faults:
        raise InputError("; ".join(faults))
    return Record(row, date, what, pieces, time, failed, cells["note"])


# Beliefs --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class YieldBelief:
    """A first-pass yield as Beta(a, b)."""

    a: float
    b: float

    @classmethod
    def from_entry(cls, entry):
        """The belief that an entry's value and range say. Raises: InputError for a range no Beta can hold."""
        worth = entry.value * (1 - entry.value) / _spread(entry, np.sqrt(entry.value * (1 - entry.value))) ** 2 - 1
        return cls(entry.value * worth, (1 - entry.value) * worth)

    def after(self, pieces, failed):
        """The belief after `failed` of `pieces` failed."""
        return YieldBelief(self.a + pieces - failed, self.b + failed)

    @property
    def worth(self):
        """How many tried pieces the belief is worth [-]."""
        return self.a + self.b

    @property
    def mean(self):
        """Mean of the yield [-]."""
        return self.a / (self.a + self.b)

    def distribution(self):
        """The belief as a frozen scipy.stats distribution."""
        from scipy.stats import beta

        return beta(self.a, self.b)


@dataclass(frozen=True)
class TimeBelief:
    """A mean step time as inverse Gamma(α, β); single pieces scatter as Gamma of shape `k` [-] around it."""

    alpha: float
    beta: float
    k: float

    @classmethod
    def from_entry(cls, entry):
        """The belief that an entry's value and range say. Raises: InputError for an entry without a range."""
        k = (entry.value / _spread(entry)) ** 2
        return cls(2 + k, entry.value * (1 + k), k)

    def after(self, pieces, time):
        """The belief after `pieces` took `time` together."""
        return TimeBelief(self.alpha + pieces * self.k, self.beta + self.k * time, self.k)

    @property
    def worth(self):
        """How many measured pieces the belief is worth [-]."""
        return (self.alpha - 1) / self.k

    @property
    def mean(self):
        """Mean of the mean time [the entry's unit]."""
        return self.beta / (self.alpha - 1)

    def distribution(self):
        """The belief as a frozen scipy.stats distribution."""
        from scipy.stats import invgamma

        return invgamma(self.alpha, scale=self.beta)


def _spread(entry, most=np.inf):
    """Standard deviation of an entry's triangle. Raises: InputError where it is nothing, or not below `most`."""
    spread = triangle_spread(entry.value - entry.low, entry.high - entry.value)
    if not (entry.value and 0 < spread < most):
        raise InputError(f"no belief can be made of {entry.value} in {entry.low} to {entry.high}: give a range.")
    return spread


def _ends(belief, most):
    """Low and high of the triangle over a belief's mean that spreads as much and leans as the belief does, cut at
    nothing and at `most`."""
    shape, mean = belief.distribution(), belief.mean
    left, right = np.abs(shape.ppf((0.025, 0.975)) - mean)
    wider = shape.std() / triangle_spread(left, right)
    return max(mean - wider * left, 0.0), min(mean + wider * right, most)


@dataclass(frozen=True)
class Update:
    """One key before and after the log: `prior` and `posterior` beliefs, `data` (pieces, time or failed),
    `entry` of the card, and the `updated` entry."""

    key: str
    entry: Entry
    prior: YieldBelief | TimeBelief
    data: tuple[int, float]
    posterior: YieldBelief | TimeBelief
    updated: Entry

    @property
    def seen(self):
        """What the log alone says: share of good pieces [-], or mean time a piece [the entry's unit]."""
        pieces, amount = self.data
        return 1 - amount / pieces if self.entry.kind is Kind.YIELD else amount / pieces


def updates(log, rates, pedigree=Pedigree.PRACTICE):
    """Set a log against a card: {key: Update}, in the order in which keys first appear.

    Parameters: `log` LabLog; `rates` the RateCard it was read with; `pedigree` of the updated entries.
    """
    found = {}
    for key in dict.fromkeys(record.what for record in log.records):
        rows = [record for record in log.records if record.what == key]
        pieces = sum(record.pieces for record in rows)
        entry = rates.entries[key]
        failing = entry.kind is Kind.YIELD
        amount = sum(record.failed if failing else record.time for record in rows)
        prior = (YieldBelief if failing else TimeBelief).from_entry(entry)
        posterior = prior.after(pieces, amount)
        low, high = _ends(posterior, 1.0 if failing else np.inf)
        first, last = (pick(record.date for record in rows) for pick in (min, max))
        plural, was = "s" * (pieces != 1), f"{entry.value:g} ({entry.low:g} to {entry.high:g}, {entry.pedigree})"
        source = f"{log.name}: {pieces} piece{plural}, {first} to {last}, over {was}"
        ends = {"value": posterior.mean, "low": low, "high": high}
        now = {name: float(f"{number:.4g}") for name, number in ends.items()}  # as it is written into a card
        updated = entry.model_copy(update={**now, "pedigree": Pedigree(pedigree), "source": source, "date": last})
        found[key] = Update(key, entry, prior, (pieces, amount), posterior, updated)
    return found


def updated_card(log, rates, without_refused=False, pedigree=Pedigree.PRACTICE):
    """The lab's card with the log's step times and yields: a new RateCard, to be saved to a new file.

    Parameters: as for `updates`; `without_refused` goes on although rows were refused. Raises: InputError that
    lists the refused rows otherwise.
    """
    if log.refused and not without_refused:
        raise InputError(f"{log}\nMend these rows and load again, or go on with without_refused=True.")
    changed = {key: update.updated for key, update in updates(log, rates, pedigree).items()}
    return replace(rates, entries={**rates.entries, **changed})


def update_table(found):
    """Prior, data and posterior of each key as a pandas table; low and high are the ends of a triangle.

    Parameters: `found` {key: Update}. `worth` is what the table's range counts for, in pieces.
    """
    import pandas as pd

    columns = ["unit", "table", "table_low", "table_high", "worth", "pieces", "seen", "now", "now_low", "now_high"]
    rows = {
        key: (
            *(u.entry.unit, u.entry.value, u.entry.low, u.entry.high, u.prior.worth, u.data[0], u.seen),
            *(u.updated.value, u.updated.low, u.updated.high),
        )
        for key, u in found.items()
    }
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("key")
