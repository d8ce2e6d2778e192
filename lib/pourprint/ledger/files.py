"""Files that are written whole or not at all, never over another one unasked, with cells that no spreadsheet runs."""

import io
import os
import tempfile
from pathlib import Path

from pourprint.ledger.errors import InputError


def check_free(*paths, replace=False):
    """Refuse paths at which files are, unless they may be replaced. Raises: InputError that names them."""
    if there := [str(path) for path in paths if Path(path).exists() and not replace]:
        raise InputError(f"{', '.join(there)} is there already: choose another name, or ask for it to be replaced.")


def write_whole(path, content, replace=False):
    """Write bytes under a draft's name in the same folder, then give the file its own name in one go.

    Parameters: `path`; `content` bytes; `replace` lets it take the place of a file that is there. Returns: Path.
    Raises: InputError for a file that is there, or a folder that cannot be written.
    """
    path = Path(path)
    check_free(path, replace=replace)
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as error:
        raise _unwritten(path, error) from None
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
        raise _unwritten(path, error) from None
    finally:
        Path(draft).unlink(missing_ok=True)
    return path


def _unwritten(path, error):
    return InputError(f"{str(path)!r} cannot be written ({error.strerror}): choose another name or folder.")


def harmless_csv(table):
    """A pandas table as CSV, its index left out, in which no cell or heading is a formula for a spreadsheet."""
    return table.map(_harmless).rename(columns=_harmless).to_csv(index=False)


def _harmless(cell):
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def workbook_of(tables):
    """Pandas tables {title: table} as the sheets of an XLSX file: bytes. Text stays text: nothing becomes a formula."""
    import pandas as pd

    buffer = io.BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    formats = {"date_format": "YYYY-MM-DD", "datetime_format": "YYYY-MM-DD HH:MM"}
    with pd.ExcelWriter(buffer, engine="xlsxwriter", engine_kwargs={"options": plain}, **formats) as book:
        head = book.book.add_format({"bold": True, "text_wrap": True})
        for title, table in tables.items():
            name, table = title[:31], table.reset_index() if table.index.name else table
            table.to_excel(book, sheet_name=name, index=False, header=False, startrow=1, inf_rep="infinite")
            sheet = book.sheets[name]
            sheet.write_row(0, 0, map(str, table), head)
            sheet.set_column(0, 0, 34)
            sheet.set_column(1, max(1, table.shape[1] - 1), 16)
            sheet.freeze_panes(1, 1)
    return buffer.getvalue()
