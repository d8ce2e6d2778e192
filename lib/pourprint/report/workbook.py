"""The workbook: every number of a memo with its name, unit, pedigree and source, and the memo's tables as sheets."""

import re
from numbers import Number

import numpy as np

from pourprint.decide.pedigree import pedigree
from pourprint.ledger.files import workbook_of

COMPUTED = "computed from the sheet “ledger”"


def workbook(memo):
    """A memo as XLSX: bytes."""
    ledger = pedigree(memo.rates).rename_axis("number")
    return workbook_of({"numbers": _numbers(memo), "ledger": ledger, **memo.tables})


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
                    known = record.get("pedigree") or "computed", record.get("source") or COMPUTED
                    rows.append((f"{title}: {name}: {column}", value, unit, *known))
    return pd.DataFrame(rows, columns=["name", "value", "unit", "pedigree", "source"]).set_index("name")


def _unit(heading):
    return "".join(re.findall(r"\[(.+)\]$", str(heading)))
