"""The panel of days and failures in a browser: sliders by keyboard, every trace against Python's own simulation."""

import time

import numpy as np
import pytest
from jupyter_browser import REPOSITORY, bars_drawn, number, open_notebook, press, settled, write_notebook

import pourprint as pp
from pourprint.figures.simulation import MARKS, chance_data
from pourprint.panels.risk import FULL, PRINTED

START = "2026-11-25T08:00"
CELLS = [
    "import pourprint as pp\n"
    "part = pp.Part.from_mesh('data_demo/nodes/axle_carrier.stl', 'mm')\n"
    "rates = pp.RateCard.load('data_demo/rates.toml')",
    f"pp.panels.risk_panel(part, rates, start='{START}')",
]


def at_rest(page, name, start, quiet_ms=1500, patience_s=60):
    """Return once the field of a slider has left `start` and keeps its number: the kernel may lag behind the keys."""
    deadline, before = time.monotonic() + patience_s, start
    while (now := number(page, name)) == start or now != before:
        assert time.monotonic() < deadline, f"{name} never moved"
        page.wait_for_timeout(quiet_ms)
        before = now


def expected(page):
    """Of the full run, at the values that the fields of the page show: (the traces, the bars as (name, number, ends of
    the pieces), the start of the sentence)."""
    kit = pp.Kit.of(pp.Part.from_mesh(REPOSITORY / "data_demo/nodes/axle_carrier.stl", "mm"))
    quantity, batch = (int(number(page, name)) for name in ("quantity wanted", "batch size"))
    job = pp.Job(kit, "AlSi7Mg", quantity, batch, start=START)
    plans = pp.plan_all(job, pp.RateCard.load(REPOSITORY / "data_demo/rates.toml"), PRINTED)
    n = max(FULL[1], FULL[0] // -(-quantity // batch))
    runs = pp.simulate_all(plans, n, spares=int(number(page, "spare pieces")))
    price = number(page, "price of a day")
    means = {run.plan.title: run.with_delay(price).mean() / quantity for run in runs.values()}
    best = min(means, key=means.get)
    bars = []
    for run in runs.values():
        low, quarter, _, three, high = np.quantile(run.with_delay(price) / quantity, MARKS)
        mean = means[run.plan.title]
        bars.append([run.plan.title, f"{mean:,.0f}", [low, quarter, three, high], mean])
    return (
        chance_data(runs, number(page, "deadline")),
        bars,
        f"{best}, {means[best]:,.0f} EUR a piece",
    )


def agrees(plot, traces):
    """Whether each trace that is drawn is the one that was computed."""
    if len(plot) != len(traces):
        return False
    for drawn, wanted in zip(plot, traces, strict=True):
        x, y = wanted["x"], wanted.get("y")
        dates = len(x) and isinstance(x[0], str)
        # A browser may write the T of a date as a space; minutes are what both have.
        same = (
            [str(v).replace(" ", "T")[:16] for v in drawn["x"]] == list(x) if dates else drawn["x"] == pytest.approx(x)
        )
        if not same or (y is not None and not np.allclose(np.array(drawn["y"], float), y)):
            return False
    return True


def same_bars(page, wanted):
    """Whether bars, strokes and numbers that are drawn are those that were computed."""
    end, rows = bars_drawn(page)
    # A browser lays boxes out to 1/64 of a pixel: four pieces end to end on an axis of some 400.
    return all(
        (name, text) == (row[0], row[1]) and [*ends, mean] == pytest.approx([*row[2], row[3]], rel=0, abs=4e-4 * end)
        for row, (name, text, ends, mean) in zip(rows, wanted, strict=True)
    )


def meets(page, traces, bars, sentence, patience_s=60):
    """Whether the page comes to rest on these and says this sentence: the full run follows the release."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        (plot,) = settled(page)
        if agrees(plot, traces) and same_bars(page, bars) and page.get_by_text(sentence).count():
            return True
    return False


def test_sliders_move_chart_and_sentence_to_the_models_own_runs(lab, page):
    address, folder = lab
    write_notebook(folder / "risk.ipynb", CELLS)
    open_notebook(page, address, "risk.ipynb")
    before = expected(page)
    assert meets(page, *before)
    for name, key in (("spare pieces", "ArrowRight"), ("price of a day", "ArrowRight"), ("deadline", "ArrowLeft")):
        start = number(page, name)
        press(page, page.get_by_role("slider", name=name).first, key, times=3)
        at_rest(page, name, start)
        wanted = expected(page)
        assert str(wanted) != str(before), f"{name} moves nothing"
        assert meets(page, *wanted), name
        before = wanted
