"""Every panel with the card of a class in another currency, and decimal commas typed in every one of its fields."""

import json
import re

import ipywidgets as widgets
import numpy as np
import pytest

import pourprint as pp
from pourprint.panels.controls import written
from pourprint.panels.live import LiveFigure
from scenes import DEMO, PRINTED, bracket, demo_kit

START = "2027-01-11T08:00"
HALF_KIT = ("quantity", "batch", "kits", "spares")  # what is counted in whole pieces or kits


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    """A class's own file in francs, as an instructor makes it: the demo's with one word changed."""
    path = tmp_path_factory.mktemp("class") / "rates.toml"
    path.write_text((DEMO / "rates.toml").read_text(encoding="utf-8").replace('"EUR"', '"CHF"'), encoding="utf-8")
    return pp.RateCard.load(path)


def lighten(card):
    kit = demo_kit()
    part = kit.parts[0].part
    lighter = pp.with_part(kit, part.scaled_to(volume_cm3=0.9 * part.volume_cm3), part.name)
    return pp.panels.lighten_panel(*(pp.plan_all(pp.Job(one, "AlSi7Mg", 4), card, PRINTED) for one in (kit, lighter)))


PANELS = {
    "compare": lambda card: pp.panels.compare_panel(demo_kit(), card, START),
    "risk": lambda card: pp.panels.risk_panel(bracket(), card, start=START),
    "pattern": lambda card: pp.panels.pattern_panel(demo_kit(), card),
    "mould": lambda card: pp.panels.mould_panel(demo_kit(), card),
    "metal": lambda card: pp.panels.metal_panel(pp.Job(demo_kit(), "AlSi7Mg", 4), card),
    "pour": lambda card: pp.panels.pour_panel(pp.nodes.badly_drawn(), card),
    "fit": lambda card: pp.panels.fit_panel(pp.Frame.load(DEMO / "rover_frame.toml"), card),
    "lighten": lighten,
}


@pytest.fixture(scope="module", params=PANELS)
def panel(request, card):
    return PANELS[request.param](card)


def texts(widget):
    """All that a widget and what stands in it says."""
    found = [getattr(widget, name, None) for name in ("value", "description", "tooltip", "placeholder")]
    found += [str(option) for option in getattr(widget, "options", ())]
    if isinstance(widget, LiveFigure):
        found.append(json.dumps(widget.told.news["text"]))
    inside = (text for child in getattr(widget, "children", ()) for text in texts(child))
    return [*(text for text in found if isinstance(text, str)), *inside]


def test_a_lone_part_is_counted_in_pieces_not_in_kits(card):
    part, job = bracket(), pp.Job(bracket(), "AlSi7Mg", 4)
    panels = (
        pp.panels.compare_panel(part, card, START),
        pp.panels.risk_panel(part, card, start=START),
        pp.panels.pattern_panel(part, card, quantity=4),
        pp.panels.mould_panel(part, card, quantity=4),
        pp.panels.metal_panel(job, card),
    )
    for panel in panels:
        shown = [panel.answer.value, panel.bars.value, panel.table.value, *texts(panel.chart)]
        units = [row.widget.children[-2].value for row in panel.controls.values()]
        assert not re.search(r"\bkits?\b", " ".join([*shown, *units])), panel.answer.value
        assert " a piece" in panel.answer.value
    sizes = pp.ShellSizes(job, card)
    plan = pp.plan("printed_pattern", job, card)
    for chart in (pp.figures.plan_costs(plan), pp.figures.cluster_picture(sizes, 4), pp.figures.metal_chart(sizes)):
        assert not re.search(r"\bkits?\b", f"{chart.takeaway} {chart.figure.layout.xaxis.title.text}")


def test_no_other_currency_is_named_than_the_cards(panel):
    said = " ".join(texts(panel.widget))
    assert "CHF" in said and "EUR" not in said and "€" not in said


def fields(panel):
    """{name: (Row, its typed field)} of the numbers."""
    rows = {name: (row, row.widget.children[2]) for name, row in panel.controls.items()}
    return {name: (row, field) for name, (row, field) in rows.items() if isinstance(field, widgets.Text)}


def test_a_decimal_comma_is_read_in_every_field_and_the_panel_answers(panel):
    """Between the value and the end that is farther off, with two decimals; of kits and pieces a half is refused."""
    for name, (row, field) in fields(panel).items():
        before, source = row.value, row.source
        end = source.high if source.high - before > before - source.low else source.low
        number = round(before + 0.31 * (end - before), 2)
        number = np.floor(number) + 0.5 if name in HALF_KIT else number
        field.value = written(number).replace(".", ",")
        assert row.value == pytest.approx(number), name
        assert "role='status'" not in row.widget.children[-2].value, name
        refused = "whole number" in panel.status.value
        assert refused == (name in HALF_KIT), (name, panel.status.value)
        field.value = "12,3,4x"
        assert "stays" in row.widget.children[-2].value and row.value == pytest.approx(number), name
        row.back()
        assert row.value == before and panel.status.value.count("must") == 0, (name, panel.status.value)
