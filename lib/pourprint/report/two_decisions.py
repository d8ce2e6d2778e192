"""Two decisions side by side: what was asked and answered, and what changed between them and why."""

from dataclasses import replace

from pourprint.decide.bridge import bridge
from pourprint.ledger.errors import InputError
from pourprint.risk.simulation import of_runs


def side_by_side(first, second):
    """Two memos: what was asked, what is recommended, and what it comes to. pandas table, one column a memo."""
    import pandas as pd

    return pd.DataFrame({"first decision": facts(first), "second decision": facts(second)})


def facts(memo):
    """What a memo was asked, and what it answers: {what: text}."""
    mean, money, run = memo.failing[memo.chosen], memo.rates.currency, memo.runs[memo.chosen]
    return {
        "asked": memo.question.partition("route for ")[2].rstrip("?"),
        "rate card": f"{memo.rates.lab}, {memo.rates.date:%d %b %Y}",
        "route": memo.plan.title,
        "job with failures": f"{mean.cost:,.2f} {money}",
        "with failures and days": f"{memo.mean_cost(memo.chosen):,.2f} {money}",
        "each, with failures and days": f"{memo.mean_cost(memo.chosen) / memo.job.quantity:,.2f} {money}",
        "days with failures": f"{mean.days:.1f}",
        "ready about": f"{memo.ready:%a %d %b %Y}",
        "in time": "" if memo.deadline is None else f"{of_runs(run.chance(memo.deadline))} of draws",
        "costs least in": f"{of_runs(memo.sureness[memo.chosen])} of draws",
    }


def changes(first, second):
    """From the first memo's recommendation to the second's, one change at a time: Piers as of `bridge`, sums exact.

    What was asked and the card change first, on the first memo's route, and the route last; the route changes first
    where it could not make what the second asks. Raises: InputError where neither can make the other's job, for two
    currencies, and for a job with what a Setting does not hold.
    """
    here, there = first.setting, second.setting
    turned = f"route {first.plan.title.lower()} → {second.plan.title.lower()}"
    try:
        piers = bridge(here, there, first.chosen)
        if first.chosen != second.chosen:
            piers += (replace(bridge(there, there, second.chosen)[0], what=turned),)
    except InputError:
        start, *rest = bridge(here, there, second.chosen)
        piers = (bridge(here, here, first.chosen)[0], replace(start, what=turned), *rest)
    for memo, pier in ((first, piers[0]), (second, piers[-1])):
        if abs(pier.cost * memo.job.quantity / memo.mean_cost(memo.chosen) - 1) > 1e-9:
            raise InputError(
                "days of delivery, sockets machined unasked and isolation are not held by a setting: leave them out."
            )
    return piers
