"""The panel of lightening: a beam that forms while one watches, and what a gram saved costs by each route."""

import asyncio

import ipywidgets as widgets
import numpy as np

from pourprint.decide.inputs import single_plans
from pourprint.decide.lightness import price_of_a_gram
from pourprint.figures.lighten import beam_picture
from pourprint.figures.look import title_of
from pourprint.figures.tables import table_html
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import TEXTS, Shown, panel, value_rows
from pourprint.process.strength.beam_lesson import lighten_beam

KITS = (1, 2, 5, 10, 20, 50)
PAUSE_S = 0.02  # between two designs, in which buttons and sliders are heard
START, STOP = "▶ let it form", "■ stop"


def lighten_panel(plans, lighter):
    """A beam to lighten live, with a button that starts and stops, and the price of a gram of a lightened kit.

    Parameters: `plans`, `lighter` {route: Plan or NoPlan} of the plain and of the lightened kit. Returns: Panel; its
    button is the last thing beside its controls. Raises: InputError.
    """
    plan = next(iter(single_plans(plans).values()))
    money, first, noun = plan.rates.currency, int(plan.job.quantity), plan.job.kit.noun
    aside = choice_row("loaded", [("in the middle", 0.0), ("halfway to the ends", 0.5), ("near the ends", 0.8)])
    beam = value_rows("beam", plan.rates) | {"aside": aside}
    kits = number_row(f"{noun}s", first, 1, max(200, first), 1, "", log=True)
    gram = {"kits": kits} | value_rows("gram", plan.rates)
    forming = _Forming(beam)

    def shown(table, values):
        now, worth = table["price of a gram"].xs(values["kits"], level="kits"), values["worth"]
        facts = {
            title_of(route): f"{price:,.2f} {money} a gram saved; it {'pays' if price < worth else 'does not pay'}"
            for route, price in now.items()
        }
        facts |= {plan.title: f"cannot make it: {plan.reason}" for plan in lighter.values() if not plan.feasible}
        told = table.assign(pays=np.where(table["price of a gram"] < worth, "yes", "no"))
        units = {"dearer a kit": f"dearer a {noun} [{money}]", "price of a gram": f"price of a gram [{money}/g]"}
        told = table_html(told.round(2).rename(index=title_of, level="route").rename(columns=units))
        return Shown(facts, None, told, [values[name] for name in beam], [{}])

    made = panel(
        {"The beam": beam, "A gram": gram},
        lambda values: price_of_a_gram(plans, lighter, sorted({*KITS, values["kits"]}), values["hours"]),
        shown,
        TEXTS["words"]["lighten"],
        lambda table, values: forming.begun(),
        beside=(forming.button,),
    )
    forming.chart = made.chart
    return made


class _Forming:
    """A beam that forms in a chart, one picture an iteration, while its button says so."""

    def __init__(self, rows):
        self.rows, self.chart, self.task = rows, None, None
        self.button = widgets.Button(description=START).add_class("pourprint-more")
        self.button.on_click(self.pressed)

    def pictures(self):
        values = {name: row.value for name, row in self.rows.items()}
        return (beam_picture(design, values["aside"]) for design in lighten_beam(**values))

    def begun(self):
        """The beam as it is before the search, which stops: another is asked for."""
        if self.task is not None:
            self.task.cancel()
        return next(self.pictures())

    def pressed(self, button):
        if button.description == STOP:
            self.task.cancel()
        else:
            button.description = STOP
            self.task = asyncio.get_running_loop().create_task(self.form())

    async def form(self):
        try:
            for picture in self.pictures():
                self.chart.draw(picture)
                await asyncio.sleep(PAUSE_S)
        finally:
            self.button.description = START
