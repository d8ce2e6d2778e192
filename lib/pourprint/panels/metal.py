"""The panel of printed metal: alloy, layers, orientation and quantity, and where the hours and the money go."""

import numpy as np

from pourprint.figures import printed_metal as printing
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import check_card, job_rows, route_panel
from pourprint.plans.jobs import Job
from pourprint.routes import plan, printed_metal

KEY = printed_metal.NAME
PROCESS = ("turning", "layer_scale", "recoat", "kits_together")  # process values that have a control


def metal_panel(job, rates):
    """Sliders for a job printed in metal, starting as the job is: all its kits at once.

    Parameters: `job` Job of one quantity; `rates` RateCard. Returns: Panel. Raises: InputError; Infeasible.
    """
    if not isinstance(job, Job) or np.ndim(job.quantity):
        raise InputError(
            f"job must be a Job of one quantity, not {job!r}: make one with Job(kit, alloy=…, quantity=…)."
        )
    check_card(rates)
    one = f"hours of one {job.kit.noun}"
    scale, recoat, shared = (rates.entries[f"{KEY}.{key}"] for key in PROCESS[1:])
    rows = job_rows(KEY, job.kit, rates, job.quantity, job.alloy.name) | {
        "turning": choice_row("orientation", [("least hours", 1.0), ("as drawn", 0.0)]),
        "layer_scale": number_row("layer thickness", scale.value, scale.low, scale.high, 0.05, "× usual"),
        "kits_together": number_row(
            "printed together", shared.value, shared.low, shared.high, 1, f"{job.kit.noun}s", log=True
        ),
        "recoat": number_row("spread a layer", recoat.value, recoat.low, recoat.high, 0.5, "s"),
    }

    def asked(values):
        wanted = job.with_(alloy=values["alloy"], quantity=values["quantity"], batch_size=None)
        return plan(KEY, wanted, rates.replace({f"{KEY}.{key}": values[key] for key in PROCESS}))

    return route_panel(
        {"The build": rows},
        asked,
        lambda found: printing.hours_of_a_kit(printed_metal.lay_out(found.job, found.rates)),
        _facts,
        f"{printing.HOURS_IN_WORDS} The stroke is what it took at first.",
        f"Where the {one} go",
        one,
    )


def _facts(found):
    """What the sliders change, as {name: text}."""
    layout = printed_metal.lay_out(found.job, found.rates)
    return {
        "layer": f"{1000 * printed_metal.layer_mm(found.job, found.rates.section(KEY)):.0f} µm",
        "height of a plate": f"{float(layout.height_mm):.0f} mm",
        "plates, whole job": f"{int(layout.plates.per_batch(found.job.quantity))}",
        "machine hours, whole job": f"{found.machine_h:.0f} h",
        "hands-on hours, whole job": f"{found.hands_on_h:.0f} h",
    }
