"""The panel that compares the routes: sliders for the job, the rates and the clock; sentence, charts, table."""

import datetime as dt
import html
from dataclasses import dataclass, replace

import ipywidgets as widgets
import numpy as np

from pourprint import figures
from pourprint.alloys import alloys
from pourprint.compare import comparison
from pourprint.errors import InputError
from pourprint.jobs import Job
from pourprint.panels.controls import choice_row, group, named, number_row, page
from pourprint.panels.live import guarded, live, redraw, status_line
from pourprint.parts import Kit, Part
from pourprint.routes import ROUTES, plan_all

QUANTITIES = np.arange(1, 401)
PRINTED = tuple(route for route in ROUTES if not ROUTES[route].SERIAL)
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

    `controls` {name: Row}; `place` the box that holds the live figure; `answer`, `table`, `status` HTML; `widget`
    all of it.
    """

    controls: dict
    place: widgets.Box
    answer: widgets.HTML
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
    kit = Kit.of(kit) if isinstance(kit, Part) else kit
    if not isinstance(kit, Kit):
        raise InputError(f"kit must be a Kit or a Part, not {kit!r}: use Kit.load or Part.from_mesh.")
    if start is None:
        start = dt.datetime.combine(dt.date.today(), dt.time()) + dt.timedelta(hours=rates.hours.start_h)
    # Meshes are measured already; without them a slider need not move their vertices.
    kit = replace(kit, parts=tuple(replace(item, part=replace(item.part, mesh=None)) for item in kit.parts))
    kits = {f"{kit.name} ({kit.nodes} nodes)": kit}
    if len(kit.parts) > 1:
        kits |= {
            f"one {item.part.name}": replace(kit, name=item.part.name, parts=(replace(item, count=1),))
            for item in kit.parts
        }
    controls = _controls(kits, rates)
    value = {name: row for name, row in controls.items()}.__getitem__

    def asked():
        chosen = kits[value("kit").value]
        job = Job(
            chosen.scaled_to(value("volume").value),
            alloy=value("alloy").value,
            quantity=int(value("quantity").value),
            batch_size=int(value("batch").value),
        )
        card = rates.replace({name: row.value for name, row in controls.items() if "." in name})
        routes = tuple(ROUTES) if value("serial").value else PRINTED
        return comparison(plan_all(job, card, routes), QUANTITIES, value("day").value, start)

    first = asked()
    place = widgets.Box([live(figures.comparison_figure(first))], layout=widgets.Layout(width="100%"))
    answer, table, status = widgets.HTML(), widgets.HTML(), status_line()

    def show(result):
        answer.value = f"<p style='font-size:1.15em;line-height:1.4'><b>{html.escape(result.answer())}</b></p>"
        table.value = _table(result, rates.currency)

    def update():
        result = asked()
        redraw(place.children[0], figures.comparison_data(result))
        show(result)

    def other_routes():
        """More or fewer routes need another figure; every other change moves the one there is."""
        result = asked()
        place.children = [live(figures.comparison_figure(result))]
        show(result)

    update = guarded(update, status)

    def other_kit():
        """A newly chosen part starts at its own size; setting the size redraws."""
        chosen = kits[value("kit").value]
        own = round(float(chosen.volume_cm3) / chosen.nodes, 1)
        if value("volume").value == own:
            update()
        else:
            value("volume").source.value = own

    special = {"kit": other_kit, "serial": guarded(other_routes, status)}
    for name, row in controls.items():
        row.observe(special.get(name, update))
    show(first)
    words = widgets.HTML(figures.COMPARISON_IN_WORDS)
    content = widgets.VBox([answer, status, place, words, table])
    return ComparePanel(controls, place, answer, table, status, named(page(_groups(controls, start), content)))


def _controls(kits, rates):
    money = rates.currency
    whole = next(iter(kits.values()))
    rows = {
        "kit": choice_row("kit or part", list(kits)),
        "alloy": choice_row("alloy", [(alloy.title, name) for name, alloy in alloys().items()]),
        "quantity": number_row("quantity wanted", 4, 1, int(QUANTITIES[-1]), 1, "kits", log=True),
        "batch": number_row("batch size", 4, 1, 100, 1, "kits", log=True),
        "volume": number_row(
            "mean part volume", round(float(whole.volume_cm3) / whole.nodes, 1), 5, 1000, 0.1, "cm³", log=True
        ),
        "serial": choice_row("serial reference", [("hide", False), ("show", True)]),
        "day": number_row("price of a day", 0, 0, 1000, 10, f"{money}/day"),
    }
    for key in rates.entries:
        section, name = key.split(".", 1)
        if section in ("labour", "machine"):
            entry = rates.entries[key]
            high = float(np.ceil(max(2 * entry.high, entry.value)))
            rows[key] = number_row(name.replace("_", " "), entry.value, 0, high, 0.5, f"{money}/h")
    return rows


def _groups(controls, start):
    """Controls in three captioned groups."""
    job = [controls[name] for name in ("kit", "alloy", "quantity", "batch", "volume", "serial")]
    hourly = [row for name, row in controls.items() if "." in name]
    return widgets.VBox(
        [
            group("The job", job),
            group(f"The clock: start {start:%a %d %b %Y}", [controls["day"]]),
            group("The hourly rates", hourly),
        ]
    )


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
