"""Pour or Print: compare three ways to make small batches of custom metal nodes.

    import pourprint as pp
    job = pp.Job(pp.Kit.load("data_demo/rover_kit.toml"), alloy="AlSi7Mg", quantity=4)
    plans = pp.plan_all(job, pp.RateCard.load("data_demo/rates.toml"))

Results are estimates for teaching and planning, never a quotation or a safety approval.
"""

import importlib

from pourprint.alloys import Alloy, alloy_ledger, alloys
from pourprint.cautions import cautions_of
from pourprint.checkup import check_installation
from pourprint.compare import (
    break_even,
    cheapest_intervals,
    comparison,
    rank,
    tie_price_of_day,
    winners_by_price_of_day,
)
from pourprint.errors import Infeasible, InputError
from pourprint.jobs import Job
from pourprint.kits import Bore, Face, Kit, KitPart, Socket
from pourprint.ledger import as_table, freezing, unmeshed
from pourprint.parts import Part, facts
from pourprint.plans import Plan, lead_time
from pourprint.rates import RateCard, annuity, machine_hour
from pourprint.routes import ROUTES, plan, plan_all
from pourprint.steps import Stage
from pourprint.workdays import WorkingHours

__version__ = "0.1.0"

# Loaded when first asked for, since some are heavy: modules, and the module that each of these names stands in.
_MODULES = (
    "carbon",
    "figures",
    "handouts",
    "lab_log",
    "learning",
    "lessons",
    "meshes",
    "mix",
    "nodes",
    "panels",
    "sweep",
    "workshop",
)
_NAMES = {
    "carbon": ("footprint",),
    "decide": ("decision_map", "flip_prices"),
    "expectation": ("rework",),
    "information": ("Samples", "expected_regret", "probability_best", "sample_plans", "value_of_information"),
    "process.solidification": ("Melt", "Mould", "adams_time_s", "freeze"),
    "risk": ("by_quantity", "design_error", "flips", "simulate", "simulate_all"),
    "routes._shelling": ("ShellSizes",),
    "sensitivity": ("output_of", "sobol", "tornado"),
    "yields": (
        "attempts_needed",
        "chance_of_enough",
        "chance_within",
        "expected_visits",
        "layers_printed",
        "rolled_yield",
        "starts_needed",
    ),
}
_LATER = {name: module for module, names in _NAMES.items() for name in names}

__all__ = [
    "ROUTES",
    "Alloy",
    "Bore",
    "Face",
    "Infeasible",
    "InputError",
    "Job",
    "Kit",
    "KitPart",
    "Part",
    "Plan",
    "RateCard",
    "Socket",
    "Stage",
    "WorkingHours",
    "alloys",
    "annuity",
    "break_even",
    "cautions_of",
    "cheapest_intervals",
    "check_installation",
    "comparison",
    "facts",
    "lead_time",
    "machine_hour",
    "pedigree",
    "plan",
    "plan_all",
    "rank",
    "tie_price_of_day",
    "winners_by_price_of_day",
    *_MODULES,
    *_LATER,
]


def __getattr__(name):
    if name in _MODULES:
        return importlib.import_module(f"pourprint.{name}")
    if name in _LATER:
        return getattr(importlib.import_module(f"pourprint.{_LATER[name]}"), name)
    raise AttributeError(f"pourprint has no {name!r}")


def pedigree(rates=None):
    """The whole ledger as a table: every number of the rate card, the process tables, alloys and moulds.

    Parameters: `rates` RateCard (default: the library's placeholder card).
    Returns: pandas table keyed by name: value, low, high, unit, pedigree, source, date.
    """
    import pandas as pd

    from pourprint.carbon import carbon_ledger

    card = RateCard.default() if rates is None else rates
    return pd.concat(
        [card.table(), alloy_ledger(), as_table(unmeshed()), as_table(freezing()), as_table(carbon_ledger())]
    )
