"""A chart of greenhouse gases beside cost and days."""

from collections import Counter

import numpy as np
import pandas as pd

from pourprint.decide.carbon import carbon_ledger
from pourprint.figures.look import LOOKS, Chart, title_of
from pourprint.figures.strokes import canvas, mark, write
from pourprint.routes.bought import bought_for

NAMED = (  # where the names of the marks stand, from left to right, so that neighbours' names keep clear
    ("co2e_kg", {"anchor": "right", "dx": -12}),
    ("co2e_high", {"yanchor": "bottom"}),
    ("co2e_low", {"yanchor": "top"}),
    ("co2e_kg", {"anchor": "left", "dx": 12}),
)


def footprint_chart(footprints):
    """Cost, days and greenhouse gases of a kit, route by route, with ranges.

    Parameters: `footprints` {route: Footprint} of plans of single numbers. Returns: Chart.
    """
    rows = {}
    for route, found in footprints.items():
        plan = found.plan
        plan.single_only("a footprint chart")
        kg, kwh = found.total_kg / plan.job.quantity, found.total_kwh / plan.job.quantity
        rows[route] = (plan.unit_cost, plan.lead_time_days, *kg, *kwh)
    columns = ["unit_cost", "days", "co2e_low", "co2e_kg", "co2e_high", "energy_low", "energy_kwh", "energy_high"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    order = sorted(footprints, key=lambda route: footprints[route].total_kg[1])
    sure = footprints[order[0]].less_than(footprints[order[1]]) if len(order) > 1 else 1.0
    rest = f", less than {title_of(order[1]).lower()} in {sure:.0%} of the draws" if len(order) > 1 else ""
    plan = next(iter(footprints.values())).plan
    one, money = f"a {plan.job.kit.noun}", plan.rates.currency
    message = f"{title_of(order[0])}: {table['co2e_kg'].min():,.0f} kg CO₂e {one}{rest}"
    axes = {"unit_cost": f"cost of {one} [{money}]", "days": "days of the job [d]"}
    up = f"greenhouse gases of {one} [kg CO₂e]"
    figure = canvas(message, tuple(axes.values()), up, 440, log="xy", key="line: nine draws of ten")
    for panel, key in enumerate(axes, start=1):
        for (route, row), (at, place) in zip(table.sort_values(key).iterrows(), NAMED, strict=False):
            look, name = LOOKS[route], title_of(route)
            span = {"array": [row.co2e_high - row.co2e_kg], "arrayminus": [row.co2e_kg - row.co2e_low]}
            said = f"{name}: {row.co2e_kg:,.0f} kg CO₂e {one} ({row.co2e_low:,.0f} to {row.co2e_high:,.0f})"
            reach = {**span, "color": look.colour}
            mark(figure, [row[key]], [row.co2e_kg], look.colour, look.marker, 13, said, panel, error_y=reach, name=name)
            write(figure, row[key], row[at], name.replace(" ", "<br>"), look.colour, panel=panel, **place)
        ends = np.log10([table[key].min() / 2, table[key].max() * 1.7])
        figure.update_xaxes(range=list(ends), row=1, col=panel)
    figure.update_yaxes(range=list(np.log10([table["co2e_low"].min() / 1.8, table["co2e_high"].max() * 1.8])))
    pedigrees = Counter(entry.pedigree for entry in carbon_ledger().values()).most_common()
    known = ", ".join(f"{count} {pedigree}" for pedigree, count in pedigrees)
    buying = [title_of(route).lower() for route, each in footprints.items() if bought_for(each.plan)]
    bare = "failures" + f", and what is bought in the place of a step, by {', '.join(buying)}" * bool(buying)
    return Chart(
        figure,
        f"A second axis, no verdict: of {sum(count for _, count in pedigrees)} factors, {known}. Left out: {bare}.",
        f"Two panels with greenhouse gases of {one} upwards: against its cost, and against the days of the job. One "
        "mark a route, with a line that holds nine draws of ten.",
        table.rename(index=title_of),
    )
