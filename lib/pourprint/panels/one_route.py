"""The panels of one route each: what may be chosen there, and what follows from it, now and at first."""

import numpy as np
import pandas as pd

from pourprint.figures.bars import change_bars
from pourprint.figures.printed_metal import hours_of_a_kit
from pourprint.figures.stages import short
from pourprint.figures.tables import table_html
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import TEXTS, Shown, alloy_row, kit_of, mean_cm3, panel, value_rows, volume_row
from pourprint.plans.jobs import Job
from pourprint.routes import common, plan, printed_metal, printed_mould
from pourprint.routes.shell_sizes import ShellSizes


def pattern_panel(kit, rates, quantity=1, alloy="AlSi7Mg"):
    """Sliders for the choices of the printed-pattern route, with what follows: sizes, cost by stage, days.

    Parameters: `kit` Kit or Part; `rates` RateCard; `quantity` of kits; `alloy`. Returns: Panel. Raises: InputError.
    """
    job, choices = Job(kit_of(kit, rates), alloy, quantity), [*value_rows("pattern", rates).items()]
    groups = {"The job": {}, "Pattern and cluster": dict(choices[:4]), "Shell and fire": dict(choices[4:])}
    return _panel("pattern", job, rates, groups, _pattern_costs, _pattern_facts)


def mould_panel(kit, rates, quantity=1, alloy="AlSi7Mg"):
    """Sliders for the choices of the printed-mould route, with sizes and the cost of each step, at first and now.

    Parameters: `kit` Kit or Part; `rates` RateCard; `quantity` of kits; `alloy`. Returns: Panel. Raises: InputError.
    """
    job = Job(kit_of(kit, rates), alloy, quantity)
    groups = {"The job": {"volume": volume_row([job.kit], 500.0)}, "The mould": value_rows("mould", rates)}
    return _panel("mould", job, rates, groups, _mould_costs, _mould_facts)


def metal_panel(job, rates):
    """Sliders for a job printed in metal, starting as the job is: all its kits at once.

    Parameters: `job` Job of one quantity; `rates` RateCard. Returns: Panel. Raises: InputError; Infeasible.
    """
    if not isinstance(job, Job) or np.ndim(job.quantity):
        raise InputError(
            f"job must be a Job of one quantity, not {job!r}: make one with Job(kit, alloy=…, quantity=…)."
        )
    turning = choice_row("orientation", [("least hours", 1.0), ("as drawn", 0.0)])
    groups = {"The build": {"printed_metal.turning": turning} | value_rows("metal", rates, job.kit.noun)}
    return _panel("metal", job, rates, groups, hours_of_a_kit, _metal_facts)


def _panel(name, job, rates, groups, costs, facts):
    """A panel of one route's choices: what each part of its plan comes to, and facts, now and at first.

    Parameters: `name` of the route as in panels.toml; `groups` {caption: {key of the card, or "volume": Row}}, the
    first with alloy and quantity before them; of a Plan `costs` {name: amount for one kit} and `facts` {name: text}.
    """
    route, caption, noun, kits = f"printed_{name}", next(iter(groups)), job.kit.noun, job.quantity
    rates = rates.making()  # what the card buys leaves nothing to choose
    wanted = number_row("quantity wanted", kits, 1, max(100, kits), 1, f"{noun}s", log=True)
    asks = {"alloy": alloy_row(route, rates, job.alloy.name), "quantity": wanted}
    groups = groups | {caption: asks | groups[caption]}
    title, unit = (words.format(noun=noun, money=rates.currency) for words in TEXTS["bars"][name])

    def asked(values):
        size = values.get("volume", mean_cm3(job.kit))
        kit = job.kit if size == mean_cm3(job.kit) else job.kit.scaled_to(size)
        wanted = job.with_(kit=kit, alloy=values["alloy"], quantity=values["quantity"], batch_size=None)
        return plan(route, wanted, rates.replace({key: value for key, value in values.items() if "." in key}))

    def shown(found, values):
        return Shown(
            _what_changed(found, first),
            change_bars(title, route, costs(found), costs(first), unit),
            _then_and_now(facts(first), facts(found)),
        )

    first = asked({name: row.value for rows in groups.values() for name, row in rows.items()})
    return panel(groups, asked, shown, TEXTS["words"][name])


def _what_changed(found, first):
    """Cost and days of a plan without failures, and how the cost differs from that at first."""
    money, more = found.rates.currency, found.unit_cost - first.unit_cost
    change = f", {abs(more):,.0f} {'more' if more > 0 else 'less'} than at first" if abs(more) >= 0.5 else ""
    begin = f"{found.job.start:%a %d %b %Y}" if found.job.start else "a Monday's opening"
    return {
        "cost": f"{found.unit_cost:,.0f} {money} a {found.job.kit.noun} if nothing fails{change}",
        "days": f"ready {found.lead_time_days:.1f} days after {begin} if nothing fails",
    }


def _then_and_now(before, now):
    """First and present facts {name: text} side by side as an HTML table; what has changed is marked."""
    rows = {name: (before[name], text + " ◂" * (text != before[name])) for name, text in now.items()}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["at first", "now"])
    return table_html(table.rename_axis("what follows"))


def _pattern_costs(found):
    """{stage, shortly named: cost of one kit}."""
    return {short(s.title, found.route): float(c) / found.job.quantity for s, c in found.cost_by_stage().items()}


def _pattern_facts(found):
    sizes, kits, noun = ShellSizes(found.job, found.rates), found.job.quantity, found.job.kit.noun
    return {
        f"polymer of one {noun}": f"{1000 * sizes.kit_polymer_kg:.0f} g",
        "printing, whole job": f"{kits * sizes.printing_h:.1f} h",
        f"{noun}s on one cluster": f"{1 / float(sizes.per_kit):.3g}",
        "coats": f"{float(sizes.coats):.0f}",
        "from first dip to dry shell": f"{sizes.drying_h:.0f} h",
        "least time to burn all patterns": f"{kits * float(sizes.burning_h):.1f} h",
        f"metal poured for one {noun}": f"{sum(map(float, sizes.metal_kg.values())):.2f} kg",
        "share of it that becomes castings": f"{float(sizes.casting_yield):.0%}",
    }


def _mould_costs(found):
    """{step's name: cost of one kit}."""
    return {s.name: float(cost) / found.job.quantity for s, cost in zip(found.steps, found.step_costs, strict=True)}


def _mould_facts(found):
    kit, moulds = found.job.kit, printed_mould.moulds_of(found.job, found.rates)
    named = {"mould": "moulds poured, whole job", "box": "job boxes, whole job"}
    loads = {named[of.name]: f"{float(often):.0f}" for of, often in found.counts.items() if of.name in named}
    amounts = np.array([(one.metal_kg, one.sand_kg, one.cores, one.stock_cm3) for one in moulds], dtype=float)
    poured, sand, cores, stock = common.total(kit, amounts)
    return {
        "widest feeder": f"{max(float(one.feeder.diameter_mm) for one in moulds):.0f} mm",
        "metal poured": f"{poured:.2f} kg",
        "share of it that becomes parts": f"{kit.volume_cm3 * found.job.alloy['density'] / 1000 / poured:.0%}",
        "printed sand": f"{sand:.1f} kg",
        "sand for a kilogram poured": f"{sand / poured:.1f} kg",
        "cores": f"{cores:.0f}",
        "metal to machine off": f"{stock:.0f} cm³",
    } | loads


def _metal_facts(found):
    layout = printed_metal.lay_out(found.job, found.rates)
    layer_mm = printed_metal.layer_mm(found.job, found.rates.section(printed_metal.NAME))
    return {
        "layer": f"{1000 * layer_mm:.0f} µm",
        "height of the build": f"{float(layout.height_mm):.0f} mm",
        "plates, whole job": f"{int(layout.plates.per_batch(found.job.quantity))}",
        "machine hours, whole job": f"{found.machine_h:.0f} h",
        "hands-on hours, whole job": f"{found.hands_on_h:.0f} h",
    }
