"""The workbook: what a memo decides, every number of its tables with its name, unit, pedigree and source, and the
tables as sheets."""

import re
from numbers import Number

import numpy as np
import pandas as pd

from pourprint.decide.pedigree import pedigree
from pourprint.figures.tables import heading
from pourprint.ledger.files import workbook_of
from pourprint.report.two_decisions import facts

TOLD_BY = ("part", "feature", "what", "setting")  # columns that tell rows of one name apart
COMPUTED = "computed from the sheet “ledger”, the parts, and what was asked"


def workbook(memo):
    """A memo as XLSX: bytes."""
    said = pd.Series(facts(memo) | {"recommendation": memo.recommendation}, name="decision").rename_axis("what")
    ledger = pedigree(memo.rates).rename_axis("number")
    return workbook_of({"decision": said.to_frame(), "numbers": _numbers(memo), "ledger": ledger, **memo.tables})


def _numbers(memo):
    """Every number of the memo's tables in one list: name, value, unit, pedigree, source."""
    rows = []
    for title, table in memo.tables.items():
        table = table if table.index.name else table.rename_axis("row")
        for name, record in zip(table.index, table.to_dict("records"), strict=True):
            which = ": ".join([str(name), *(str(record[of]) for of in TOLD_BY if of in record)])
            for column, value in record.items():
                if isinstance(value, Number) and not isinstance(value, bool) and not np.isnan(value):
                    count = isinstance(value, int)  # of pieces, whatever they are measured in
                    unit = _unit(heading(column)) or record.get("unit") or _unit("" if count else which) or "-"
                    known = record.get("pedigree") or "computed", record.get("source") or COMPUTED
                    rows.append((f"{title}: {which}: {column}", value, unit, *known))
    return pd.DataFrame(rows, columns=["name", "value", "unit", "pedigree", "source"]).set_index("name")


def _unit(heading):
    return "".join(re.findall(r"\[(.+)\]$", str(heading)))
