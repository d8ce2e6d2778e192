"""What to measure on a batch on arrival, by route, with limits; it judges sizes, not whether a joint holds."""

from contextlib import suppress

import numpy as np

from pourprint.ledger.checks import own_data
from pourprint.ledger.entries import joints, table_of, values_of
from pourprint.ledger.errors import Infeasible
from pourprint.parts.kits import Bore
from pourprint.process.finish.iso_fits import limits_um
from pourprint.routes.common import least_gap_mm
from pourprint.routes.findings import KINDS
from pourprint.routes.finishing import finishing_list, hole_tolerance_mm


def inspection_list(plan):
    """What to measure on one batch, as a pandas table: one row a thing to measure or look at of each part.

    Columns: part, pieces in the batch, of them to be measured, what, least and greatest [mm] or [g], why.
    Bores and machined sockets: every piece. What stays as made: every piece where more of them fall outside than
    joints' inspection.sure, else the share inspection.sample. Size and mass by the route's own tolerance; NaN where no
    table reaches. plan: Plan of single numbers; Infeasible plans are refused by what they raise.
    """
    values, finishing = values_of(joints()), finishing_list(plan)
    tube = plan.rates["bonding.tube_tolerance"]
    narrow, wide = least_gap_mm(plan.job, plan.rates), plan.rates.entries["bonding.gap"].high
    rows = []
    for item in plan.job.kit.parts:
        pieces = int(item.count * min(plan.job.quantity, plan.job.batch_size))
        sample = max(1, int(np.ceil(values["inspection.sample"] * pieces)))
        own = finishing[finishing.index == item.part.name].to_dict("records")

        def note(measured, what, least, greatest, why, name=item.part.name, pieces=pieces):
            rows.append((name, pieces, measured, what, least, greatest, why))

        for hole, row in zip(item.holes, own, strict=False):
            if isinstance(hole, Bore):
                least, greatest = (hole.diameter_mm + um / 1000 for um in limits_um(hole.diameter_mm, hole.fit))
                why = "the bearing's seat"
            else:
                least, greatest = hole.diameter_mm + tube / 2 + 2 * narrow, hole.diameter_mm - tube / 2 + 2 * wide
                why = "the bond's gap with any tube"
            every = row["how"] == "machined" or row["outside if left [-]"] > values["inspection.sure"]
            note(pieces if every else sample, f"{row['feature']} [mm]", least, greatest, f"{why}; {row['how']}")
        size, tolerance = float(np.max(item.part.box_mm)), np.nan
        with suppress(Infeasible):
            tolerance = hole_tolerance_mm(plan, size)
        note(sample, "longest side [mm]", size - tolerance / 2, size + tolerance / 2, "the route's own tolerance")
        mass = item.part.volume_cm3 * plan.job.alloy["density"]
        skin = item.part.area_cm2 * tolerance / 40 * plan.job.alloy["density"]  # all skins a quarter in or out
        note(pieces, "mass, finished [g]", mass - skin, mass + skin, "what is left inside, or did not fill")
        for look in own_data("advice")[KINDS[plan.route]]["looks"]:
            note(pieces, look, np.nan, np.nan, "to be seen")
    columns = ["part", "pieces", "to measure", "what", "least", "greatest", "why"]
    table = table_of(rows, columns=columns)
    alike = table.groupby(["part", "what"], sort=False).cumcount() > 0  # holes alike are told once
    return table[~alike].set_index("part")
