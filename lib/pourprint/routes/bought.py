"""Make or buy: steps of a route that a lab orders outside, as its rate card says in [buy.printed_mould] and the like.

A bought step stands for those of the route that it replaces; the order is priced by the piece, by the litre of the box
round each piece and by the cubic centimetre of what is made, which come from the parts themselves: their blocks, their
supports, their patterns. Size limits of the card (job box, plate, bed) are then those of the supplier's machine.

Each batch is one order; dies are ordered once a job. Working days are spread over the week (five are seven days of the
calendar), holidays left out. What a supplier makes again at its own cost takes no longer here than its delivery time.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import prod

import numpy as np

from pourprint.plans.steps import BATCH, JOB, Level, Step, Work
from pourprint.routes import printed_metal, printed_mould, printed_pattern, tooled_pattern
from pourprint.routes.findings import KINDS
from pourprint.routes.shell_sizes import ShellSizes


@dataclass(frozen=True)
class Ware:
    """What can be bought: in words, for which routes, the `steps` that it stands for (those of them that a route has),
    and (job, rates) → what a kit takes of it, by part: (pieces [-], box [mm3], what is made [cm3]) of a piece."""

    title: str
    routes: tuple[str, ...]
    steps: tuple[str, ...]
    sizes: Callable
    level: Level = BATCH


def _of_parts(job, rates):
    """The parts themselves."""
    return [(item.count, np.prod(item.part.box_mm, axis=-1), item.part.volume_cm3) for item in job.kit.parts]


def _of_dies(job, rates):
    """One die for each part, however many pieces there are."""
    return [(1, box_mm3, cm3) for _, box_mm3, cm3 in _of_parts(job, rates)]


def _of_patterns(job, rates):
    sizes = ShellSizes(job, rates)
    rows = zip(job.kit.parts, sizes.boxes_mm, sizes.patterns_cm3, strict=True)
    return [(item.count, np.prod(box, axis=-1), cm3) for item, box, cm3 in rows]


def _of_moulds(job, rates):
    """Boxes are the sand blocks, and what is made is their sand."""
    pairs = zip(job.kit.parts, printed_mould.moulds_of(job, rates), strict=True)
    blocks = [(item.count, np.prod(one.block_mm, axis=-1), one.metal_cm3) for item, one in pairs]
    return [(count, block_mm3, block_mm3 / 1000 - metal_cm3) for count, block_mm3, metal_cm3 in blocks]


def _of_metal(job, rates):
    """Boxes as the pieces stand on the plate; what is made is all metal that is melted, supports included."""
    pieces = printed_metal.lay_out(job, rates).pieces
    stands = [(piece.item.count, piece.standing, piece.melted_cm3) for piece in pieces]
    return [(count, one.length_mm * one.width_mm * one.height_mm, cm3) for count, one, cm3 in stands]


METAL, EVERY = (printed_metal.NAME,), tuple(KINDS)
BUILD = ("change the printer's powder", printed_metal.MILL, printed_metal.PRINT)
RELIEVE = (*BUILD, "stress-relieve on the plate", "cut the parts from the plate")
HEAT = ("solution-treat", "quench", "age")
READY = (*RELIEVE, "take off the supports", "press hot to close pores", *HEAT, "blast and look over")
SAND = (printed_mould.PRINT, "unpack, clean and cure")
WARES = {
    "pattern": Ware(
        "patterns", (printed_pattern.NAME,), (printed_pattern.PRINT, "clean, seal and check the patterns"), _of_patterns
    ),
    "die": Ware("dies from a die shop", (tooled_pattern.NAME,), ("order and receive the dies",), _of_dies, JOB),
    "printed_mould": Ware("printed moulds", (printed_mould.NAME,), SAND, _of_moulds),
    "printed_metal": Ware("printed metal, as built", METAL, BUILD, _of_metal),
    "relieved_metal": Ware("printed metal, relieved and cut off", METAL, RELIEVE, _of_metal),
    "finished_metal": Ware("printed metal, supports off and heat-treated", METAL, READY, _of_metal),
    "machining": Ware("machining", EVERY, ("machine bores, faces and tight sockets",), _of_parts),
    "heat_treatment": Ware("heat treatment", EVERY, HEAT, _of_parts),
}


def made_or_bought(route, recipe, job, rates):
    """The steps of a route, with what the card buys in the place of what it stands for: → tuple of Step.

    Parameters: `route` name; `recipe` its function (job, rates) → steps. Raises: Infeasible.
    """
    steps = recipe(job, rates)
    for name in sorted(rates.bought, key=lambda name: -len(WARES[name].steps)):  # of two that overlap the larger
        if route in WARES[name].routes:
            steps = _with_order(steps, name, job, rates)
    return steps


def bought_for(plan):
    """The Wares that a plan orders outside, in the order of its card."""
    steps = {step.name for step in plan.steps}
    return [ware for name in plan.rates.bought if _order_of(ware := WARES[name]) in steps]


def ordered(rates, key, amount):
    """How much is ordered of a price `key` of the card that is paid `amount` times: express is paid at its factor."""
    offer = rates.section(key.rpartition(".")[0])
    hurried = key.startswith("buy.") and offer("express") >= 0.5
    return amount / offer("express_factor") if hurried else amount


def _order_of(ware):
    return f"order and receive {ware.title}"


def _with_order(steps, name, job, rates):
    """The steps with one order in the place of those that it stands for; as they are where there are none."""
    ware, gone = WARES[name], [step for step in steps if step.name in WARES[name].steps]
    if not gone:
        return steps
    offer, title = rates.section(f"buy.{name}"), _order_of(ware)
    good, own = prod(step.first_pass_yield for step in gone), (*ware.steps, "")
    back = next((step.returns_to for step in gone if step.returns_to not in own), title)
    if back == title:  # else it is the lab's own piece that is spoilt, which no supplier makes again
        good = 1 - (1 - good) * (1 - offer("supplier_bears"))
    work = _order(name, ware, job, rates)
    order = Step(gone[0].stage, title, work, first_pass_yield=good, returns_to=back)
    names = {step.name for step in gone}
    kept = [step if step.returns_to not in names else replace(step, returns_to=title) for step in steps]
    at = steps.index(gone[0])
    return tuple(kept[:at] + [order] + [step for step in kept[at:] if step.name not in names])


def _order(name, ware, job, rates):
    """The work of one order: hands to place and receive it, the time until it comes, and what it costs.

    An order below the least is paid as the least: its own price is then taken no times, and the least once.
    """
    offer, rows = rates.section(f"buy.{name}"), ware.sizes(job, rates)
    pieces = sum(count for count, _, _ in rows)
    litres, cm3 = (sum(row[0] * row[k] for row in rows) / scale for k, scale in ((1, 1e6), (2, 1)))
    express = np.asarray(offer("express")) >= 0.5
    factor = np.where(express, offer("express_factor"), 1.0)
    working_days = 7 / 5 * offer("working_days")  # the supplier's, whatever the lab's own week
    sooner = express & (offer("express_days") > 0)  # where the offer names no days of its own, express saves none
    days = np.where(sooner, offer("express_days"), offer("calendar_days") + working_days)

    def share_taken(kits):
        """1 where the order's own price counts [-], 0 where the least does."""
        each = pieces * offer("per_part") + litres * offer("per_litre") + cm3 * offer("per_cm3")
        own = offer("per_order") + kits * each
        return np.where(own >= offer("least_order"), 1.0, 0.0)

    def often(key, times):
        """A price of the offer, paid `times` (kits) an order; once a job, its kits make no difference."""
        bought = {f"buy.{name}.{key}": factor}
        if ware.level is JOB:
            return Work(JOB, materials={f"buy.{name}.{key}": factor * times(1)})
        return Work(Level(f"{name} {key}", lambda kits: times(kits) * BATCH.per_batch(kits)), materials=bought)

    return (
        Work(ware.level, hands_on_h=offer("ordering"), wait_h=24 * days),
        often("per_order", share_taken),
        often("per_part", lambda kits: share_taken(kits) * kits * pieces),
        often("per_litre", lambda kits: share_taken(kits) * kits * litres),
        often("per_cm3", lambda kits: share_taken(kits) * kits * cm3),
        often("least_order", lambda kits: 1 - share_taken(kits)),
    )
