"""The panel of printed metal: alloy, layers, orientation and quantity, and where the hours and the money go."""

from dataclasses import dataclass

import ipywidgets as widgets
import numpy as np

from pourprint.figures import printing
from pourprint.figures.look import counted
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import choice_row, group, named, number_row, page
from pourprint.panels.live import guarded, live, redraw, status_line
from pourprint.panels.shared import alloy_row, answer_html, check_card
from pourprint.plans.jobs import Job
from pourprint.routes import plan, printed_metal

KEY = printed_metal.NAME
PROCESS = ("turning", "layer_scale", "recoat", "kits_together")  # process values that have a control


@dataclass(frozen=True)
class MetalPanel:
    """The parts of a metal panel, for tests: `controls` {name: Row}, live `figure`, `answer` and `status` HTML."""

    controls: dict
    figure: widgets.Widget
    answer: widgets.HTML
    status: widgets.HTML
    widget: widgets.Widget


def metal_panel(job, rates):
    """Sliders for a job printed in metal, starting as the job is: all its kits at once.

    Parameters: `job` Job of one quantity; `rates` RateCard. Returns: a widget. Raises: InputError; Infeasible.
    """
    return build(job, rates).widget


def build(job, rates):
    """The MetalPanel behind `metal_panel`; parameters as there."""
    if not isinstance(job, Job) or np.ndim(job.quantity):
        raise InputError(
            f"job must be a Job of one quantity, not {job!r}: make one with Job(kit, alloy=…, quantity=…)."
        )
    check_card(rates)
    scale, recoat, shared = (rates.entries[f"{KEY}.{key}"] for key in PROCESS[1:])
    controls = {
        "alloy": alloy_row(KEY),
        "turning": choice_row("orientation", [("least hours", 1.0), ("as drawn", 0.0)]),
        "quantity": number_row("quantity wanted", job.quantity, 1, max(50, job.quantity), 1, "kits", log=True),
        "layer_scale": number_row("layer thickness", scale.value, scale.low, scale.high, 0.05, "× usual"),
        "kits_together": number_row("printed together", shared.value, shared.low, shared.high, 1, "kits", log=True),
        "recoat": number_row("spread a layer", recoat.value, recoat.low, recoat.high, 0.5, "s"),
    }
    if KEY not in job.alloy.refused:
        controls["alloy"].source.value = job.alloy.name

    def asked():
        wanted = job.with_(alloy=controls["alloy"].value, quantity=controls["quantity"].value, batch_size=None)
        process = {f"{KEY}.{key}": controls[key].value for key in PROCESS}
        return wanted, rates.replace(process)

    def shown(wanted, card):
        layout, found = printed_metal.lay_out(wanted, card), plan(KEY, wanted, card)
        micrometres = 1000 * printed_metal.layer_mm(wanted, card.section(KEY))
        plates = int(layout.plates.per_batch(wanted.quantity))
        answer.value = answer_html(
            f"{wanted.alloy.title} in layers of "
            f"{micrometres:.0f} µm: {counted(plates, 'plate')} of {float(layout.height_mm):.0f} mm, "
            f"{found.unit_cost:,.0f} {card.currency} a kit, ready {found.lead_time_days:.1f} days after a Monday's "
            "start."
        )
        return layout

    def update():
        redraw(figure, printing.hours_data(shown(*asked())))

    answer, status = widgets.HTML().add_class("pourprint-live"), status_line()
    figure = live(printing.hours_figure(shown(*asked())))
    for row in controls.values():
        row.observe(guarded(update, status))
    content = widgets.VBox([answer, status, figure, widgets.HTML(f"<p><i>In words:</i> {printing.HOURS_IN_WORDS}</p>")])
    return MetalPanel(controls, figure, answer, status, named(page(group("The build", controls.values()), content)))
