"""The routes: each a recipe from (job, rate card) to steps, and the ways to ask for plans.

What they share, sizes of shells, bought steps and findings stand beside them. May import from ledger to plans.
"""

from functools import partial

from pourprint.ledger.checks import check_known
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.rates import RateCard, check_card
from pourprint.plans.jobs import Job
from pourprint.plans.plan import NoPlan, Plan
from pourprint.routes import findings, printed_metal, printed_mould, printed_pattern, tooled_pattern
from pourprint.routes.bonding import bond_steps
from pourprint.routes.bought import made_or_bought

ROUTES = {route.NAME: route for route in (printed_pattern, printed_mould, printed_metal, tooled_pattern)}
PRINTED = tuple(name for name in ROUTES if name != tooled_pattern.NAME)  # all but the serial reference


def plan(route, job, rates=None):
    """One route's plan for a job.

    Parameters: `route` name; `job` Job; `rates` RateCard (default: the library's placeholder card).
    Returns: Plan. Raises: Infeasible with the reason, InputError for anything that is not a job, route or card.
    """
    check_known(ROUTES, route=route)
    rates = RateCard.default() if rates is None else rates
    if not isinstance(job, Job):
        raise InputError(f"job must be a Job, not {job!r}: make one with Job(kit, alloy=…, quantity=…).")
    check_card(rates)

    def recipe(job, rates):
        return *made_or_bought(route, ROUTES[route].steps, job, rates), *bond_steps(job)

    return Plan(route, ROUTES[route].TITLE, job, rates, recipe, recipe(job, rates), partial(findings.findings, route))


def plan_all(job, rates=None, routes=tuple(ROUTES)):
    """The plans of all routes, or of those named: {route: Plan, or NoPlan with the reason why the route cannot}.

    Parameters, raises: as for `plan`, but an infeasible route does not raise.
    """
    return {route: _plan_or_why(route, job, rates) for route in routes}


def plan_each(route, job, field, values, rates=None):
    """One route's plans for the values of one field of a job, such as "alloy": {value: Plan, or NoPlan with why not}.

    Parameters, raises: as for `plan_all`, and as for `Job.with_`.
    """
    return {value: _plan_or_why(route, job.with_(**{field: value}), rates) for value in values}


def _plan_or_why(route, job, rates):
    try:
        return plan(route, job, rates)
    except Infeasible as reason:
        return NoPlan(route, ROUTES[route].TITLE, reason.args)
