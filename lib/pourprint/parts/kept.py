"""Studies of meshes, kept on disk: a part that was studied before, by any kernel, is not measured again.

A study is a dataclass of this library with numbers, texts, arrays, tuples and dataclasses in it; its file holds the
arrays and, as JSON, how they are put together: nothing in a file is ever run. Files are named by the mesh's content,
the study with its inputs, and the library's own text, so that no change of either finds an old answer. They lie in
the user's cache folder, or where POURPRINT_CACHE says (a class may share one; empty: keep nothing), and the oldest go
when they pass LARGEST_MB. Where nothing can be written, nothing is kept. Studies of the demo kit come with the library.
"""

import json
import os
from contextlib import suppress
from dataclasses import fields, is_dataclass
from functools import cache
from hashlib import blake2b
from importlib import import_module
from io import BytesIO
from pathlib import Path
from time import perf_counter

import numpy as np

from pourprint.ledger.errors import InputError
from pourprint.ledger.files import write_whole

LARGEST_MB = 64
SHIPPED = Path(__file__).with_name("kept.npz")


WORTH_S = 0.05  # what is quicker than this is quicker made again than found on a disk


def made_once(content, kind, make):
    """What `make()` makes of a mesh's content (bytes) for a kind of study, or what was kept when it was first made."""
    name = name_of(content, kind)
    found = find(name)
    if found is None:
        start = perf_counter()
        found = make()
        if perf_counter() - start > WORTH_S:
            _keep(name, found)
    return found


def name_of(content, kind):
    """The name of a study: of a mesh's content (bytes), by a kind as `Part.study` takes it."""
    said = f"{kind.__module__}.{kind.__qualname__}" if isinstance(kind, type) else repr(kind)
    return blake2b(content + said.encode(), digest_size=16).hexdigest()


def find(name):
    """The study of that name, None where it is not kept."""
    with suppress(Exception):  # whatever may be wrong with a file: then the study is made anew
        if name in _shipped():
            return built(json.loads(str(_shipped()[name])), _shipped())
        with np.load(_folder() / f"{edition()}-{name}.npz") as held:
            return built(json.loads(str(held[name])), held)
    return None


@cache
def _shipped():
    """The studies that come with the library, its table of contents read once; empty where they are not there."""
    return np.load(BytesIO(SHIPPED.read_bytes())) if SHIPPED.is_file() else {}


def _keep(name, study):
    """Keep a study by its name for later kernels; does nothing where it cannot."""
    folder = _folder()
    with suppress(OSError, InputError):
        if folder:
            folder.mkdir(parents=True, exist_ok=True)
            write(folder / f"{edition()}-{name}.npz", {name: study})
            files = sorted(folder.glob("*.npz"), key=lambda path: path.stat().st_mtime)
            over = sum(path.stat().st_size for path in files) - LARGEST_MB * 1e6
            while over > 0 and len(files) > 1:
                over -= files[0].stat().st_size
                files.pop(0).unlink(missing_ok=True)


def write(path, studies):
    """Write {name: study} to one file, there whole or not at all, whoever else writes it. Raises: InputError."""
    arrays, file = {}, BytesIO()
    for name, study in studies.items():
        arrays[name] = np.array(json.dumps(_taken_apart(study, name, arrays)))
    np.savez_compressed(file, **arrays)
    write_whole(path, file.getvalue(), replace=True)


def _taken_apart(value, name, arrays):
    if is_dataclass(value):
        parts = {field.name: _taken_apart(getattr(value, field.name), name, arrays) for field in fields(value)}
        return {"class": [type(value).__module__, type(value).__name__], "fields": parts}
    if isinstance(value, np.ndarray):
        arrays[key := f"{name}.{len(arrays)}"] = value
        return {"array": key}
    if isinstance(value, tuple):
        return [_taken_apart(item, name, arrays) for item in value]
    return value.item() if isinstance(value, np.generic) else value


def built(tree, held):
    """What `write` took apart, put together again. Raises: ValueError for what is no dataclass of this library."""
    if isinstance(tree, list):
        return tuple(built(item, held) for item in tree)
    if not isinstance(tree, dict):
        return tree
    if "array" in tree:
        return held[tree["array"]]
    module, name = tree["class"]
    made = getattr(import_module(module), name) if module.startswith("pourprint.") else None
    if not (isinstance(made, type) and is_dataclass(made)):
        raise ValueError(f"{name} is no dataclass of this library")
    return made(**{key: built(value, held) for key, value in tree["fields"].items()})


def _folder():
    """Where studies are kept, None for nowhere."""
    said = os.environ.get("POURPRINT_CACHE")
    if said is not None:
        return Path(said) if said else None
    with suppress(RuntimeError):  # no home
        usual = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or Path.home() / ".cache"
        return Path(usual) / "pourprint"
    return None


@cache
def edition():
    """The library's version: a digest of all text that a study may depend on, so that no edit is overlooked."""
    rooms = (Path(__file__).parents[1] / room for room in ("ledger", "parts", "process"))
    texts = sorted(path for room in rooms for path in room.rglob("*") if path.suffix in (".py", ".toml"))
    return blake2b(b"".join(path.read_bytes() for path in texts), digest_size=8).hexdigest()
