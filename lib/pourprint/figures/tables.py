"""Tables to read: headings with units, words on the left, numbers on the right, one row of headings."""

from html import escape
from numbers import Number

import numpy as np

UNITS = {
    "mm": "mm", "cm2": "cm²", "cm3": "cm³", "h": "h", "s": "s", "min": "min", "kg": "kg", "kwh": "kWh", "um": "µm",
    "mpa": "MPa", "celsius": "°C", "deg": "°", "m3": "m³", "days": "d",
}  # fmt: skip
LEFT = ' style="text-align:left"'


def heading(name):
    """A table's heading from a name of the library: its unit in brackets, no underscores.

    >>> heading("pool_cm3"), heading("first_pass_yield"), heading("casting [cm³]")
    ('pool [cm³]', 'first pass yield', 'casting [cm³]')
    """
    words, _, unit = str(name).rpartition("_")
    said = f"{words} [{UNITS[unit]}]" if words and unit in UNITS else str(name)
    return said.replace("_", " ")


def cell(value):
    """How a table writes a value: numbers with at most four figures, or whole; a missing one stays empty.

    >>> [cell(v) for v in (1234567.0, 12.3456, 0.00123, 4, float("nan"), "as drawn")]
    ['1,234,567', '12.35', '0.00123', '4', '', 'as drawn']
    """
    if not isinstance(value, Number | np.number) or isinstance(value, bool | np.bool_):
        return "" if value is None else str(value)
    if not np.isfinite(value):
        return "" if np.isnan(value) else "∞"
    return f"{value:,.0f}" if abs(value) >= 1000 or value == int(value) else f"{value:.4g}"


def table_html(table, caption="", most=60):
    """A pandas table as HTML that fits a page.

    Parameters: `table` DataFrame or Series; its index heads the rows, but for one that only counts them; `caption`;
    `most` rows, of which what is left out is said. Returns: HTML text.
    """
    table = table.to_frame() if table.ndim == 1 else table
    counts = table.index.dtype.kind == "i" and table.index.name is None
    words = [not counts and table.index.dtype.kind not in "if"] * (not counts)
    words += [dtype.kind not in "iufcM" for dtype in table.dtypes]
    names = [heading(table.index.name or "")] * (not counts) + [heading(name) for name in table.columns]
    head = "".join(f'<th scope="col"{LEFT * left}>{escape(name)}</th>' for name, left in zip(names, words, strict=True))
    body = ""
    for row in table.head(most).itertuples(index=not counts, name=None):
        cells = [
            f'<th scope="row"{LEFT * left}>{escape(cell(value))}</th>' if first and not counts
            else f"<td{LEFT * left}>{escape(cell(value))}</td>"
            for first, left, value in zip((True, *(False,) * len(names)), words, row, strict=False)
        ]  # fmt: skip
        body += f"<tr>{''.join(cells)}</tr>"
    if len(table) > most:
        body += f"<tr><td{LEFT} colspan={len(names)}>… {len(table) - most} more rows</td></tr>"
    said = f"<caption{LEFT}>{escape(caption)}</caption>" if caption else ""
    return (
        f'<table class="pourprint-table" style="text-align:right;line-height:1.4;max-width:100%">{said}'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )
