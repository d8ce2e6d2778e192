"""Learning and repeats: hands-on work gets quicker each time, set-ups are shared, and a die may pay.

Two forms of the learning curve are in use and must not be mixed. With rate r (0.8: "an 80% curve") and
b = log2(r), the *average* form (Wright) says that the mean time of the first n pieces is first·n^b, the *unit*
form (Crawford) that the n-th piece takes first·n^b. Over sixteen pieces they differ by a third.
Source: Wright 1936, J. Aeronautical Sciences 3:122–128; Crawford 1944 (both from memory).
Not valid across long breaks (forgetting), nor for machine time, which nobody learns.
"""

from dataclasses import dataclass, replace

import numpy as np

from pourprint.decide.compare import cheapest_intervals
from pourprint.ledger.checks import check_known, check_numbers
from pourprint.ledger.entries import table_of
from pourprint.ledger.errors import InputError
from pourprint.plans.plan import made
from pourprint.plans.steps import BATCH, JOB

FORMS = ("average", "unit")


@dataclass(frozen=True)
class Curve:
    """A learning curve: `rate` r [-], what remains of the time at each doubling, 0 < r ≤ 1; `form` "average" (Wright)
    or "unit" (Crawford). The first piece takes the time on the rate card."""

    rate: float
    form: str = "average"

    def __post_init__(self):
        check_numbers(arrays=False, rate=self.rate)
        if self.rate > 1:
            raise InputError(f"rate={self.rate!r} is what remains at each doubling, such as 0.8; it must not pass 1.")
        check_known(FORMS, form=self.form)

    def total(self, pieces):
        """Time of the first pieces in units of the card's time: `pieces` [-] whole numbers, any shape. Returns: [-].

        >>> round(100 * float(Curve(0.8).total(16)), 2), round(100 * float(Curve(0.8, "unit").total(16)))
        (655.36, 892)
        """
        check_numbers(whole=True, pieces=pieces)
        pieces, falls = np.asarray(pieces, dtype=int), np.log2(self.rate)
        n = np.arange(1, int(pieces.max()) + 1, dtype=float)
        return (n ** (1 + falls) if self.form == "average" else np.cumsum(n**falls))[pieces - 1]

    def mean(self, pieces):
        """Mean time of the first pieces in units of the card's time [-]."""
        return self.total(pieces) / np.asarray(pieces)


def learned_cost(plan, curve):
    """Cost of the whole job when repeated hands-on work follows a learning curve over the kits [currency].

    Parameters: `plan` a Plan, whose quantity may be an array; `curve` Curve over kits, in which the rate card's
    hours are those of the first. Returns: the plan's shape. Work done once a job does not learn; labour
    and attended machine time of all other work do. Raises: InputError.
    """
    made(plan)
    if not isinstance(curve, Curve):
        raise InputError(f"curve must be a Curve, such as Curve(0.8), not {curve!r}.")
    share = curve.mean(plan.job.quantity)

    def learned(w):
        return w if w.level is JOB else replace(w, hands_on_h=share * w.hands_on_h, unload_h=share * w.unload_h)

    steps = tuple(replace(step, work=tuple(map(learned, step.work))) for step in plan.steps)
    return replace(plan, steps=steps).total_cost


SHARES = ("once a job", "once a batch", "once a cluster, box or plate", "each part")


def cost_shares(plan):
    """Cost of one kit by how often the work falls due [currency]: {one of SHARES: the plan's shape}.

    What falls due once a job or batch is spread over more kits as they repeat; what each part takes is not.
    """
    made(plan)

    def share(level):
        if level is JOB or level is BATCH:
            return SHARES[0] if level is JOB else SHARES[1]
        each = level.name in ("part", "kit") or level.name.endswith(("per_part", "per_litre", "per_cm3"))  # or ordered
        return SHARES[3] if each else SHARES[1] if level.name.endswith(("per_order", "least_order")) else SHARES[2]

    def only(wanted):
        return tuple(
            replace(step, work=tuple(work for work in step.work if share(work.level) == wanted)) for step in plan.steps
        )

    shape = np.zeros(plan.shape)
    return {each: replace(plan, steps=only(each)).total_cost / plan.job.quantity + shape for each in SHARES}


def repeats(plan, orders):
    """The same job ordered again and again: what one kit has cost on average after each order.

    Parameters: `plan` of single numbers, the first order; `orders` how many [-]. Returns: pandas table, one row an
    order: kits so far and `cost_shares` a kit. One-off work is done for the first order alone.
    """
    made(plan).single_only("repeats()")
    check_numbers(arrays=False, whole=True, orders=orders)
    often = np.arange(1, int(orders) + 1)
    shares = {each: share + np.zeros(len(often)) for each, share in cost_shares(plan).items()}
    shares[SHARES[0]] /= often
    columns = {"orders": often, "kits": plan.job.quantity * often, **shares, "unit_cost": sum(shares.values())}
    return table_of(columns, "orders")


@dataclass(frozen=True)
class DiePays:
    """Unit costs over quantity without and with a die, and where the die pays.

    `quantities` (n,); `without`, `with_die` (n,) [currency a kit]; `intervals` a BreakEven; `pays_from` the first
    quantity from which on the die is cheaper up to the last one looked at, or None.
    """

    quantities: np.ndarray
    without: np.ndarray
    with_die: np.ndarray
    intervals: object
    pays_from: int | None


def when_a_die_pays(printed, tooled, quantities, curve=None):
    """Compare a plan without a die with one that buys it, over the number of kits.

    Parameters: two plans of the same job, such as of `printed_pattern` and `tooled_pattern`; `quantities` (n,)
    rising whole numbers; `curve` a Curve for the hands-on work of both (default: none). Returns: DiePays.
    For one-off costs F and unit costs c₁ > c₂ alone, N* = F/(c₁ − c₂) (exact); here steps and batches count too.
    """
    plans = [made(plan).at(quantity=quantities) for plan in (printed, tooled)]
    quantities = np.asarray(quantities)
    costs = [plan.total_cost if curve is None else learned_cost(plan, curve) for plan in plans]
    without, with_die = (cost / quantities for cost in costs)
    intervals = cheapest_intervals({printed.title: without, tooled.title: with_die}, quantities)
    last = intervals.intervals[-1]
    return DiePays(quantities, without, with_die, intervals, last.first if last.cheapest == tooled.title else None)
