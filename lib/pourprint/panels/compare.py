"""The panel that compares the routes: sliders for the job, the rates and the clock; sentence, charts, table."""

import html
from dataclasses import replace

import numpy as np

from pourprint import figures
from pourprint.decide.compare import comparison
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import (
    Shown,
    alloy_row,
    check_card,
    kit_of,
    mean_cm3,
    panel,
    start_or_today,
    volume_row,
)
from pourprint.plans.jobs import Job
from pourprint.routes import PRINTED, ROUTES, plan_all

QUANTITIES = np.arange(1, 401)
COLUMNS = {
    "unit_cost": ("{money} a kit", "{:,.0f}"),
    "cost_with_delay": ("{money} in all", "{:,.0f}"),
    "days": ("days", "{:.0f}"),
    "ready": ("ready", "{}"),
    "hands_on_h": ("hands-on h", "{:,.0f}"),
    "machine_h": ("machine h", "{:,.0f}"),
    "stages": ("stages", "{}"),
    "steps": ("steps", "{}"),
    "first_pass_yield": ("yield", "{:.0%}"),
}


FOLDS = {  # the hourly rates: caption → words of their names; the last holds what has none of them
    "people": ("technician", "engineer"),
    "printers": ("printer",),
    "furnaces": ("furnace", "kiln"),
    "tools": ("",),
}


def compare_panel(kit, rates, start=None):
    """Sliders for job, rates and the price of a day, with the routes compared beside them.

    Parameters: `kit` Kit or Part; `rates` RateCard; `start` date and time (default: today at opening time).
    Returns: Panel. Raises: InputError.
    """
    kit = kit_of(kit)
    check_card(rates)
    # Meshes are measured already; without them a slider need not move their vertices.
    kit = replace(kit, parts=tuple(replace(item, part=replace(item.part, mesh=None)) for item in kit.parts))
    start = start_or_today(start, rates)
    kits = {f"{kit.name} ({kit.nodes} nodes)": kit}
    if len(kit.parts) > 1:
        kits |= {
            f"one {item.part.name}": replace(kit, name=item.part.name, parts=(replace(item, count=1),))
            for item in kit.parts
        }
    job, clock, folds = _job_rows(kits), _clock_rows(rates), _rate_rows(rates)
    prices = [key for rows in folds.values() for key in rows]

    def asked(values):
        wanted = Job(
            kits[values["kit"]].scaled_to(values["volume"]),
            alloy=values["alloy"],
            quantity=values["quantity"],
            batch_size=values["batch"],
        )
        card = rates.replace({key: values[key] for key in prices})
        return comparison(plan_all(wanted, card, values["routes"]), QUANTITIES, values["day"], start)

    def shown(result, values):
        traces = figures.comparison_data(result)
        bars, table = figures.comparison_bars(result, rates.currency), _table(result, rates.currency)
        ends = {"range": figures.comparison_range(traces)}
        return Shown({"answer": result.answer()}, bars, table, traces, {"yaxis": ends})

    # A newly chosen part starts at its own size.
    job["kit"].observe(lambda: setattr(job["volume"].source, "value", mean_cm3(kits[job["kit"].value])))
    return panel(
        {"The job": job, f"The clock: start {start:%a %d %b %Y}": clock},
        asked,
        shown,
        f"{figures.COMPARISON_IN_WORDS} {figures.BARS_IN_WORDS} The table holds the same answer in numbers.",
        lambda result, values: figures.comparison_figure(result),
        folds,
    )


def _job_rows(kits):
    return {
        "kit": choice_row("kit or part", list(kits)),
        "alloy": alloy_row(),
        "quantity": number_row("quantity wanted", 4, 1, int(QUANTITIES[-1]), 1, "kits", log=True),
        "batch": number_row("batch size", 4, 1, 100, 1, "kits", log=True),
        "volume": volume_row(kits.values(), 1000.0),
        "routes": choice_row("serial reference", [("hide", PRINTED), ("show", tuple(ROUTES))]),
    }


def _clock_rows(rates):
    return {"day": number_row("price of a day", 0, 0, 1000, 10, f"{rates.currency}/day")}


def _rate_rows(rates):
    """The hourly rates in folded groups: {caption: {key: Row}}."""
    folds = {caption: {} for caption in FOLDS}
    for key, entry in rates.entries.items():
        section, name = key.split(".", 1)
        if section in ("labour", "machine"):
            high = float(np.ceil(max(2 * entry.high, entry.value, 1)))
            fold = next(caption for caption, words in FOLDS.items() if any(word in name for word in words))
            folds[fold][key] = number_row(name.replace("_", " "), entry.value, 0, high, 0.5, f"{rates.currency}/h")
    return {caption: rows for caption, rows in folds.items() if rows}


def _table(comparison, money):
    """The ranked routes as an HTML table."""
    head = "".join(f'<th scope="col">{html.escape(title.format(money=money))}</th>' for title, _ in COLUMNS.values())
    body = ""
    for row in comparison.rows():
        cells = "".join(f"<td>{form.format(row[key])}</td>" for key, (_, form) in COLUMNS.items() if key in row)
        if "unit_cost" not in row:
            cells = f'<td colspan="{len(COLUMNS)}" class="pourprint-left">cannot: {html.escape(row["note"])}</td>'
        body += f'<tr><th scope="row" class="pourprint-left">{row["route"]}</th>{cells}</tr>'
    left = ' class="pourprint-left"'
    return f"""<table class="pourprint-table">
        <caption{left}>The routes in order of cost, days priced; yield: all steps right at the first try.
        Estimates for teaching and planning, not a quotation.</caption>
        <thead><tr><th scope="col"{left}>route</th>{head}</tr></thead><tbody>{body}</tbody></table>"""
