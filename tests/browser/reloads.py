"""Reloads of a saved notebook: whether every chart follows its slider afterwards, on a slow machine too.

Run: python tests/browser/reloads.py [--reloads 40]
Every other reload has its processor slowed eight times (Emulation.setCPUThrottlingRate). After each one the slider
moves once: the chart must ring the new quantity, in both of the panel's views, and be the same before the move.
"""

import argparse
import sys
import tempfile
from pathlib import Path

from jupyter_browser import browser_page, jupyter_server, open_notebook, press, settled, write_notebook
from playwright.sync_api import sync_playwright

SLOWED = 8
CELLS = [
    "import pourprint as pp\n"
    "part = pp.Part.from_numbers('bracket', 60, 210, (90, 70, 60))\n"
    "panel = pp.panels.compare_panel(part, pp.RateCard.default(), '2026-11-25T08:00')",
    "panel",
    "panel",
]


def chosen(page, patience_s=120):
    """The quantity that each chart rings."""
    return [plot[-1]["x"][0] for plot in settled(page, patience_s=patience_s)]


def reload_and_move(page, slowed, patience_ms=120_000):
    """Save, reload and move the slider: what went wrong, or nothing."""
    before = chosen(page)
    page.evaluate("jupyterapp.commands.execute('docmanager:save')")
    devtools = page.context.new_cdp_session(page)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED if slowed else 1})
    page.reload()
    sliders = page.get_by_role("slider", name="quantity wanted")
    sliders.nth(1).wait_for(timeout=patience_ms)
    page.wait_for_function("document.querySelectorAll('.js-plotly-plot').length == 2", timeout=patience_ms)
    shown = chosen(page)
    if shown != before:
        return f"after the reload the charts ring {shown}, before it {before}"
    at_end = float(sliders.first.get_attribute("aria-valuenow")) == float(sliders.first.get_attribute("aria-valuemax"))
    press(page, sliders.first, "Home" if at_end else "ArrowRight")
    page.wait_for_timeout(4000 if slowed else 800)
    moved = chosen(page)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    wanted = float(page.get_by_role("textbox", name="quantity wanted").first.input_value())
    return "" if moved == [wanted, wanted] and wanted != before[0] else f"charts ring {moved}, the field says {wanted}"


def opened(page, address, folder):
    """Open a notebook with two views of one compare panel."""
    write_notebook(Path(folder) / "reloads.ipynb", CELLS)
    open_notebook(page, address, "reloads.ipynb")
    page.wait_for_function("document.querySelectorAll('.js-plotly-plot').length == 2", timeout=60_000)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reloads", type=int, default=40)
    count, faults = parser.parse_args().reloads, 0
    with (
        tempfile.TemporaryDirectory() as folder,
        jupyter_server(folder) as address,
        sync_playwright() as driver,
        browser_page(driver) as page,
    ):
        opened(page, address, folder)
        for turn in range(count):
            fault = reload_and_move(page, slowed=turn % 2)
            faults += bool(fault)
            print(f"{turn + 1}, {'slowed' if turn % 2 else 'plain'}: {fault or 'follows'}", flush=True)
    print(f"{count - faults} of {count} reloads: every chart follows")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
