"""One function over many cases: in chunks on one machine, or on a dask cluster with the same call and numbers.

A sweep can be watched, stopped, and, with a folder, killed and taken up again without losing finished chunks.
"""

import hashlib
import json
import os
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pourprint.decide.inputs import outcomes_of
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.routes import ROUTES, plan


class Stopped(InputError):
    """A sweep was stopped before its end; the message says how to go on."""


def print_bar(done, chunks):
    """A progress bar of text, for `sweep(…, progress=print_bar)`."""
    filled = 30 * done // chunks
    end = "\n" if done == chunks else ""
    print(f"\r[{'#' * filled}{'.' * (30 - filled)}] {done} of {chunks} chunks", end=end, flush=True)


def sweep(function, cases, chunk=1000, folder=None, client=None, progress=None, stop=None, about=""):
    """Evaluate a function over many cases, some at a time.

    Parameters: `function` {name: (m, …) array} → array (m, …) or {name: array (m, …)}, the same for equal cases;
    `cases` {name: (n, …)}; `chunk` cases at a time [-]; `folder` where finished chunks are kept, each written whole
    or not at all, so that the same call goes on where it was stopped or killed; `client` a dask.distributed Client
    (then the function and its results must be picklable); `progress` called with (chunks done, chunks); `stop`
    called between chunks, True stops; `about`: text that names what else the results depend on (a rate card's date).
    Returns: {name: (n, …)}, a lone array as {"result": …}. Raises: Stopped; InputError, also when the folder holds
    another study: other cases, function, chunk or `about`, or a first finished chunk that comes out different today.
    """
    cases = _checked(cases)
    check_numbers(arrays=False, chunk=chunk)
    n, chunk = len(next(iter(cases.values()))), int(chunk)
    pieces = [{name: array[i : i + chunk] for name, array in cases.items()} for i in range(0, n, chunk)]
    kept = _Kept(folder, _fingerprint(function, cases, chunk, about))
    found = kept.load(len(pieces))
    _check_still_the_same(function, pieces, found, folder)
    tell = progress or (lambda done, chunks: None)
    tell(len(found), len(pieces))
    left = {i: piece for i, piece in enumerate(pieces) if i not in found}
    here = ((i, function(piece)) for i, piece in left.items())
    results = here if client is None else _there(function, left, client)
    try:
        while len(found) < len(pieces):
            if stop is not None and stop():
                how = f"call again with folder={str(folder)!r} to go on" if folder else "give a folder to keep chunks"
                raise Stopped(f"stopped after {len(found)} of {len(pieces)} chunks; {how}.")
            i, result = next(results)
            found[i] = _named(result, pieces[i])
            kept.save(i, found[i])
            tell(len(found), len(pieces))
    finally:
        results.close()
    return {name: np.concatenate([found[i][name] for i in range(len(pieces))]) for name in found[0]}


def _there(function, left, client):
    """(number, result) of each chunk as the cluster's workers finish it."""
    from distributed import as_completed

    futures = {client.submit(function, piece, pure=False): i for i, piece in left.items()}
    try:
        yield from ((futures[future], future.result()) for future in as_completed(futures))
    finally:  # also when the sweep is stopped or a chunk fails
        client.cancel([*futures])


def _checked(cases):
    if not isinstance(cases, Mapping) or not cases:
        raise InputError(f"cases must be a table {{name: array}} with at least one name, not {cases!r}.")
    arrays = {str(name): np.asarray(array) for name, array in cases.items()}
    lengths = {name: array.shape[0] if array.ndim else 0 for name, array in arrays.items()}
    if len({*lengths.values()}) != 1 or 0 in lengths.values():
        raise InputError(f"cases must all be arrays of one length, at least 1, not of {lengths}.")
    if objects := [name for name, array in arrays.items() if array.dtype.hasobject]:
        raise InputError(f"cases {', '.join(objects)} must be numbers or text, not other objects.")
    return arrays


def _named(result, piece):
    """A chunk's result as {name: array}, one entry a case. Raises: InputError."""
    table = result if isinstance(result, Mapping) else {"result": result}
    table = {str(name): np.asarray(array) for name, array in table.items()}
    length = len(next(iter(piece.values())))
    if not table or any(array.ndim == 0 or len(array) != length for array in table.values()):
        shapes = {name: array.shape for name, array in table.items()}
        raise InputError(f"the function must return one entry a case, {length} here, but returned shapes {shapes}.")
    return table


def _fingerprint(function, cases, chunk, about):
    """What a study is told apart by, as a table of texts."""
    inner = getattr(function, "func", function)  # of functools.partial
    name = getattr(inner, "__qualname__", type(inner).__qualname__)
    digest = hashlib.sha256()
    for key in sorted(cases):
        digest.update(f"{key} {cases[key].dtype.str} {cases[key].shape} ".encode())
        digest.update(np.ascontiguousarray(cases[key]).tobytes())
    return {"cases": digest.hexdigest(), "function": name, "chunk": str(chunk), "about": str(about)}


def _check_still_the_same(function, pieces, found, folder):
    """Compute one finished chunk again: what a name cannot tell, its numbers do. Raises: InputError."""
    if not found:
        return
    first = min(found)
    again = _named(function(pieces[first]), pieces[first])
    try:
        np.testing.assert_equal(found[first], again)
    except AssertionError:
        raise InputError(
            f"{str(folder)!r} holds chunks of another study: chunk {first} comes out different today, so rates, "
            "models or versions have changed. Choose an empty folder, or delete this one."
        ) from None


class _Kept:
    """Finished chunks in a folder; without a folder, nothing is kept."""

    def __init__(self, folder, study):
        self.folder = None if folder is None else Path(folder)
        if self.folder is None:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            note = self.folder / "study.json"
            if not note.exists():
                if any(self.folder.iterdir()):
                    raise InputError(f"folder {str(folder)!r} holds other files: choose an empty one for the chunks.")
                self._write(note, lambda file: file.write(json.dumps(study, indent=1).encode()))
            there = json.loads(note.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            if isinstance(error, InputError):
                raise
            raise InputError(f"folder {str(folder)!r} cannot be used for chunks ({error}).") from None
        if other := [key for key in study if there.get(key) != study[key]]:
            raise InputError(
                f"{str(folder)!r} holds chunks of another study: its {', '.join(other)} differ. Choose an empty "
                "folder, or delete this one to begin anew."
            )

    def load(self, chunks):
        """The chunks that are there: {number: {name: array}}; a damaged file counts as not there."""
        found = {}
        for i in range(chunks if self.folder else 0):
            try:
                with np.load(self._path(i)) as file:
                    found[i] = {name: file[name] for name in file.files}
            except (OSError, ValueError, EOFError, zipfile.BadZipFile):
                continue
        return found

    def save(self, i, table):
        if self.folder:
            self._write(self._path(i), lambda file: np.savez(file, **table))

    def _path(self, i):
        return self.folder / f"chunk_{i:06d}.npz"

    def _write(self, path, write):
        """Write a file whole or not at all: under another name first, then renamed in one go."""
        draft = path.with_suffix(f".{os.getpid()}.part")
        with draft.open("wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)


# Catalogues -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Catalogue:
    """Plans for thousands of different parts known by numbers, each a job of its own: a function for `sweep`.

    `alloy` name; `quantity`, `batch_size` [-]; `rates` RateCard; `routes` names. Call with arrays (m,) volume_cm3,
    area_cm2, box_x_mm, box_y_mm, box_z_mm. Returns {"unit_cost printed_metal": (m,) [currency], "days …": (m,) [d],
    …}, infinite where a route cannot make a part. Raises: InputError for parts that no solid can be.
    """

    alloy: str = "AlSi7Mg"
    quantity: int = 1
    batch_size: int | None = None
    rates: RateCard = field(default_factory=RateCard.default)
    routes: tuple[str, ...] = tuple(ROUTES)

    def __call__(self, cases):
        found = {}
        for route in self.routes:
            cost, days = outcomes_of(lambda arrays, route=route: self._plan(route, arrays), cases)
            found |= {f"unit_cost {route}": cost / self.quantity, f"days {route}": np.array(days)}
        return found

    def _plan(self, route, arrays):
        box = tuple(arrays[f"box_{axis}_mm"] for axis in "xyz")
        part = Part.from_numbers("catalogue part", arrays["volume_cm3"], arrays["area_cm2"], box)
        return plan(route, Job(part, self.alloy, self.quantity, self.batch_size), self.rates)
