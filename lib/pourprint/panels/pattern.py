"""The panel of the pattern route: a moulder's choices on the left, what follows from them on the right."""

from dataclasses import dataclass

import ipywidgets as widgets

from pourprint.figures.bars import STYLE, change_bars
from pourprint.figures.stages import SHORT
from pourprint.jobs import Job
from pourprint.panels._shared import alloy_row, answer_html, check_card, kit_of, then_and_now, value_rows
from pourprint.panels.controls import columns, group, named, number_row, page
from pourprint.panels.live import guarded, status_line
from pourprint.routes import plan
from pourprint.routes._shelling import ShellSizes
from pourprint.routes.printed_pattern import NAME

CHOICES = {  # what a moulder may choose: key of the card → name shown, slider's end and step
    "printed_pattern.skin": ("skin of the pattern", 0.2, 2.0, 0.1),
    "printed_pattern.infill": ("infill", 0.0, 1.0, 0.02),
    "cluster.gate_length": ("least gate length", 5, 60, 1),
    "cluster.gap": ("least gap", 5, 40, 1),
    "shell.coat_interval": ("open surface dries", 1, 24, 0.5),
    "shell.humidity": ("humidity", 20, 90, 1),
    "shell.air_flow": ("air in the kiln", 1, 40, 1),
}
UNITS = {"printed_pattern.infill": "of 1"}


@dataclass(frozen=True)
class PatternPanel:
    """The parts of a pattern panel: `controls` {name: Row}; `answer`, `bars`, `table`, `status` HTML; and the
    `widget` that holds them all."""

    controls: dict
    answer: widgets.HTML
    bars: widgets.HTML
    table: widgets.HTML
    status: widgets.HTML
    widget: widgets.Widget


def pattern_panel(kit, rates, quantity=1):
    """Sliders for the choices of the printed-pattern route, with what follows: sizes, cost by stage, days.

    Parameters: `kit` Kit or Part; `rates` RateCard; `quantity` of kits. Returns: a widget. Raises: InputError.
    """
    return build(kit, rates, quantity).widget


def build(kit, rates, quantity=1):
    """The PatternPanel behind `pattern_panel`; parameters as there."""
    kit = kit_of(kit)
    check_card(rates)
    controls = {
        "alloy": alloy_row(NAME),
        "quantity": number_row("quantity wanted", quantity, 1, max(100, quantity), 1, "kits", log=True),
    }
    controls |= value_rows(CHOICES, rates, UNITS)

    def asked():
        card = rates.replace({key: controls[key].value for key in CHOICES})
        job = Job(kit, controls["alloy"].value, controls["quantity"].value)
        return plan(NAME, job, card)

    first = asked()
    answer, bars, table = (widgets.HTML().add_class("pourprint-live") for _ in range(3))
    status = status_line()
    before, costs = _facts(first), _costs(first)

    def tell(found):
        answer.value = answer_html(
            f"{found.unit_cost:,.0f} {rates.currency} a kit, ready after {found.lead_time_days:.1f} days."
        )
        bars.value = change_bars(
            "Where the money of one kit goes, stage by stage", NAME, _costs(found), costs, rates.currency
        )
        table.value = then_and_now("what follows", before, _facts(found))

    for row in controls.values():
        row.observe(guarded(lambda: tell(asked()), status))
    tell(first)
    groups = [
        group("The job", [controls["alloy"], controls["quantity"]]),
        group("Pattern and cluster", [controls[key] for key in list(CHOICES)[:4]]),
        group("Shell and fire", [controls[key] for key in list(CHOICES)[4:]]),
    ]
    words = widgets.HTML(
        "<p><i>In words:</i> one bar a stage, first stage on top; its length is what the stage costs for one kit now, "
        "and the stroke is what it cost at first. The table holds the sizes that the choices move; an arrow marks what "
        "has changed. Shells need room: gate length and gap move nothing while they are less than two shells and the "
        "clearance between them.</p>"
    )
    content = widgets.VBox([answer, status, bars, words, table, widgets.HTML(STYLE)])
    return PatternPanel(controls, answer, bars, table, status, named(page(columns(groups), content)))


def _costs(found):
    """{stage, shortly named: cost of one kit}."""
    return {SHORT[stage.title]: float(cost) / found.job.quantity for stage, cost in found.cost_by_stage().items()}


def _facts(found):
    """What the sliders change, as {name: text}."""
    sizes, kits = ShellSizes(found.job, found.rates), found.job.quantity
    printing_h = kits * sizes.kit_polymer_cm3 / found.rates["printed_pattern.print_rate"]
    drying_h = sizes.intervals_h.sum() + found.rates["shell.final_drying"]
    return {
        "polymer of one kit": f"{1000 * sizes.kit_polymer_kg:.0f} g",
        "printing, whole job": f"{printing_h:.1f} h",
        "kits on one cluster": f"{1 / float(sizes.per_kit):.2f}",
        "coats": f"{float(sizes.coats):.0f}",
        "from first dip to dry shell": f"{drying_h:.0f} h",
        "least time to burn all patterns": f"{kits * float(sizes.burning_h):.1f} h",
        "metal poured for one kit": f"{sum(map(float, sizes.metal_kg.values())):.2f} kg",
        "share that becomes parts": f"{float(sizes.casting_yield):.0%}",
    }
