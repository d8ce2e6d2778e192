"""A chart of greenhouse gases beside cost and days."""

from collections import Counter

import numpy as np
from plotly.subplots import make_subplots

from pourprint.decide.carbon import carbon_ledger
from pourprint.figures.decide import round_numbers
from pourprint.figures.look import LOOKS, Chart, styled, title_of


def footprint_chart(footprints, days=None):
    """Cost, days and greenhouse gases of a kit, route by route, with ranges.

    Parameters: `footprints` {route: Footprint} of plans of single numbers; `days` {route: [d]} (default: the plans').
    Returns: Chart.
    """
    import pandas as pd

    figure = styled(make_subplots(rows=1, cols=2, shared_yaxes=True, horizontal_spacing=0.06), height=440)
    rows = {}
    for route, found in footprints.items():
        plan = found.plan
        plan.single_only("a footprint chart")
        kg, kwh = found.total_kg / plan.job.quantity, found.total_kwh / plan.job.quantity
        rows[route] = (plan.unit_cost, plan.lead_time_days if days is None else days[route], *kg, *kwh)
    columns = ["unit_cost", "days", "co2e_low", "co2e_kg", "co2e_high", "energy_low", "energy_kwh", "energy_high"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    money = next(iter(footprints.values())).plan.rates.currency
    for panel, (key, title) in enumerate(
        (("unit_cost", f"cost of a kit [{money}]"), ("days", "days of the job [d]")), 1
    ):
        for i, (route, row) in enumerate(table.sort_values(key).iterrows()):
            look, above = LOOKS[route], i % 2 == 0  # neighbours' names stand above and below their lines in turn
            span = {"array": [row.co2e_high - row.co2e_kg], "arrayminus": [row.co2e_kg - row.co2e_low]}
            figure.add_scatter(
                x=[row[key]],
                y=[row.co2e_kg],
                mode="markers",
                marker={"symbol": look.marker, "size": 13, "color": look.colour},
                error_y={**span, "color": look.colour},
                name=title_of(route),
                hovertemplate=f"{title_of(route)}: {row.co2e_kg:,.0f} kg CO2e a kit ({row.co2e_low:,.0f} to "
                f"{row.co2e_high:,.0f})<extra></extra>",
                row=1,
                col=panel,
            )
            figure.add_annotation(
                x=np.log10(row[key]),
                y=np.log10(row.co2e_high if above else row.co2e_low),
                text=title_of(route).replace(" ", "<br>"),
                font={"color": look.colour},
                showarrow=False,
                yanchor="bottom" if above else "top",
                row=1,
                col=panel,
            )
        ends = np.log10([table[key].min() / 1.7, table[key].max() * 1.7])
        figure.update_xaxes(title_text=title, type="log", tickvals=round_numbers(), range=list(ends), row=1, col=panel)
    ends = np.log10([table["co2e_low"].min() / 1.5, table["co2e_high"].max() * 1.5])
    figure.update_yaxes(type="log", tickvals=round_numbers(), range=list(ends))
    figure.update_yaxes(title_text="greenhouse gases of a kit [kg CO2e]", row=1, col=1)
    order = sorted(footprints, key=lambda route: footprints[route].total_kg[1])
    sure = footprints[order[0]].less_than(footprints[order[1]]) if len(order) > 1 else 1.0
    rest = f", less than {title_of(order[1]).lower()} in {sure:.0%} of the draws" if len(order) > 1 else ""
    message = f"{title_of(order[0])}: {table['co2e_kg'].min():,.0f} kg CO2e a kit{rest}"
    figure.update_layout(title=message)
    pedigrees = Counter(entry.pedigree for entry in carbon_ledger().values()).most_common()
    known = ", ".join(f"{count} {pedigree}" for pedigree, count in pedigrees)
    return Chart(
        figure,
        f"{message}. A second axis, no verdict: of {sum(count for _, count in pedigrees)} carbon factors, {known}.",
        "Two panels with greenhouse gases of a kit upwards: against its cost, and against the days of the job. One "
        "mark a route, with a line that holds nine draws of ten.",
        table.rename(index=title_of),
    )
