"""Reload after a save, second view, cells run out of order, restarted kernel: whether every chart follows its slider.

Run: python tests/browser/reloads.py [--times 20] [--ways reload restart]
Every other reload has its processor slowed eight times (Emulation.setCPUThrottlingRate). After each turn the slider
moves once: every chart must ring what its own panel's field says, before and after.
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


# What each panel's field says, and what its chart rings.
SAID_AND_DRAWN = """() => [...document.querySelectorAll('.pourprint-panel:has(.js-plotly-plot)')].map(
  panel => [Number(panel.querySelector("input[aria-label^='quantity wanted']").value),
    panel.querySelector('.js-plotly-plot')._fullData?.at(-1).x[0]])"""


def move_and_compare(page, views, patience_ms=120_000):
    """Move the first panel's slider: what went wrong, or nothing. Each chart must ring what its own field says."""
    page.wait_for_function(
        "n => document.querySelectorAll('.js-plotly-plot').length === n", arg=views, timeout=patience_ms
    )
    settled(page, patience_s=120)
    slider = page.get_by_role("slider", name="quantity wanted").first
    before = page.evaluate(SAID_AND_DRAWN)
    at_end = float(slider.get_attribute("aria-valuenow")) == float(slider.get_attribute("aria-valuemax"))
    press(page, slider, "Home" if at_end else "ArrowRight")
    page.wait_for_timeout(1500)
    settled(page, patience_s=120)
    after = page.evaluate(SAID_AND_DRAWN)
    wrong = [pair for pair in (*before, *after) if pair[0] != pair[1]]
    if len(after) != views or wrong or after[0] == before[0]:
        return f"fields and charts were {before} and are {after}"
    return ""


def run_cell(page, i):
    page.locator(".jp-CodeCell").nth(i).locator(".jp-InputArea").click()
    page.keyboard.press("Control+Enter")
    page.wait_for_timeout(700)
    page.locator("#jp-main-statusbar").get_by_text("| Idle").first.wait_for(timeout=120_000)


def restart_and_move(page):
    """Restart the kernel and run everything again."""
    page.evaluate("void jupyterapp.commands.execute('kernelmenu:restart')")
    page.locator(".jp-Dialog button.jp-mod-accept").click()
    page.wait_for_function(
        "getComputedStyle(document.querySelector('.pourprint-panel'), '::before').content !== 'none'", timeout=60_000
    )
    page.evaluate("jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_timeout(2500)
    page.locator("#jp-main-statusbar").get_by_text("| Idle").first.wait_for(timeout=120_000)
    return move_and_compare(page, 2)


def out_of_order_and_move(page):
    """Make the panel anew and show it in its second place alone: the first still shows the old one, and follows it."""
    run_cell(page, 0)
    run_cell(page, 2)
    return move_and_compare(page, 2)


def second_view_and_move(page):
    """Show an output in a view of its own, beside the notebook."""
    page.locator(".jp-CodeCell").nth(1).locator(".jp-InputArea").click()
    page.evaluate("void jupyterapp.commands.execute('notebook:create-output-view')")
    fault = move_and_compare(page, 3)
    page.locator(".lm-TabBar-tab", has_text="Output View").locator(".lm-TabBar-tabCloseIcon").first.click()
    page.wait_for_timeout(500)
    return fault


WAYS = {
    "reload": lambda page, turn: reload_and_move(page, slowed=turn % 2),
    "second view": lambda page, turn: second_view_and_move(page),
    "out of order": lambda page, turn: out_of_order_and_move(page),
    "restart": lambda page, turn: restart_and_move(page),
}


def opened(page, address, folder):
    """Open a notebook with two views of one compare panel."""
    write_notebook(Path(folder) / "reloads.ipynb", CELLS)
    open_notebook(page, address, "reloads.ipynb")
    page.wait_for_function("document.querySelectorAll('.js-plotly-plot').length == 2", timeout=60_000)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--ways", nargs="+", default=WAYS, choices=WAYS)
    given, faults = parser.parse_args(), 0
    with (
        tempfile.TemporaryDirectory() as folder,
        jupyter_server(folder) as address,
        sync_playwright() as driver,
        browser_page(driver, height=1400) as page,
    ):
        opened(page, address, folder)
        for way in given.ways:
            for turn in range(given.times):
                fault = WAYS[way](page, turn)
                faults += bool(fault)
                print(f"{way} {turn + 1}: {fault or 'follows'}", flush=True)
    print(f"{len(given.ways) * given.times - faults} of {len(given.ways) * given.times}: every chart follows")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
