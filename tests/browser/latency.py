"""How long a key press takes to change a plot, against a one-trace figure with no model in the same notebook.

Run: python tests/browser/latency.py notebooks/NAME.ipynb ["name of a slider" ...] [--presses 20] [--rest 400]
The clock runs from the key press to the last change of any plot's SVG or of live HTML (bars, sentence, table),
so a panel drawn in parts is not counted as done at its first part. Presses on the two figures alternate: both
see the same busy machine.
"""

import argparse
import statistics
import tempfile
from pathlib import Path

import nbformat
from jupyter_browser import REPOSITORY, browser_page, jupyter_server, open_notebook
from playwright.sync_api import sync_playwright

FLOOR = """
import ipywidgets, numpy, plotly.graph_objects
floor_x = numpy.arange(1.0, 401.0)
floor_figure = plotly.graph_objects.FigureWidget(
    plotly.graph_objects.Scatter(x=floor_x, y=numpy.sin(floor_x / 50)), {"height": 360}
)
floor_slider = ipywidgets.FloatSlider(min=0, max=100, step=1, value=1, description="floor")
floor_slider.observe(
    lambda change: floor_figure.data[0].update(y=(1 + change["new"]) * numpy.sin(floor_x / 50)), "value"
)
ipywidgets.VBox([floor_slider, floor_figure]).add_class("latency-floor")
"""

WATCH = """() => {
  window.latency = {key: 0, changed: new Map()};
  document.addEventListener("keydown", () => {
    latency.key = performance.now();
    latency.changed.clear();
  }, true);
  const all = {subtree: true, childList: true, attributes: true, characterData: true};
  document.querySelectorAll(".js-plotly-plot, .pourprint-live").forEach((chart, i) => {
    const watch = new MutationObserver(() => {
      // What a panel does once the slider has rested for 300 ms is no part of the move.
      if (performance.now() - latency.key < 300) latency.changed.set(i, performance.now());
    });
    const drawn = chart.querySelectorAll(".main-svg");
    (drawn.length ? drawn : [chart]).forEach(part => watch.observe(part, all));
  });
}"""


def press_ms(page, slider, key, rest_ms):
    """Press a key on a slider; return the time [ms] to the last change of any plot, or None if none changed.

    What a panel puts off until a slider rests is no part of it, and must not meet the next press.
    """
    slider.press(key)
    page.wait_for_timeout(350)
    found = page.evaluate("latency.changed.size ? Math.max(...latency.changed.values()) - latency.key : null")
    page.wait_for_timeout(rest_ms)
    return found


def medians_ms(page, slider, floor_slider, presses, rest_ms):
    """Return median times [ms] of `slider` and of `floor_slider`, pressed in turn; WATCH runs in the page.

    None where fewer than half of the presses changed anything: there is nothing to measure.
    """
    times = {slider: [], floor_slider: []}
    for turn in range(presses + 2):
        key = "ArrowRight" if turn % 2 else "ArrowLeft"
        for one, list_ms in times.items():
            time_ms = press_ms(page, one, key, rest_ms)
            # The first presses warm up; a key at the end of a slider changes nothing.
            if time_ms is not None and turn >= 2:
                list_ms.append(time_ms)
    if min(map(len, times.values())) < presses / 2:
        return None
    return tuple(map(statistics.median, times.values()))


def measure(path, names, presses, rest_ms):
    """Yield (slider's name, its `medians_ms`) for sliders of a notebook, all of them without names."""
    notebook = nbformat.read(path, as_version=4)
    notebook.cells.append(nbformat.v4.new_code_cell(FLOOR))
    with tempfile.TemporaryDirectory() as folder, jupyter_server(folder) as address:
        nbformat.write(notebook, Path(folder) / "notebooks" / "latency.ipynb")
        # A tall window keeps every plot in view: a browser may leave hidden plots undrawn.
        with sync_playwright() as driver, browser_page(driver, height=3000) as page:
            open_notebook(page, address, "notebooks/latency.ipynb")
            floor_slider = page.locator(".latency-floor .noUi-handle")
            floor_slider.wait_for()  # the last cell's: by then the notebook's own sliders are there
            for fold in page.locator(".pourprint-fold").all():
                fold.click()
            page.evaluate(WATCH)
            for slider in page.get_by_role("slider").all():
                name = slider.get_attribute("aria-label") or ""
                if name and (not names or any(wanted in name for wanted in names)):
                    yield name, medians_ms(page, slider, floor_slider, presses, rest_ms)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("notebook", type=Path, help=f"path, for instance below {REPOSITORY.name}/notebooks")
    parser.add_argument("sliders", nargs="*", help="parts of the accessible names of sliders; none: all sliders")
    parser.add_argument("--presses", type=int, default=20)
    parser.add_argument("--rest", type=int, default=400, help="ms after a press; 1200 where a panel runs more at rest")
    chosen = parser.parse_args()
    ratios = []
    for name, found in measure(chosen.notebook, chosen.sliders, chosen.presses, chosen.rest):
        if found is None:
            print(f"{name}: moves nothing here", flush=True)
            continue
        panel_ms, floor_ms = found
        ratios.append(panel_ms / floor_ms)
        print(f"{name}: {panel_ms:.0f} ms, floor {floor_ms:.0f} ms, ratio {ratios[-1]:.2f}", flush=True)
    print(f"{len(ratios)} sliders: ratio {statistics.median(ratios):.2f} (median), {max(ratios):.2f} (worst)")


if __name__ == "__main__":
    main()
