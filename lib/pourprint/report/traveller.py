"""The workshop traveller: one batch of a plan, step by step, and what belongs beside it: sizes, machining, cautions."""

from pourprint.figures.printed_mould import mould_table
from pourprint.figures.tables import cell
from pourprint.plans.cautions import cautions_of
from pourprint.routes.bought import ordered
from pourprint.routes.finishing import finishing_list
from pourprint.routes.printed_metal import lay_out
from pourprint.routes.printed_mould import moulds_of
from pourprint.routes.set_points import set_points
from pourprint.routes.shell_sizes import ShellSizes

MINUTE = "%d\N{NO-BREAK SPACE}%b\N{NO-BREAK SPACE}%H:%M"
BOUGHT = ("labour.", "machine.")  # hours, which nobody orders


def traveller(plan):
    """One batch's work to tick and sign: steps in order with how often, settings, hands, machine, times, materials.

    Parameters: `plan` of single numbers, of a job with a start. Hours and materials are those of one batch with the
    one-off work; times are planned, failures left out; cautions are named by their number in `cautions_table`.
    """
    import pandas as pd

    first, cautions = plan.at(quantity=min(plan.job.quantity, plan.job.batch_size)), cautions_table(plan)
    times, settings, rows = plan.timeline().set_index("step"), {}, []
    numbers = {step.name: number for number, step in enumerate(first.steps, start=1)}
    for name, what, value, unit in set_points(first).iloc[:, :3].itertuples():
        settings.setdefault(name, []).append(f"{what} {cell(value)}{'' if unit == '-' else f' {unit}'}")
    for step, row, amounts in zip(first.steps, first.table().itertuples(), first.amounts, strict=True):
        people, back = max(work.people for work in step.work), numbers.get(step.returns_to)
        named = cautions.index[cautions["stage"] == step.stage.title].tolist()
        when = times.loc[step.name] if step.name in times.index else None
        kept = f"{row.kept_hot} kept hot" * (row.kept_hot_h > 0)
        rows.append(
            {
                "step": step.name,
                "who": f"{people} × " * (people > 1) + row.who.replace("_", " "),
                "machine": ", ".join(filter(None, (row.machine, kept))).replace("_", " "),
                "how often": _often(first, step),
                "settings": "; ".join(settings.get(step.name, ())),
                "materials used up": _materials(plan, amounts),
                "planned": "" if when is None else " – ".join(f"{when[end]:{MINUTE}}" for end in ("begin", "end")),
                "hands [h]": row.hands_on_h,
                "machine [h]": row.machine_h + row.kept_hot_h,
                "wait [h]": row.wait_h,
                "if it fails": f"scrap {step.spoils}, back to {back}" if back else "",
                "cautions": "–".join(map(str, dict.fromkeys((named[0], named[-1])))) if named else "",
                "done": "☐",
                "name, time": "",
            }
        )  # fmt: skip
    return pd.DataFrame(rows, index=pd.RangeIndex(1, len(rows) + 1, name="no."))


def _often(first, step):
    """How often a step's work falls due in a batch, and in how many rounds; of what is ordered, for how many parts."""
    if any(key.startswith("buy.") for work in step.work for key in work.materials):
        return f"part × {first.job.quantity * first.job.kit.nodes}" if step.work[0].level.name == "batch" else ""
    levels = [work.level for work in step.work if work.level.name not in ("job", "batch", "kit")]
    said = [f"{level.name} × {cell(float(first.counts[level]))}" for level in dict.fromkeys(levels)]
    rounds = float(step.rounds(first.job.quantity))
    said += [f"in {rounds:.0f} rounds"] * (rounds > 1) + ["at once after the step before"] * bool(step.within_h == 0)
    return ", ".join(said)


def _materials(plan, amounts):
    """What a step uses up; of what is ordered, how much of each thing that the price list counts."""
    found = []
    for key, amount in amounts.items():
        unit, what = plan.rates.entries[key].unit.partition("/")[2], key.rpartition(".")[2].replace("_", " ")
        what = "" if unit and what.startswith("per ") else what.removeprefix("per ").partition(" per ")[0]
        if amount and not key.startswith((*BOUGHT, "energy.")) and (plan.rates[key] or not key.startswith("buy.")):
            amount = ordered(plan.rates, key, amount)
            what = "parts" if what == "part" and amount != 1 else what
            found.append(" ".join(filter(None, (cell(float(f"{amount:.3g}")), unit, what))))
    return ", ".join(found)


def sizes_table(plan):
    """The sizes of what is built round each part: pattern and gate, mould and feeder, or how it stands on the plate."""
    if plan.route == "printed_mould":
        return mould_table(moulds_of(plan.job, plan.rates))
    built = lay_out if plan.route == "printed_metal" else ShellSizes
    return built(plan.job, plan.rates).table().rename_axis("part")


def machining_table(plan):
    """What is machined or left as made on each part, with how many alike a piece has."""
    rows = finishing_list(plan).reset_index()
    alike = rows.columns.tolist()
    found = rows.groupby(alike, sort=False, dropna=False).size().rename("alike").reset_index()
    return found[["part", "count", "alike", *alike[2:]]].set_index("part")


def cautions_table(plan):
    """The cautions of the route's stages, numbered."""
    rows = cautions_of(plan)
    return rows.set_axis(range(1, len(rows) + 1)).rename_axis("no.")
