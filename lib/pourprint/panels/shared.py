"""What the panels share: the kit and card they are given, rows for a card's values, and how an answer is shown."""

import datetime as dt
import html
from dataclasses import dataclass

import ipywidgets as widgets

from pourprint.figures.bars import STYLE, change_bars
from pourprint.ledger.alloys import alloys
from pourprint.ledger.errors import InputError
from pourprint.ledger.rates import RateCard
from pourprint.ledger.workdays import moment_of
from pourprint.panels.controls import choice_row, columns, named, number_row, page
from pourprint.panels.live import guarded, status_line
from pourprint.parts.kits import Kit
from pourprint.parts.part import Part


def kit_of(kit):
    """A Kit, from a Kit or a Part. Raises: InputError."""
    kit = Kit.of(kit) if isinstance(kit, Part) else kit
    if not isinstance(kit, Kit):
        raise InputError(f"kit must be a Kit or a Part, not {kit!r}: use Kit.load or Part.from_mesh.")
    return kit


def check_card(rates):
    """Refuse what is no RateCard. Raises: InputError."""
    if not isinstance(rates, RateCard):
        raise InputError(f"rates must be a RateCard, not {rates!r}: load one with RateCard.load(path).")


def start_or_today(start, rates):
    """A start as a datetime; None is today at the lab's opening time. Raises: InputError."""
    if start is None:
        start = dt.datetime.combine(dt.date.today(), dt.time()) + dt.timedelta(hours=rates.hours.start_h)
    return moment_of(start)


def alloy_row(route):
    """A choice of the alloys that a route can make: a Row."""
    return choice_row("alloy", [(alloy.title, name) for name, alloy in alloys().items() if route not in alloy.refused])


def value_rows(choices, rates, units):
    """Rows for values of the card, starting as the card has them: {key: Row}.

    Parameters: `choices` {key: (name shown, least, most, step)}, widened where the card's own value lies beyond;
    `units` {key: unit shown} where that is not the entry's own.
    """
    rows = {}
    for key, (name, low, high, step) in choices.items():
        value, unit = rates.entries[key].value, rates.entries[key].unit.replace("m3", "m³")
        rows[key] = number_row(name, value, min(low, value), max(high, value), step, units.get(key, unit))
    return rows


def answer_html(sentence):
    """A panel's answer, larger than the rest."""
    return f"<p style='font-size:1.15em;line-height:1.4'><b>{html.escape(sentence)}</b></p>"


def then_and_now(caption, before, now):
    """First and present facts {name: text} side by side as an HTML table; what has changed is marked."""
    left = ' style="text-align:left"'
    rows = "".join(
        f'<tr><th scope="row"{left}>{name}</th><td>{before[name]}</td>'
        f"<td>{f'<b>{text}</b> ◂' if text != before[name] else text}</td></tr>"
        for name, text in now.items()
    )
    return (
        f'<table style="border-spacing:12px 2px;text-align:right;line-height:1.5"><thead><tr><th scope="col"{left}>'
        f'{caption}</th><th scope="col">at first</th><th scope="col">now</th></tr></thead><tbody>{rows}</tbody></table>'
    )


@dataclass(frozen=True)
class RoutePanel:
    """The parts of a panel of one route's choices: `controls` {name: Row}; `answer`, `bars`, `table`, `status` HTML;
    and the `widget` that holds them all."""

    controls: dict
    answer: widgets.HTML
    bars: widgets.HTML
    table: widgets.HTML
    status: widgets.HTML
    widget: widgets.Widget


def route_panel(controls, groups, asked, said, costs, facts, title, caption, words):
    """One route's choices, and what follows from them at first and now: a sentence, bars of costs, a table of facts.

    Parameters: `controls` {name: Row} in their `groups`; `asked()` the Plan they ask for; of a Plan, `said` a sentence,
    `costs` {name: cost of one kit}, `facts` {name: text}; `title` of the bars, `caption` of the table, `words` on both.
    Returns: RoutePanel.
    """
    answer, bars, table = (widgets.HTML().add_class("pourprint-live") for _ in range(3))
    status, first = status_line(), asked()
    costs_before, facts_before = costs(first), facts(first)

    def tell(found):
        answer.value = answer_html(said(found))
        bars.value = change_bars(title, found.route, costs(found), costs_before, found.rates.currency)
        table.value = then_and_now(caption, facts_before, facts(found))

    for row in controls.values():
        row.observe(guarded(lambda: tell(asked()), status))
    tell(first)
    content = widgets.VBox(
        [answer, status, bars, widgets.HTML(f"<p><i>In words:</i> {words}</p>"), table, widgets.HTML(STYLE)]
    )
    return RoutePanel(controls, answer, bars, table, status, named(page(columns(groups), content)))
