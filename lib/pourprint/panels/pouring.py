"""The panel of a pour on trial: where gate and feeder stand, and what that does; and the film of one section."""

from functools import partial
from pathlib import Path

import anywidget
import numpy as np
import traitlets

from pourprint.figures.look import counted
from pourprint.figures.pouring import STATES, pour_frames, pour_section, pour_table
from pourprint.figures.tables import table_html
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import TEXTS, Shown, kit_of, panel
from pourprint.plans.jobs import Job
from pourprint.routes.mould_sizes import moulds_with_one_feeder
from pourprint.routes.pouring import COARSE_CELLS, FINE_CELLS, GATE_SIDE, NOT_MODELLED, pour, trial
from pourprint.routes.printed_mould import plan_with

SIDES = {"far side, as planned": GATE_SIDE, "near side": -GATE_SIDE, "right": 0.0, "left": np.pi}
PLACES = ("over the hottest section", "over the largest pore", "both", "none, a vent")


class Film(anywidget.AnyWidget):
    """One section of a Pour as it fills and freezes, with a slider that keys move and a button that plays it."""

    _esm = Path(__file__).with_name("scrub.js")
    _css = Path(__file__).with_name("scrub.css")
    film = traitlets.Dict().tag(sync=True)

    def __init__(self, run):
        times, arrivals, _, words = pour_frames(run)
        high, wide = arrivals.shape[1:]
        film = {"times": times.tolist(), "size": [wide, high], "states": STATES, "words": words}
        super().__init__(film=film | {"arrivals": arrivals.astype(np.float32).tobytes()})
        self.run = run


def pour_panel(part, rates, alloy="AlSi7Mg"):
    """Gate, feeder, pouring temperature and chill of one part in a printed mould, and what comes of them: Panel.

    Parameters: `part` Part with a mesh; `rates` RateCard; `alloy` name. Raises: InputError.
    """
    job = Job(kit_of(part, rates), alloy)
    (one,) = moulds_with_one_feeder(job, rates)
    first = pour(one)
    head, plan = first.rigging.feeders[0], plan_with((first.mould,))
    usual_c = float(job.alloy["pour_temperature"])
    width, chills = round(head.diameter_mm), {"none": 0.0, "20 mm of iron at the largest pore": 20.0, "35 mm": 35.0}
    metal = {
        "side": choice_row("gate", [*SIDES.items()]),
        "gates": choice_row("how many gates", [("one", 1), ("two, face to face", 2)]),
        "pour_c": number_row("pouring temperature", usual_c, usual_c - 60, usual_c + 100, 5, "°C"),
    }
    feeder = {
        "place": choice_row("feeder", [*PLACES]),
        "width": number_row("feeder's width", width, 15, max(90, 2 * width), 1, "mm"),
        "neck": number_row("neck", head.neck, 0.3, 1.0, 0.05, "× width"),
        "chill": choice_row("chill", [*chills.items()]),
    }

    def asked(values, cells=FINE_CELLS):
        ways = (values["side"], values["side"] + np.pi)[: int(values["gates"])]
        rigging = trial(first, values["place"], values["width"], values["neck"], values["chill"], ways)
        return pour(one, rigging, cells, pour_c=values["pour_c"])

    def shown(run, values):
        cost = plan_with((run.mould,)).unit_cost - plan.unit_cost
        takes, gives = run.feeding.enough(run.efficiency)
        air = sum(trap.volume_cm3 for trap in run.filling.traps)
        facts = {
            "places left unfed": f"{counted(len(run.feeding.pores), 'place')}, {run.feeding.pore_cm3:.2g} cm³ of pores",
            "time to fill": f"{run.band}: {run.filling.filled_s:.1f} s, gate at {run.gate_m_s:.2f} m/s",
            "air caught": f"{air:.2g} cm³",
            "feeder": f"can give {gives:.1f} cm³; {takes:.1f} are taken",
            "metal and money": f"{run.mould.metal_kg:.2f} kg, {run.mould.casting_yield:.0%} becomes part, "
            f"{run.mould.sand_kg:.1f} kg of sand; {cost:+.0f} {rates.currency} a {job.kit.noun}",
            "left out": "jets, splash, gas, convection, a mould that moves: trust places and bands more than amounts",
        }
        places = pour_table(run)
        table = table_html(places) if len(places) else "<p>No pore and no caught air are found.</p>"
        return Shown(facts, "", table)

    return panel(
        {"Gate and metal": metal, "Feeder and chill": feeder},
        asked,
        shown,
        f"{TEXTS['words']['pour']} {NOT_MODELLED}",
        figure=lambda run, values: pour_section(run),
        rough=partial(asked, cells=COARSE_CELLS),
    )
