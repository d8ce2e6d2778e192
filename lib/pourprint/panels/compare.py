"""The panel that compares the routes: sliders for the job, the rates and the clock; sentence, charts, table."""

import html
from dataclasses import dataclass, replace

import ipywidgets as widgets
import numpy as np

from pourprint import figures
from pourprint.decide.compare import comparison
from pourprint.ledger.alloys import alloys
from pourprint.panels.controls import choice_row, columns, group, named, number_row, page
from pourprint.panels.live import guarded, live, redraw, status_line
from pourprint.panels.shared import answer_html, check_card, kit_of, start_or_today
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


@dataclass(frozen=True)
class ComparePanel:
    """The parts of a compare panel, for tests and for pages that place them otherwise.

    `controls` {name: Row}; `place` the box that holds the live figure; `answer`, `bars`, `table`, `status` HTML;
    `widget` all of it.
    """

    controls: dict
    place: widgets.Box
    answer: widgets.HTML
    bars: widgets.HTML
    table: widgets.HTML
    status: widgets.HTML
    widget: widgets.Widget

    @property
    def figure(self):
        """The live figure that is shown now."""
        return self.place.children[0]


def compare_panel(kit, rates, start=None):
    """Sliders for job, rates and the price of a day, with the routes compared beside them.

    Parameters: `kit` Kit or Part; `rates` RateCard; `start` date and time (default: today at opening time).
    Returns: a widget to show. Raises: InputError.
    """
    return build(kit, rates, start).widget


def build(kit, rates, start=None):
    """The ComparePanel behind `compare_panel`; parameters as there."""
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
    controls = _controls(kits, rates)

    def priced():
        """The card and the price of a day as the sliders have them."""
        return rates.replace({name: row.value for name, row in controls.items() if "." in name}), controls["day"].value

    def asked():
        """The comparison of the whole question."""
        job = Job(
            kits[controls["kit"].value].scaled_to(controls["volume"].value),
            alloy=controls["alloy"].value,
            quantity=controls["quantity"].value,
            batch_size=controls["batch"].value,
        )
        card, price_of_day = priced()
        routes = tuple(ROUTES) if controls["serial"].value else PRINTED
        return comparison(plan_all(job, card, routes), QUANTITIES, price_of_day, start)

    last = [asked()]
    place = widgets.VBox([live(figures.comparison_figure(last[0]))], layout=widgets.Layout(width="100%"))
    answer, bars, table = (widgets.HTML().add_class("pourprint-live") for _ in range(3))
    status = status_line()

    def tell(result):
        last[0] = result
        answer.value = answer_html(result.answer())
        bars.value = figures.comparison_bars(result, rates.currency)
        table.value = _table(result, rates.currency)

    def show(result):
        tell(result)  # first: the browser has set the text by the time the picture is drawn
        figure, traces = place.children[0], figures.comparison_data(result)
        ends = figures.comparison_range(traces)
        redraw(figure, traces, {} if ends == list(figure.layout.yaxis.range) else {"yaxis.range": ends})

    def other_job():
        last[0] = None  # until the new question is answered; it may be refused
        show(asked())

    def other_price():
        """Prices leave hours and days as they are, which saves most of the work."""
        show(last[0].repriced(*priced()) if last[0] else asked())

    def other_size():
        """Quantity and batch size leave the steps as they are."""
        sizes = {"quantity": controls["quantity"].value, "batch_size": controls["batch"].value}
        before, last[0] = last[0], None  # until the new question is answered
        jobs = [plan.job for plan in before.plans.values() if plan.feasible] if before else []
        changed = {key: value for key, value in sizes.items() if jobs and getattr(jobs[0], key) != value}
        show(before.resized(**changed) if changed else asked())

    def other_routes():
        """More or fewer routes need another figure; every other change moves the one there is."""
        result = asked()
        place.children = [live(figures.comparison_figure(result))]
        tell(result)

    def other_kit():
        """A newly chosen part starts at its own size; setting the size redraws."""
        own = _mean_cm3(kits[controls["kit"].value])
        if controls["volume"].value == own:
            other_job()
        else:
            controls["volume"].source.value = own

    sizes = {"quantity": other_size, "batch": other_size}
    special = {"kit": other_kit, "serial": other_routes, "day": other_price, **sizes}
    for name, row in controls.items():
        row.observe(guarded(special.get(name, other_price if "." in name else other_job), status))
    tell(last[0])
    words = widgets.HTML(
        f"<p><i>In words:</i> {figures.COMPARISON_IN_WORDS} {figures.BARS_IN_WORDS} The table holds the same answer "
        "in numbers.</p>"
    )
    below = widgets.VBox([words, table, widgets.HTML(figures.BARS_STYLE)])
    content = widgets.VBox([answer, status, place, bars])
    shown = named(widgets.VBox([page(columns(_groups(controls, start)), content), below]))
    return ComparePanel(controls, place, answer, bars, table, status, shown)


def _mean_cm3(kit):
    """Mean volume of a kit's pieces as the slider shows it [cm3]."""
    return max(0.1, round(float(kit.volume_cm3) / kit.nodes, 1))


def _controls(kits, rates):
    money = rates.currency
    sizes = [_mean_cm3(kit) for kit in kits.values()]
    low, high = min(5.0, *sizes), max(1000.0, *sizes)
    rows = {
        "kit": choice_row("kit or part", list(kits)),
        "alloy": choice_row("alloy", [(alloy.title, name) for name, alloy in alloys().items()]),
        "quantity": number_row("quantity wanted", 4, 1, int(QUANTITIES[-1]), 1, "kits", log=True),
        "batch": number_row("batch size", 4, 1, 100, 1, "kits", log=True),
        "volume": number_row("mean part volume", sizes[0], low, high, 0.1, "cm³", log=True),
        "serial": choice_row("serial reference", [("hide", False), ("show", True)]),
        "day": number_row("price of a day", 0, 0, 1000, 10, f"{money}/day"),
    }
    for key in rates.entries:
        section, name = key.split(".", 1)
        if section in ("labour", "machine"):
            entry = rates.entries[key]
            high = float(np.ceil(max(2 * entry.high, entry.value, 1)))
            rows[key] = number_row(name.replace("_", " "), entry.value, 0, high, 0.5, f"{money}/h")
    return rows


def _groups(controls, start):
    """Controls in three captioned groups."""
    job = [controls[name] for name in ("kit", "alloy", "quantity", "batch", "volume", "serial")]
    return [
        group("The job", job),
        group(f"The clock: start {start:%a %d %b %Y}", [controls["day"]]),
        group("The hourly rates", [row for name, row in controls.items() if "." in name]),
    ]


def _table(comparison, money):
    """The ranked routes as an HTML table."""
    head = "".join(f'<th scope="col">{html.escape(title.format(money=money))}</th>' for title, _ in COLUMNS.values())
    body = ""
    for row in comparison.rows():
        cells = "".join(f"<td>{form.format(row[key])}</td>" for key, (_, form) in COLUMNS.items() if key in row)
        if row["note"]:
            cells = f'<td colspan="{len(COLUMNS)}" style="text-align:left">cannot: {html.escape(row["note"])}</td>'
        body += f'<tr><th scope="row" style="text-align:left">{row["route"]}</th>{cells}</tr>'
    left = ' style="text-align:left"'
    return f"""<table class="pourprint-table"
        style="border-spacing:9px 2px;text-align:right;white-space:nowrap;line-height:1.5">
        <caption{left}>The routes in order of cost, days priced; yield: all steps right at the first try.
        Estimates for teaching and planning, not a quotation.</caption>
        <thead><tr><th scope="col"{left}>route</th>{head}</tr></thead><tbody>{body}</tbody></table>"""
