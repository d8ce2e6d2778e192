"""Pour or Print: compare three ways to make small batches of custom metal nodes.

    import pourprint as pp
    job = pp.Job(pp.Kit.load("data_demo/rover_kit.toml"), alloy="AlSi7Mg", quantity=4)
    plans = pp.plan_all(job, pp.RateCard.load("data_demo/rates.toml"))

Results are estimates for teaching and planning, never a quotation or a safety approval.
"""

# ruff: noqa: F401  the face: what is imported here is what pp offers
from importlib import import_module

from pourprint.decide import carbon, learning, mix, sweep
from pourprint.decide.bridge import bridge, bridge_table
from pourprint.decide.carbon import carbon_ledger, footprint
from pourprint.decide.compare import break_even, comparison, flip_prices, rank, tie_price_of_day
from pourprint.decide.failures import expected
from pourprint.decide.information import (
    Samples,
    by_quantity,
    expected_regret,
    flips,
    probability_best,
    sample_plans,
    value_of_information,
)
from pourprint.decide.lightness import pays_from, price_of_a_gram, with_part
from pourprint.decide.map import decision_map
from pourprint.decide.pedigree import pedigree
from pourprint.decide.price import own_or_buy, price_of, prices
from pourprint.decide.sensitivity import output_of, sobol, tornado
from pourprint.decide.settings import Setting
from pourprint.decide.turning_points import turns, turns_table
from pourprint.ledger import lab_log
from pourprint.ledger.alloys import Alloy, alloy_ledger, alloys
from pourprint.ledger.entries import as_table, freezing, joints, unmeshed
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard, annuity, machine_hour
from pourprint.ledger.workdays import WorkingHours
from pourprint.parts import meshes, nodes
from pourprint.parts.frame import Frame
from pourprint.parts.kits import Bore, Face, Kit, KitPart, Socket
from pourprint.parts.part import Part, facts
from pourprint.plans import orders
from pourprint.plans.cautions import cautions_of
from pourprint.plans.jobs import Job
from pourprint.plans.plan import Plan, lead_time
from pourprint.plans.steps import Stage
from pourprint.process.finish.bonding import Lap
from pourprint.process.finish.iso_fits import limits_um
from pourprint.process.finish.seats import bearing_seat
from pourprint.process.freezing.solidification import Melt, Mould, adams_time_s
from pourprint.process.strength.beam_lesson import lighten_beam
from pourprint.process.strength.lighten import Task, lighten, lightened, solid_of, thinner
from pourprint.process.strength.loads import frame_loads
from pourprint.process.strength.verify import verify
from pourprint.risk.rework import rework
from pourprint.risk.simulation import design_error, simulate, simulate_all
from pourprint.risk.yields import chance_of_enough, layers_printed, rolled_yield, starts_needed
from pourprint.routes import ROUTES, plan, plan_all, plan_each
from pourprint.routes.bonding import bond_list, bond_materials
from pourprint.routes.findings import findings
from pourprint.routes.finishing import finishing_list, finishing_lists
from pourprint.routes.inspection import inspection_list
from pourprint.routes.shell_sizes import ShellSizes

__version__ = "0.1.0"

# What draws and teaches is loaded when it is first asked for: models alone start quickly.
_ON_FIRST_USE = {
    "figures": "figures",
    "panels": "panels",
    "lessons": "lessons",
    "handouts": "lessons.handouts",
    "report": "report",
    "check_installation": "lessons.checkup",
}


def __getattr__(name):
    if name not in _ON_FIRST_USE:
        raise AttributeError(f"pourprint has no {name!r}")
    module = import_module(f"pourprint.{_ON_FIRST_USE[name]}")
    return getattr(module, name, module)
