"""The panel that compares the routes: sliders for the job, the rates and the clock; facts, charts, table."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from pourprint import figures
from pourprint.decide.along import Crossing
from pourprint.decide.compare import NOTES, envelope
from pourprint.decide.inputs import dearest_day, rounded_up
from pourprint.decide.turning_points import turns, turns_table
from pourprint.figures.look import counted, title_of
from pourprint.figures.tables import table_html
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import Row, choice_row, date_row, number_row
from pourprint.panels.keep import keep_box
from pourprint.panels.own_part import own_part
from pourprint.panels.panel import TEXTS, Shown, alloy_row, kit_of, mean_cm3, panel, start_or_next, volume_row
from pourprint.panels.question import BOUGHT, MADE, Question
from pourprint.parts.kits import Kit, KitPart
from pourprint.plans.plan import feasible, why_none
from pourprint.risk.simulation import of_runs
from pourprint.routes import PRINTED, ROUTES
from pourprint.routes.bought import WARES, bought_for
from pourprint.routes.findings import Verdict, findings

QUANTITIES = np.arange(1, 401)
MEAN = ", failures in the mean, inputs at their values"


def compare_panel(kit, rates, start=None, alloy="AlSi7Mg"):
    """Sliders for job, rates and the price of a day, with the routes compared beside them.

    Parameters: `kit` Kit or Part; `rates` RateCard; `start` date and time (default: the next working day that no
    holiday follows soon); `alloy` to begin with. Returns: Panel. Raises: InputError.
    """
    kit = kit_of(kit, rates)
    kits, folds, start = _kits(kit), _rate_rows(rates), start_or_next(start, rates)
    prices = {key: row for rows in folds.values() for key, row in rows.items()}
    axes, most = _axes(rates, prices), dearest_day(rates)
    groups = {
        "The job": _job_rows(kits, alloy),
        "Bought or made here": {f"buy.{ware}": choice_row(WARES[ware].title, [BOUGHT, MADE]) for ware in rates.bought},
        "The clock": {
            "start": date_row("start", start.date()),
            "deadline": date_row("wanted by"),
            "day": number_row("price of a day", 0.15 * most, 0, most, most / 100, f"{rates.currency}/day"),
        },
        "The chart": {"axis": choice_row("chart along", [(title, name) for name, (title, *_) in axes.items()])},
    }
    rows = {name: row for group in (*groups.values(), *folds.values()) for name, row in group.items()}
    question = Question(kits, rates, start, axes, tuple(prices))
    desk = _Desk(kit, question, rows)
    # A newly chosen part starts at its own size; who chooses a batch size wants batches.
    rows["kit"].observe(lambda: rows["volume"].source.reach(mean_cm3(kits[rows["kit"].value])))
    rows["batch"].observe(lambda: rows["batch"].said and setattr(rows["at_once"].source, "value", False))
    return panel(
        {caption: group for caption, group in groups.items() if group},
        question.answer,
        lambda found, values: _shown(found, values, most),
        f"{figures.COMPARISON_IN_WORDS} {TEXTS['words']['compare']}",
        lambda found, values: figures.comparison_figure(found.along, values["routes"]),
        folds,
        rough=lambda values: question.answer(values, resting=False),
        beside=[own_part(desk.add), keep_box(desk.setting, desk.apply, desk.tables)],
        more=("What would turn the answer?", lambda found: _what_turns(found.now)),
    )


@dataclass(frozen=True)
class _Desk:
    """What but hands moves the controls: a part of one's own beside the panel's `kit`, a setting that was kept."""

    kit: Kit
    question: Question
    rows: Mapping[str, Row]

    def values(self):
        return {name: row.value for name, row in self.rows.items()}

    def setting(self, name):
        return self.question.setting(self.values(), name)

    def tables(self):
        found = self.question.answer(self.values())
        return {"routes": found.now.table(), "chart": found.along.table()}

    def offer(self, kits, chosen):
        self.question.offer(kits)
        menu = self.rows["kit"].source
        menu.options = list(self.question.kits)
        menu.value = menu.options[0]  # a part of the same name is asked anew
        menu.value = chosen

    def add(self, part, count):
        """Offer so many of a part, and choose them. Returns: the alloy's name; Findings in it on printed routes, each
        place once, by the first route that refuses it."""
        if part.name in [item.part.name for item in self.kit.parts]:
            part = replace(part, name=f"own_{part.name}")
        name, item, whole = f"{count} × {part.title}", KitPart(part, count), self.kit
        alone, joined = Kit(part.name, (item,)), replace(whole, parts=(*whole.parts, item))
        self.offer({name: alone, f"{whole.name.replace('_', ' ')} and {name}": joined}, name)
        asked = self.question.setting(self.values())
        found = [one for route in PRINTED[::-1] for one in findings(route, asked.job, asked.rates)]
        found.sort(key=lambda one: one.verdict is Verdict.REFUSED)  # and so what is refused stays of what is alike
        places = {(one.what, str(one.where_mm)): one for one in found}
        return asked.alloy, sorted(places.values(), key=lambda one: one.verdict is Verdict.WATCH)

    def apply(self, setting):
        values = self.question.values_of(setting)
        self.offer({}, values["kit"])
        for name, value in values.items():
            self.rows[name].source.value = value
        if beyond := [row.name for name, row in self.rows.items() if row.value != values.get(name, row.value)]:
            raise InputError(f"{setting.name}: {', '.join(beyond)} cannot be set here as it was kept.")


def _shown(found, values, most):
    """The Answer as the panel shows it, whose price of a day goes up to `most`: Shown."""
    traces = figures.comparison_data(found.along, values["routes"])
    kind, ends = (values["axis"], values["routes"], found.along.unit), {"range": figures.comparison_range(traces)}
    shown = Shown(_facts(found, values, most), None, None, kind, traces, {"yaxis": ends})
    if found.chances is None:  # a slider moves: what stands below the chart waits until it rests
        return shown
    table = found.now.table()
    notes = table.pop(NOTES)
    tables = table_html(table, TEXTS["captions"]["compare"]) + table_html(notes[notes != ""])
    return replace(shown, bars=figures.comparison_bars(found.now, found.along.unit), table=tables)


def _kits(kit):
    """The kit, and one piece of each of its parts: {name: Kit}."""
    ones = {f"one {i.part.title}": replace(kit, name=i.part.name, parts=(replace(i, count=1),)) for i in kit.parts}
    return {kit.name.replace("_", " "): kit} | (ones if len(ones) > 1 else {})


def _job_rows(kits, alloy):
    kit = choice_row("kit or part", list(kits))
    return {
        "kit": kit,
        "alloy": alloy_row(first=alloy),
        "quantity": number_row("quantity wanted", 1, 1, int(QUANTITIES[-1]), 1, "", log=True),
        "at_once": choice_row("made", [("all at once", True), ("in batches", False)]),
        "batch": number_row("batch size", 4, 1, 100, 1, "", log=True),
        "volume": volume_row(kits.values(), 1000.0, lambda: mean_cm3(kits[kit.value])),
        "routes": choice_row("serial reference", [("hide", PRINTED), ("show", tuple(ROUTES))], tuple(ROUTES)),
    }


def _axes(rates, prices):
    """What the chart may be drawn along: {input: (its title, values (n,), whether it is a matter of orders)}."""
    axes = {
        "quantity": ("quantity wanted", QUANTITIES, True),
        "batch_size": ("batch size", np.arange(1, 101), True),
        "volume_cm3": ("mean part volume [cm³]", np.geomspace(5, 1000, 40), True),
        "day": (f"price of a day [{rates.currency}]", np.linspace(0, dearest_day(rates), 101), False),
    }
    for key, row in prices.items():
        axes[key] = f"{row.name} [{rates.currency}/h]", np.linspace(0, row.source.high, 41), False
    return axes


def _rate_rows(rates):
    """The hourly rates in folded groups: {caption: {key: Row}}."""
    folds, unit = {caption: {} for caption in TEXTS["folds"]}, f"{rates.currency}/h"
    for key, entry in rates.entries.items():
        section, name = key.split(".", 1)
        if section in ("labour", "machine"):
            high = float(np.ceil(max(2 * entry.high, entry.value, 1)))
            fold = next(caption for caption, words in TEXTS["folds"].items() if any(word in name for word in words))
            step, name = rounded_up(high / 250), name.replace("_", " ")
            folds[fold][key] = number_row(name, entry.value, 0, high, step, unit)
    return {caption: rows for caption, rows in folds.items() if rows}


def _facts(found, values, most):
    """The answer in short, failures included: who is cheapest, who soonest, where that turns, and the chance of the
    date."""
    now, made = found.now, feasible(found.now.plans)
    if not made:
        return {"no route can make this": why_none(now.plans)}
    best, soonest = min(made, key=now.mean_unit_cost), min(made, key=now.mean_days)
    job, priced = made[best].job, ", days priced" * bool(values["day"])
    batches = f", in batches of {job.batch_size}" * (job.batch_size < job.quantity)

    def told(route):
        days, plain = (counted(round(n), "day") for n in (now.mean_days(route), now.days[route]))
        ordered = [ware.title for ware in bought_for(made[route])]
        title = f"{made[route].title} (bought: {', '.join(ordered)})" if ordered else made[route].title
        mean, bare = map(_rounded, (now.mean_unit_cost(route), now.unit_cost(route)))
        return f"{title}: about {mean} {found.along.unit} and {days}; if nothing fails {bare} and {plain}"

    facts = {"cheapest" + priced + batches + MEAN: told(best), "soonest" + MEAN: told(soonest)}
    if best == soonest:
        facts = {"cheapest and soonest" + batches + MEAN: told(best)}
    along = f"{_turns(found.along)}; " * (values["axis"] != "day")
    facts["where it turns, failures included"] = along + _price_turns(now, best, values["day"], most)
    if rough := [item.part.title for item in job.kit.parts if item.part.shape is None]:
        words = "cost may be off by 18%, days by a weekend; a mesh tells better"
        facts["known by numbers alone"] = f"{', '.join(rough)}: {words}"
    if values["deadline"]:
        of = {route: of_runs(chance) for route, chance in (found.chances or dict.fromkeys(made, 0)).items()}
        chances = ", ".join(f"{made[route].title.lower()} {of[route] if found.chances else '…'}" for route in of)
        facts[f"in time by {values['deadline']:%a %d %b %Y}, failures and inputs drawn"] = chances
    return facts


def _rounded(number):
    """Whole, or to three figures, in any currency."""
    return f"{number:,.0f}" if number >= 100 else f"{number:.3g}"


def _nearest(crossings, now, below, above):
    """The nearest below and the two nearest above a value of some `crossings` [Crossing], as two templates say them."""
    last, first = [one for one in crossings if one.at <= now][-1:], [one for one in crossings if one.at > now][:2]
    told = [below.format(_rounded(one.at), title_of(one.before).lower()) for one in last]
    told += [above.format(_rounded(one.at), title_of(one.to).lower()) for one in first]
    return ", ".join(told)


def _turns(along):
    """Where along the chart another route wins, nearest to the present value, in words."""
    said = _nearest(along.crossings, along.now, "below {} {} wins", "from {} on {} wins")
    return f"{along.title}: {said or 'nowhere along the chart'}"


def _price_turns(now, best, price, most):
    """The same of the price of a day, as far as the slider goes."""
    lines = {r: (now.failing[r].cost * now.plans[r].total_cost, now.mean_days(r)) for r in now.days}
    crossings = [Crossing(at, before, to) for (_, before), (at, to) in pairwise(envelope(lines)) if at <= most]
    words = "{} " + f"{now.plans[best].rates.currency} a day {{}} wins"
    said = _nearest(crossings, price, f"below {words}", f"above {words}")
    return said or f"at no price of a day up to {most:,.0f} does another route win"


def _what_turns(now):
    """Each price and size: its value now, and where another route wins, nearest first, as an HTML table."""
    found = turns(now.plans, price_of_day=now.price_of_day, failures=True)
    return table_html(turns_table(found), "One input at a time, the others as they are; failures included in the mean.")
