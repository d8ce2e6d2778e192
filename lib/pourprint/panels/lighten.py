"""The panel of lightening: a beam that forms while one watches, and what a gram saved costs by each route."""

import asyncio

import ipywidgets as widgets

from pourprint.decide.lightness import price_of_a_gram
from pourprint.figures.lighten import beam_picture
from pourprint.figures.look import title_of
from pourprint.figures.tables import table_html
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import Shown, panel
from pourprint.process.strength.beam_lesson import lighten_beam

KITS = (1, 2, 5, 10, 20, 50)
PAUSE_S = 0.02  # between two designs, in which buttons and sliders are heard
BEAM = ("share", "radius", "aside")
START, STOP = "▶ let it form", "■ stop"
PAYS = ("it does not pay", "it pays")
WORDS = (
    "half of a beam and its mirror image, on two supports at its ends; dark cells hold metal, and the filter's radius "
    "sets how thin a member can be. The button lets the search run, one picture an iteration, and stops it. The facts "
    "price a gram that the lightened kit saves, for the kits chosen, failures left out; the table has other numbers."
)


def lighten_panel(plans, lighter):
    """A beam to lighten live, with a button that starts and stops, and the price of a gram of a lightened kit.

    Parameters: `plans` {route: Plan} of the plain kit; `lighter` the lightened Kit. Returns: Panel; its button is the
    last thing beside its controls. Raises: InputError.
    """
    plan = next(plan for plan in plans.values() if plan.feasible)
    money, first = plan.rates.currency, int(plan.job.quantity)
    button = widgets.Button(description=START).add_class("pourprint-more")
    forming = None
    beam = {
        "share": number_row("material left", 0.5, 0.2, 0.9, 0.05, "of 1"),
        "radius": number_row("filter radius", 2.4, 1.5, 6, 0.1, "cells"),
        "aside": choice_row("loaded", [("in the middle", 0.0), ("halfway to the ends", 0.5), ("near the ends", 0.8)]),
    }
    gram = {
        "kits": number_row("kits", first, 1, max(200, first), 1, "kits", log=True),
        "hours": number_row("engineer's hours", 16, 1, 80, 1, "h"),
        "worth": number_row("worth of a gram", 1, 0.05, 20, 0.05, f"{money}/g", log=True),
    }

    def designs(values):
        return lighten_beam(**{name: values[name] for name in BEAM})

    def asked(values):
        return price_of_a_gram(plans, lighter, sorted({*KITS, values["kits"]}), values["hours"], values["worth"])

    def shown(table, values):
        now = table.xs(values["kits"], level="kits")
        facts = {
            title_of(route): f"{row['price of a gram']:,.2f} {money} a gram saved; {PAYS[bool(row['pays'])]}"
            for route, row in now.iterrows()
        }
        told = table.round(2).rename(index=title_of, level="route").replace({"pays": {True: "yes", False: "no"}})
        return Shown(facts, None, table_html(told), [values[name] for name in BEAM], [{}])

    def figure(table, values):
        stop()
        return beam_picture(next(designs(values)))

    def stop():
        if forming is not None:
            forming.cancel()

    async def form():
        button.description = STOP
        try:
            for design in designs({name: row.value for name, row in made.controls.items()}):
                made.chart.draw(beam_picture(design))
                await asyncio.sleep(PAUSE_S)
        finally:
            button.description = START

    def pressed(pressed):
        nonlocal forming
        if button.description == STOP:
            stop()
        else:
            forming = asyncio.get_running_loop().create_task(form())

    made = panel({"The beam": beam, "A gram": gram}, asked, shown, WORDS, figure, beside=(button,))
    button.on_click(pressed)
    return made
