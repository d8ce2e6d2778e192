"""The usual cautions of each stage: what a route's steps can do to people, and the standards that rule.

They remind and defer to local codes, the supplier's data sheets and licensed practice.
"""

from pourprint.ledger.checks import own_data


def cautions_of(plan):
    """The cautions of a feasible plan's stages, for its alloy: pandas table with stage and caution.

    Every stage of the route that can hurt has at least one row; stages at a desk share the design's.
    """
    import pandas as pd

    rows = [
        {"stage": stage.title, "caution": entry["text"]}
        for stage in plan.stages
        for entry in own_data("cautions")["caution"]
        if stage.name in entry["stages"]
        and plan.route in entry["routes"]
        and plan.job.alloy.family in entry.get("families", [plan.job.alloy.family])
    ]
    return pd.DataFrame(rows, columns=["stage", "caution"])
