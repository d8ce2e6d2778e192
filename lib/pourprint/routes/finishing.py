"""What is machined on each piece and what it costs, bore by bore, by each route, beside what leaving it would risk."""

import numpy as np

from pourprint.ledger.entries import joints, table_of
from pourprint.parts.kits import Bore
from pourprint.process.finish.iso_fits import limits_um
from pourprint.process.finish.machining import cutting_h, face_stock_cm3
from pourprint.routes import common
from pourprint.routes.looks import moulds_of


def hole_tolerance_mm(plan, diameter_mm):
    """Total tolerance [mm] of a hole of some diameter [mm] as the plan's route makes it; of single numbers. Raises:
    Infeasible past the table."""
    return common.as_made(plan.route, plan.rates)[0](np.array([diameter_mm])).item()


def share_outside(width_mm, tolerance_mm, off_mm=0.0):
    """Share of pieces outside a band of some width, made within a total tolerance about a middle that is off the
    band's by off_mm [mm]; the tolerance is so many standard deviations (joints: process.spread) of a normal spread.

    >>> round(float(share_outside(0.021, 0.46)), 2)  # a bore N7, cast in grade 5
    0.89
    """
    from scipy.special import ndtr

    spread = np.asarray(tolerance_mm) / joints()["process.spread"].value
    return 1 - ndtr((width_mm / 2 - off_mm) / spread) + ndtr((-width_mm / 2 - off_mm) / spread)


def finishing_list(plan):
    """A plan's machining, as a pandas table: one row a feature of each part's piece.

    Columns: part, count of pieces in a kit, feature, asked (limits [mm] about the diameter, or gap [mm]), how (machined
    or as made), raw diameter [mm] (0: cast shut), stock a side [mm], hours and cost a piece (clamping shared by the
    features of a piece, the batch's set-up left out), share outside what is asked if left as made (NaN for faces).
    Infeasible plans, and plans of arrays, are refused by what they raise.
    """
    rates, job, (_, stock, _) = plan.rates, plan.job, common.as_made(plan.route, plan.rates)
    machine_h = sum(rates[key] for key in ("labour.technician", "machine.machining_centre"))
    machine_h += rates["power.machining_centre"] * rates["energy.electricity"]
    read, least, asked_gap = rates.section("machining"), common.least_gap_mm(job, rates), rates["bonding.gap"]
    widest, tube = rates.entries["bonding.gap"].high, rates["bonding.tube_tolerance"]
    moulds = moulds_of(job, rates) if plan.route == "printed_mould" else [None] * len(job.kit.parts)
    rows = []
    for item, work, mould in zip(job.kit.parts, common.machining_of(job, rates, plan.route), moulds, strict=True):
        own = []
        made = work.hole_mm, work.tolerance_mm, work.cut, work.raw_mm, work.hole_cm3
        for hole, finished, tolerance, cut, raw, taken in zip(item.holes, *made, strict=True):
            if isinstance(hole, Bore):
                low, high = (um / 1000 for um in limits_um(hole.diameter_mm, hole.fit))
                name, asked = f"bore {hole.diameter_mm:g} {hole.fit}", f"{low:+.3f} … {high:+.3f}"
                outside = share_outside(high - low, tolerance)
            else:
                name, asked = f"socket {hole.diameter_mm:g}", f"gap {least:g} … {widest:g}"
                spread = np.hypot(tolerance, tube) / 2  # of the gap, from two diameters
                outside = share_outside(widest - least, spread, asked_gap - (least + widest) / 2)
            own.append((name, asked, cut, raw, (finished - raw) / 2, taken, outside))
        for face in item.faces:
            taken = face_stock_cm3(face.area_cm2, stock)
            own.append((f"face {face.area_cm2:.1f} cm²", "flat", True, np.nan, stock, taken, np.nan))
        if mould and mould.hollow_cm3:
            own.append(("hollow under the feeder", "opened", True, 0.0, np.nan, float(mould.hollow_cm3), np.nan))
        machined = sum(row[2] for row in own)
        for name, asked, cut, raw, a_side, taken, outside in own:
            cutting = job.alloy["cutting"] * cutting_h(1, taken, read("feature"), read("removal_rate"))
            hours = (cutting + read("clamp_each") / machined) if cut else 0.0
            how = "machined" if cut else "as made"
            rows.append((item.part.name, item.count, name, asked, how, raw, a_side, hours, hours * machine_h, outside))
    columns = ["part", "count", "feature", "asked [mm]", "how", "raw [mm]", "stock a side [mm]", "hours [h]"]
    return table_of(rows, "part", [*columns, f"cost [{rates.currency}]", "outside if left [-]"])


def finishing_lists(plans):
    """The finishing lists of all feasible plans {route: Plan} under each other, by route."""
    import pandas as pd

    lists = {route: finishing_list(plan) for route, plan in plans.items() if plan.feasible}
    return pd.concat(lists, names=["route"])
