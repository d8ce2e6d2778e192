"""Files that are written whole or not at all, and never over another one unasked."""

import os
import tempfile
from pathlib import Path

from pourprint.ledger.errors import InputError


def write_whole(path, content, replace=False):
    """Write bytes under a draft's name in the same folder, then give the file its own name in one go.

    Parameters: `path`; `content` bytes; `replace` lets it take the place of a file that is there. Returns: Path.
    Raises: InputError for a file that is there, or a folder that cannot be written.
    """
    path = Path(path)
    if path.exists() and not replace:
        raise InputError(f"{str(path)!r} is there already: choose another name, or ask for it to be replaced.")
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as error:
        raise InputError(f"{str(path)!r} cannot be written ({error.strerror}): choose another folder.") from None
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(draft, 0o644)  # a draft is private, the memo is to be read
        if replace:
            os.replace(draft, path)
        else:
            os.link(draft, path)  # unlike a rename it refuses a file that has come there in the meantime
    except OSError as error:
        raise InputError(f"{str(path)!r} cannot be written ({error.strerror}): choose another name.") from None
    finally:
        Path(draft).unlink(missing_ok=True)
    return path
