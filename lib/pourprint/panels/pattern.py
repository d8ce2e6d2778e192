"""The panel of the pattern route: a moulder's choices on the left, what follows from them on the right."""

from pourprint.figures.stages import SHORT
from pourprint.panels.panel import check_card, job_rows, kit_of, route_panel, value_rows
from pourprint.plans.jobs import Job
from pourprint.routes import plan
from pourprint.routes.printed_pattern import NAME
from pourprint.routes.shell_sizes import ShellSizes

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


def pattern_panel(kit, rates, quantity=1):
    """Sliders for the choices of the printed-pattern route, with what follows: sizes, cost by stage, days.

    Parameters: `kit` Kit or Part; `rates` RateCard; `quantity` of kits. Returns: Panel. Raises: InputError.
    """
    kit = kit_of(kit)
    check_card(rates)
    choices = [*value_rows(CHOICES, rates, UNITS).items()]

    def asked(values):
        return plan(NAME, Job(kit, values["alloy"], values["quantity"]), rates.replace({k: values[k] for k in CHOICES}))

    return route_panel(
        {
            "The job": job_rows(NAME, kit, rates, quantity),
            "Pattern and cluster": dict(choices[:4]),
            "Shell and fire": dict(choices[4:]),
        },
        asked,
        _costs,
        _facts,
        "one bar a stage, first stage on top; its length is what the stage costs now, and the stroke is "
        "what it cost at first. The table holds the sizes that the choices move; an arrow marks what has changed. "
        "Shells need room: gate length and gap move nothing while they are less than two shells and the clearance "
        "between them.",
        "Where the money goes, stage by stage",
        f"{rates.currency} a {kit.noun}",
    )


def _costs(found):
    """{stage, shortly named: cost of one kit}."""
    return {SHORT[stage.title]: float(cost) / found.job.quantity for stage, cost in found.cost_by_stage().items()}


def _facts(found):
    """What the sliders change, as {name: text}."""
    sizes, kits, noun = ShellSizes(found.job, found.rates), found.job.quantity, found.job.kit.noun
    return {
        f"polymer of one {noun}": f"{1000 * sizes.kit_polymer_kg:.0f} g",
        "printing, whole job": f"{kits * sizes.printing_h:.1f} h",
        f"{noun}s on one cluster": f"{1 / float(sizes.per_kit):.2f}",
        "coats": f"{float(sizes.coats):.0f}",
        "from first dip to dry shell": f"{sizes.drying_h:.0f} h",
        "least time to burn all patterns": f"{kits * float(sizes.burning_h):.1f} h",
        f"metal poured for one {noun}": f"{sum(map(float, sizes.metal_kg.values())):.2f} kg",
        "share that becomes parts": f"{float(sizes.casting_yield):.0%}",
    }
