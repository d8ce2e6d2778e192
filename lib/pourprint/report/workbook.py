"""The workbook: every number of a memo with its name, unit, pedigree and source, and the memo's tables as sheets."""

import io
import re
from numbers import Number

import numpy as np

from pourprint.decide.pedigree import pedigree

COMPUTED = "computed from the sheet “ledger”"


def workbook(memo):
    """A memo as XLSX: bytes. Text is written as text: nothing from a file becomes a formula or a link."""
    import xlsxwriter

    buffer = io.BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(buffer, plain)
    head = book.add_format({"bold": True, "text_wrap": True})
    sheets = {"numbers": _numbers(memo), "ledger": pedigree(memo.rates).rename_axis("number"), **memo.tables}
    for title, table in sheets.items():
        sheet = book.add_worksheet(title[:31])
        table = table.reset_index() if table.index.name else table
        for column, name in enumerate(table):
            sheet.write_string(0, column, str(name), head)
            for row, value in enumerate(table[name], start=1):
                _write(sheet, row, column, value)
        sheet.set_column(0, 0, 34)
        sheet.set_column(1, max(1, table.shape[1] - 1), 16)
        sheet.freeze_panes(1, 1)
    book.close()
    return buffer.getvalue()


def _write(sheet, row, column, value):
    if isinstance(value, Number) and not isinstance(value, bool):
        if np.isfinite(value):
            sheet.write_number(row, column, float(value))
        elif not np.isnan(value):
            sheet.write_string(row, column, "infinite")
    elif value is not None:
        sheet.write_string(row, column, f"{value:%Y-%m-%d %H:%M}" if hasattr(value, "hour") else str(value))


def _numbers(memo):
    """Every number of the memo's tables in one list: name, value, unit, pedigree, source."""
    import pandas as pd

    rows = []
    for title, table in memo.tables.items():
        table = table if table.index.name else table.rename_axis("row")
        for name, record in zip(table.index, table.to_dict("records"), strict=True):
            for column, value in record.items():
                if isinstance(value, Number) and not isinstance(value, bool) and not np.isnan(value):
                    unit = _unit(column) or _unit(name) or record.get("unit") or ""
                    known = record.get("pedigree") or "computed"
                    source = record.get("source") or COMPUTED
                    rows.append((f"{title}: {name}: {column}", value, unit, known, source))
    return pd.DataFrame(rows, columns=["name", "value", "unit", "pedigree", "source"]).set_index("name")


def _unit(heading):
    found = re.search(r"\[(.+)\]$", str(heading))
    return found.group(1) if found else ""
