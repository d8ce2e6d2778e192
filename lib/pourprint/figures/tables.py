"""Tables to read: headings with units, one row of them; columns with words on the left, numbers on the right."""

import re
from html import escape
from numbers import Number
from pathlib import Path

import numpy as np
import pandas as pd

UNITS = {
    "mm": "mm", "cm2": "cm²", "cm3": "cm³", "h": "h", "s": "s", "min": "min", "kg": "kg", "kwh": "kWh", "um": "µm",
    "mpa": "MPa", "celsius": "°C", "deg": "°", "m3": "m³", "days": "d",
}  # fmt: skip
CLOSE = f"<style>{Path(__file__).with_suffix('.css').read_text(encoding='utf-8')}</style>"
# Columns that a page holds: a wider table of few rows is turned; and rows.
MOST_ACROSS, MOST_DOWN, LEFT = 9, 60, ' style="text-align:left"'


def heading(name):
    """A table's heading from a name of the library: its unit in brackets, no underscores but in keys of the ledger.

    >>> heading("pool_cm3"), heading("first_pass_yield"), heading("co2e_kg"), heading("shell.dip_time")
    ('pool [cm³]', 'first pass yield', 'CO₂e [kg]', 'shell.dip_time')
    """
    words, _, unit = str(name).rpartition("_")
    said = f"{words} [{UNITS[unit]}]" if words and unit in UNITS else str(name)
    return said if "." in said else said.replace("_", " ").replace("co2e", "CO₂e")


def cell(value):
    """How a table writes a value: numbers with at most four figures, or whole; dates to the minute; names in words;
    areas and volumes in m² and m³; nothing for none.

    >>> [cell(v) for v in (1234567.0, 12.3456, 0.00123, 4, float("nan"), "sand_printer", "EUR/cm3")]
    ['1,234,567', '12.35', '0.00123', '4', '', 'sand printer', 'EUR/cm³']
    """
    if pd.isna(value) is True:  # no number, no date
        return ""
    if hasattr(value, "strftime"):
        return f"{value:%a %d %b %Y %H:%M}" if hasattr(value, "hour") else f"{value:%d %b %Y}"
    if not isinstance(value, Number) or isinstance(value, bool):
        said = str(value)
        said = said.replace("_", " ") if said.isidentifier() else said
        return re.sub(r"(?<![^\W\d_])([cm]?m)([23])\b", lambda unit: unit[1] + "²³"[int(unit[2]) - 2], said)
    if not np.isfinite(value):
        return "∞"
    if abs(value) < 1e-9:  # what rounding leaves of nothing
        return "0"
    return (f"{value:,.0f}" if abs(value) >= 1000 or value == int(value) else f"{value:.4g}").replace("-", "−")


def table_html(table, caption=""):
    """A pandas table as HTML that fits a page.

    Parameters: `table` DataFrame or Series; its index heads the rows, but for one that only counts them; a column that
    says nothing in any row is left out; `caption`; of more rows than MOST_DOWN what is left out is said.
    Returns: HTML text, empty where nothing is left.
    """
    table = (table.to_frame() if table.ndim == 1 else table).dropna(axis=1, how="all")
    if not table.size:
        return ""
    table = table.T.rename(index=heading) if len(table) < MOST_ACROSS < table.shape[1] else table
    counts = table.index.dtype.kind == "i" and table.index.name is None
    table = table if counts else table.reset_index(names=[name or "" for name in table.index.names])
    left = [LEFT if any(isinstance(value, str) for value in table[name]) else "" for name in table]
    heads = (f'<th scope="col"{at}>{_lines(heading(name))}</th>' for name, at in zip(table, left, strict=True))
    body = ""
    for row in table.head(MOST_DOWN).itertuples(index=False, name=None):
        cells = [f"<td{at}>{_lines(cell(value))}</td>" for value, at in zip(row, left, strict=True)]
        if not counts:
            cells[0] = f'<th scope="row"{left[0]}>{_lines(cell(row[0]))}</th>'
        body += f"<tr>{''.join(cells)}</tr>"
    if len(table) > MOST_DOWN:
        body += f"<tr><td{LEFT} colspan={len(left)}>… {len(table) - MOST_DOWN} more rows</td></tr>"
    said = f"<caption{LEFT}>{escape(caption)}</caption>" if caption else ""
    return (
        f'{CLOSE}<table class="pourprint-table" style="text-align:right;line-height:1.4;max-width:100%">{said}'
        f"<thead><tr>{''.join(heads)}</tr></thead><tbody>{body}</tbody></table>"
    )


def _lines(said):
    """Text of a cell as HTML: lines below each other; keys of the ledger break behind dots and underscores."""
    return re.sub(r"(?<=[a-z])([._])(?=[a-z])", r"\1<wbr>", escape(said)).replace("\n", "<br>")
