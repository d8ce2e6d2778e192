"""The memo's tables: pandas tables whose headings carry the units, and the one way to write their cells."""

from numbers import Number

import numpy as np
import pandas as pd

from pourprint.decide.carbon import carbon_kg
from pourprint.decide.price import price_of
from pourprint.figures.tables import cell
from pourprint.ledger.entries import in_words
from pourprint.plans.plan import ranged
from pourprint.plans.steps import Stage
from pourprint.report.traveller import BOUGHT
from pourprint.routes import findings
from pourprint.routes.bought import bought_for, ordered
from pourprint.routes.finishing import finishing_list


def shown(value, heading, currency):
    """A cell as text: money to the cent, hours to a hundredth, shares and days to a tenth, the ends of a tolerance to a
    thousandth, all else as `cell` writes it."""
    forms = {f"[{currency or '-'}": ",.2f", "[h]": ",.2f", "[%]": ",.1f", "[d]": ",.1f"}
    form = next((form for unit, form in forms.items() if unit in heading), "")
    form = ".3f" if heading.startswith(("least", "greatest")) else form
    if form and value and isinstance(value, Number) and np.isfinite(value):
        return format(value, form)
    return cell(value)


def plain_text(table, currency=""):
    """A table as plain text in columns."""
    texts = {name: [shown(value, f"{name}{row}", currency) for row, value in table[name].items()] for name in table}
    return type(table)(texts, index=table.index).to_string(index=table.index.name is not None)


def findings_table(plans):
    """What stands against the parts, route by route; a refused route with its reason, a clear one with "nothing"; first
    what was mended, estimated or is doubted in the parts themselves."""
    clear, kits = [{"verdict": "can", "what": "nothing found"}], [p.job.kit for p in plans.values() if p.feasible][:1]
    noted = [(item.part.name, note) for kit in kits for item in kit.parts for note in item.part.notes]
    rows = [{"route": "Every route", "verdict": "watch", "part": part, "what": note} for part, note in noted]
    for plan in plans.values():
        barred = [] if plan.feasible else [{"verdict": "cannot", "what": plan.reason}]
        found = barred or findings.table(plan.findings).to_dict("records") or clear
        rows += [{"route": plan.title, **row} for row in found]
    columns = ["route", "verdict", "part", "what", "measured", "limit", "unit", "pedigree", "advice"]
    return pd.DataFrame(rows, columns=columns).set_index("route").replace({np.nan: None})


def together(found):
    """A findings table with one row for what stands alike on several routes and parts, refusals first.

    Of several parts the worst comes first, and what was measured is its; names are joined, without underscores.
    """
    order, alike = ("cannot", "refused", "watch", "can"), ["verdict", "what", "limit", "unit", "pedigree", "advice"]
    beyond = (found["measured"].astype(float) - found["limit"].astype(float)).abs()
    rows = found.assign(beyond=-beyond).reset_index().sort_values("beyond", kind="stable").astype(object).fillna("")
    rows = rows.groupby([*alike, "part", "measured"], sort=False, as_index=False)["route"].agg(", ".join)
    told = {"part": lambda names: ", ".join(dict.fromkeys(names)).replace("_", " "), "measured": "first"}
    rows = rows.groupby([*alike, "route"], sort=False, as_index=False).agg(told).set_index("route")[[*found]]
    return rows.sort_values("verdict", key=lambda said: said.map(order.index), kind="stable")


def routes_table(memo):
    """The routes side by side, the chosen one first: cost and days as planned and with failures, and the rest."""
    money, rows = memo.rates.currency, []
    priced = any(key.startswith("price.") for key in memo.rates.entries)
    gases = "greenhouse gases with failures" + ", orders left out" * any(map(bought_for, memo.able.values()))
    for route in sorted(memo.able, key=lambda route: (route != memo.chosen, memo.mean_cost(route))):
        plan, mean, run = memo.able[route], memo.failing[route], memo.runs[route]
        taken = {key: mean[0] for key, (_, mean) in memo.again[route].amounts.items()}
        hands_h, machine_h = (sum(taken[key] for key in taken if key.startswith(of)) for of in ("labour.", "machine."))
        cut = finishing_list(plan).query("how == 'machined'")
        row = {
            "route": plan.title,
            f"a {memo.job.kit.noun}, no failures [{money}]": plan.unit_cost,
            f"job, no failures [{money}]": plan.total_cost,
            f"job with failures [{money}]": mean.cost,
            f"with failures and days [{money}]": memo.mean_cost(route),
            f"price, no failures [{money}]": price_of(plan)["price"] if priced else np.nan,
            "days, no failures [d]": plan.lead_time_days,
            "days with failures [d]": mean.days,
            f"job, 9 of 10 draws below [{money}]": np.quantile(run.cost, 0.9),
            "days, 9 of 10 draws within [d]": np.quantile(run.days, 0.9),
            "best of draws [%]": 100 * memo.sureness[route],
            "in time [%]": np.nan if memo.deadline is None else 100 * run.chance(memo.deadline),
            "hands with failures [h]": hands_h,
            "machines with failures [h]": machine_h,
            "steps [-]": len(plan.steps),
            "first-pass yield [%]": 100 * plan.first_pass_yield,
            f"holes and faces machined on a {memo.job.kit.noun} [-]": cut["count"].sum(),
            f"finish and inspect, job, no failures [{money}]": plan.cost_by_stage().get(Stage.FINISH, 0.0),
            "electricity with failures [kWh]": taken.get("energy.electricity", 0.0),
            f"{gases} [kg CO₂e]": carbon_kg(taken),
        }
        rows.append(row)
    return pd.DataFrame(rows).set_index("route").T.dropna().rename_axis("what").rename_axis(None, axis=1)


def buying_table(plan, found):
    """What the job takes of all that is bought: amount, unit, price of one and cost [currency], and with failures.

    Parameter: `found` the plan's Again.
    """
    rows, money = [], plan.rates.currency
    for key, paid in found.amounts.items():
        plain, more = ordered(plan.rates, key, paid[:, 0])
        if more > 1e-9 and not key.startswith(BOUGHT) and (plan.rates[key] or not key.startswith("buy.")):
            cost, unit = paid[:, 0] * plan.rates[key], plan.rates.entries[key].unit.partition("/")[2] or "-"
            rows.append((in_words(key), plain, more, unit, cost[1] / more, cost[0]))
    columns = ["what", "amount", "with failures", "unit", f"price of one [{money}]", f"cost [{money}]"]
    return pd.DataFrame(rows, columns=columns).set_index("what")


def risks_table(memo):
    """What the failures of each step of the chosen route are expected to cost the job, the dearest first."""
    steps = {step.name: step for step in memo.plan.steps}
    rows = [
        (name, 100 * (1 - steps[name].first_pass_yield), steps[name].spoils, steps[name].returns_to, cost)
        for name, cost in sorted(memo.rework.rework_cost.items(), key=lambda item: -item[1])
    ]
    columns = ["failure at", "chance [%]", "spoils one", "work goes back to", f"costs the job [{memo.rates.currency}]"]
    return pd.DataFrame(rows, columns=columns).set_index("failure at")


def worth_table(information):
    """What it is worth to know, as `Information.table`, with the currency in the headings."""
    money = {name: f"{name.replace('_', ' ')} [{information.currency}]" for name in ("worth", "standard_error")}
    return information.table().rename(columns=money).rename_axis("what is known")


def assumptions_table(memo):
    """The numbers with a range that the chosen plan reads, with pedigree, source and date; weakest pedigree first."""
    order = {"invented": 0, "from memory": 1, "common practice": 2, "published": 3}
    rows = [
        (in_words(key), e.value, e.low, e.high, e.unit, str(e.pedigree), e.source, e.date.isoformat())
        for key, e in sorted(ranged(memo.plan).items(), key=lambda item: order.get(str(item[1].pedigree), 0))
    ]
    columns = ["number", "value", "low", "high", "unit", "pedigree", "source", "date"]
    return pd.DataFrame(rows, columns=columns).set_index("number")
