"""One function over many cases: in chunks on one machine, or on a dask cluster with the same call and numbers.

A sweep can be watched and stopped. With a folder, finished chunks are kept by joblib, named by function, cases and this
library's own text: what was stopped or killed goes on where it was, and another study finds none of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pourprint.decide.failures import expected
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.parts.kept import edition
from pourprint.parts.kits import Kit
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible, why_none
from pourprint.routes import plan_all


class Stopped(InputError):
    """A sweep was stopped before its end; the message says how to go on."""


def sweep(function, cases, chunk=1000, folder=None, client=None, progress=None, stop=None):
    """Evaluate a function over many cases, some at a time.

    Parameters: `function` {name: (m, …) array} → array (m, …) or {name: array (m, …)}, the same for equal cases;
    `cases` {name: (n, …)}; `chunk` cases at a time [-]; `folder` of your own where finished chunks are kept, as pickles
    (what the function depends on must stand in it or in the library); `client` a dask.distributed Client (with either,
    the function and its results must be picklable); `progress` called with (chunks done, chunks); `stop` called between
    chunks, True stops. Returns: {name: (n, …)}, a lone array as {"result": …}. Raises: Stopped; InputError.
    """
    cases = _checked(cases)
    check_numbers(arrays=False, chunk=chunk)
    n, chunk = len(next(iter(cases.values()))), int(chunk)
    pieces = [{name: array[i : i + chunk] for name, array in cases.items()} for i in range(0, n, chunk)]
    ask, found, tell = _kept(folder), {}, progress or (lambda done, chunks: None)
    here = ((i, ask(function, piece, edition())) for i, piece in enumerate(pieces))  # one after the other
    results = _there(ask, function, pieces, client) if client else here
    tell(0, len(pieces))
    try:
        while len(found) < len(pieces):
            if stop is not None and stop():
                how = f"call again with folder={str(folder)!r} to go on" if folder else "give a folder to keep chunks"
                raise Stopped(f"stopped after {len(found)} of {len(pieces)} chunks; {how}.")
            i, result = next(results)
            found[i] = _named(result, pieces[i])
            tell(len(found), len(pieces))
    finally:
        results.close()
    return {name: np.concatenate([found[i][name] for i in range(len(pieces))]) for name in found[0]}


def _answer(function, piece, library):
    """The function's result; `library` tells the library's editions apart where it is kept."""
    return function(piece)


def _kept(folder):
    """`_answer`, which finds again in the folder what it answered before. Raises: InputError."""
    if folder is None:
        return _answer
    try:
        from joblib import Memory

        return Memory(folder, verbose=0).cache(_answer)
    except ImportError:
        raise InputError('to keep chunks in a folder, joblib is needed: pip install "pourprint[study]".') from None
    except OSError as error:
        raise InputError(f"folder {str(folder)!r} cannot be used for chunks ({error}).") from None


def _there(ask, function, pieces, client):
    """(number, result) of each chunk as the cluster's workers finish it."""
    from distributed import as_completed

    futures = {client.submit(ask, function, piece, edition(), pure=False): i for i, piece in enumerate(pieces)}
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


@dataclass(frozen=True)
class Kits:
    """Call with {"path": (m,) paths of kits}: {"best", "unit_cost" with failures [currency], "days", "note"} each (m,).

    `alloy` name; `quantity` of kits; `rates` RateCard; `start` date and time. A kit that cannot be read or made keeps
    its line, with why.
    """

    alloy: str
    quantity: int
    rates: RateCard
    start: str

    def __call__(self, cases):
        rows = [self._one(str(path)) for path in cases["path"]]
        names, columns = ("best", "unit_cost", "days", "note"), zip(*rows, strict=True)
        return {name: np.array(column) for name, column in zip(names, columns, strict=True)}

    def _one(self, path):
        try:
            plans = plan_all(Job(Kit.load(path), self.alloy, self.quantity, start=self.start), self.rates)
            able = feasible(plans)
            if not able:
                return "", np.nan, np.nan, why_none(plans)
            means = {route: expected(plan) for route, plan in able.items()}
        except InputError as error:
            return "", np.nan, np.nan, str(error)
        best = min(means, key=lambda route: means[route].cost)
        return able[best].title, means[best].cost / self.quantity, means[best].days, ""
