"""What a notebook shows of checks and tables: the self-check of the installation, a check that holds, a table."""

import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pandas as pd
from IPython.display import HTML

from pourprint.figures.tables import table_html
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard, annuity
from pourprint.parts.kits import Kit

PACKAGES = ("numpy", "scipy", "pandas", "pydantic", "trimesh", "manifold3d", "plotly", "anywidget", "ipywidgets")


def check_installation(data_folder):
    """Check Python, packages, the demo data and a known result.

    Parameters: `data_folder` path of the demo data. Returns: pandas table: what, works ("yes" or "no"), detail,
    what to do.
    """
    rows = [_row("Python 3.11 or newer", sys.version_info >= (3, 11), sys.version.split()[0], "install Python 3.11")]
    for package in PACKAGES:
        try:
            rows.append(_row(package, True, version(package)))
        except PackageNotFoundError:
            rows.append(_row(package, False, "not installed", "run the README's first command again"))
    for what, check in (("demo kit", _kit), ("demo rate card", _card), ("a known result", _known)):
        try:
            rows.append(_row(what, True, check(Path(data_folder))))
        except InputError as reason:
            rows.append(_row(what, False, str(reason), "start the notebook from the course's own folder"))
    return pd.DataFrame(rows).set_index("what")


def checked(what, holds):
    """Print "checked: …" of something that holds. Raises: AssertionError where it does not."""
    if not holds:
        raise AssertionError(f"does not hold: {what}")
    print(f"checked: {what}")


def table(rows, caption=""):
    """A table to read in a notebook: real headings with units, words on the left.

    Parameters: `rows` pandas table, {name: value}, {column: {name: value}}, or a list; `caption` above it. Returns:
    IPython HTML.
    """
    if isinstance(rows, dict) and all(isinstance(column, dict) for column in rows.values()):
        rows = pd.DataFrame(rows)
    elif isinstance(rows, dict):
        rows = pd.Series(rows, name="value", dtype=object).rename_axis("what")
    return HTML(table_html(pd.DataFrame({"what": rows}) if isinstance(rows, list) else rows, caption))


def _row(what, works, detail, remedy=""):
    return {"what": what, "works": "yes" if works else "no", "detail": detail, "what to do": "" if works else remedy}


def _kit(folder):
    kit = Kit.load(folder / "rover_kit.toml")
    return f"{kit.nodes} nodes of {len(kit.parts)} kinds"


def _card(folder):
    card = RateCard.load(folder / "rates.toml")
    return f"{card.lab}, {card.currency}, {card.date}"


def _known(folder):
    """A loan of 500 000 over 8 years at 6% costs 80 517.97 a year (annuity formula, exact)."""
    paid = float(annuity(500_000, 8, 0.06))
    if abs(paid - 80_517.97) > 0.01:
        raise InputError(f"the annuity came out as {paid:.2f}, not 80 517.97")
    return f"annuity {paid:,.2f}"
