"""What failures cost."""

import pandas as pd

from pourprint.figures.look import LOOKS, Chart, tint
from pourprint.figures.strokes import bars, canvas
from pourprint.ledger.errors import InputError


def failures_chart(plan, found):
    """What the failures of each step cost in the whole job, everything that they send back included. Returns: Chart.

    Parameters: `plan` a Plan; `found` its `rework`.
    """
    costs = dict(sorted(found.rework_cost.items(), key=lambda item: -item[1]))
    if not costs:
        raise InputError(f"{plan.title} has no step that fails: set a yield below 1 to see what failures cost.")
    money, worst = plan.rates.currency, next(iter(costs))
    title = f"{plan.title}: failures at “{worst}” cost most"
    figure = canvas(title, f"expected cost of its failures [{money}]", rows=costs)
    said = [f"{cost:,.0f}" for cost in costs.values()]
    bars(figure, [*costs.values()], [*costs], tint(LOOKS[plan.route].colour, 0.3), said=said, hover="%{y}: %{x:,.0f}")
    extra, yields = found.cost - found.failure_free_cost, {step.name: step.first_pass_yield for step in plan.steps}
    rows = [(name, yields.get(name, float("nan")), cost) for name, cost in costs.items()]
    return Chart(
        figure,
        f"Failures add {extra:,.0f} {money} ({extra / found.failure_free_cost:.0%}) to the job; the largest share, "
        f"{costs[worst] / sum(costs.values()):.0%}, comes from “{worst}”.",
        "One bar a step that can fail, the dearest on top; its length is what its failures are expected to cost.",
        pd.DataFrame(rows, columns=["step", "first_pass_yield", f"cost_{money}"]).set_index("step"),
    )
