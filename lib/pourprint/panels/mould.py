"""The panel of the printed mould: a moulder's choices, and the steps whose cost they move."""

from pourprint.ledger.alloys import alloys
from pourprint.panels.panel import check_card, job_rows, kit_of, mean_cm3, route_panel, value_rows, volume_row
from pourprint.plans.jobs import Job
from pourprint.routes import plan
from pourprint.routes.findings import allowed
from pourprint.routes.printed_mould import NAME, moulds_of

CHOICES = {  # what a moulder may choose: key of the card → name shown, ends of the slider, step
    "printed_mould.wall": ("wall of sand", 15, 80, 1),
    "feeding.modulus_ratio": ("feeder's modulus", 1.0, 2.5, 0.05),
    "feeding.height_ratio": ("feeder's height", 1.0, 2.0, 0.1),
    "feeding.efficiency": ("feeder gives", 0.08, 0.3, 0.01),
    "gating.least_sprue": ("least sprue", 6, 25, 0.5),
    "printed_mould.core_least": ("smallest core", 0.1, 30, 0.1),
    "printed_mould.casting_grade": ("casting grade", 7, 11, 1),
    "printed_mould.machining_stock": ("machining stock", 0.3, 3, 0.1),
}
UNITS = {"feeding.modulus_ratio": "× casting's", "feeding.height_ratio": "× width", "feeding.efficiency": "of 1"}


def mould_panel(kit, rates, quantity=1):
    """Sliders for the choices of the printed-mould route, with sizes and the cost of each step, at first and now.

    Parameters: `kit` Kit or Part; `rates` RateCard; `quantity` of kits. Returns: Panel. Raises: InputError.
    """
    kit = kit_of(kit)
    check_card(rates)
    job = job_rows(NAME, kit, rates, quantity) | {"volume": volume_row([kit], 500.0)}

    def asked(values):
        card = rates.replace({key: values[key] for key in CHOICES})
        sized = kit if values["volume"] == mean_cm3(kit) else kit.scaled_to(values["volume"])
        return plan(NAME, Job(sized, values["alloy"], values["quantity"]), card)

    names = _all_steps(
        asked(
            {"alloy": job["alloy"].value, "volume": job["volume"].value, "quantity": quantity}
            | {key: rates[key] for key in CHOICES}
        )
    )
    return route_panel(
        {"The job": job, "The mould": value_rows(CHOICES, rates, UNITS)},
        asked,
        lambda found: _costs(found, names),
        _facts,
        "one bar a step, first step on top; its length is what the step costs now, and the stroke is what "
        "it cost at first. The table holds the sizes that the choices move; an arrow marks what has changed. "
        "Of a feeder's two needs, modulus and metal to give, the larger one counts: the other's slider moves nothing.",
        "Which steps a choice makes dearer or cheaper",
        f"{rates.currency} a {kit.noun}",
    )


def _all_steps(first):
    """Names of all steps that some alloy needs, in the order of work."""
    names = [step.name for step in first.steps]
    for alloy in (name for name, alloy in alloys().items() if allowed(NAME, alloy, first.rates)):
        before = None
        for step in first.recipe(first.job.with_(alloy=alloy), first.rates):
            if step.name not in names:
                names.insert(names.index(before) + 1, step.name)
            before = step.name
    return names


def _costs(found, names):
    """{step's name: cost of one kit}, 0 for a step that the alloy does without."""
    costs = {step.name: float(cost) for step, cost in zip(found.steps, found.step_costs, strict=True)}
    return {name: costs.get(name, 0.0) / found.job.quantity for name in names}


def _facts(found):
    """What the sliders change in one kit, as {name: text}."""
    kit, moulds = found.job.kit, moulds_of(found.job, found.rates)

    def total(amount):
        return float(sum(item.count * amount(one) for item, one in zip(kit.parts, moulds, strict=True)))

    levels = {work.level.name: work.level for step in found.steps for work in step.work}
    poured = total(lambda one: one.metal_kg)
    wide = [float(one.feeder.diameter_mm) for one in moulds]
    return {
        "widest feeder": f"{max(wide):.0f} mm",
        "metal poured": f"{poured:.2f} kg",
        "share of it that becomes parts": f"{total(lambda one: one.metal_kg * one.casting_yield) / poured:.0%}",
        "printed sand": f"{total(lambda one: one.sand_kg):.1f} kg",
        "sand for a kilogram poured": f"{total(lambda one: one.sand_kg) / poured:.1f} kg",
        "cores": f"{total(lambda one: one.cores):.0f}",
        "metal to machine off": f"{total(lambda one: one.stock_cm3):.0f} cm³",
        "moulds, whole job": f"{float(levels['mould'].per_batch(found.job.quantity)):.0f}",
        "job boxes, whole job": f"{float(levels['box'].per_batch(found.job.quantity)):.0f}",
    }
