"""The memo: which route for which nodes, how many, by when, at what cost, how sure, and what would change it.

It adds no model of its own: every number is asked of the rooms above, with failures in the mean (`expected`), how sure
in drawn runs (`simulate_all`). An estimate for teaching and planning, never a quotation or a safety approval.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from pourprint.decide.along import Along, unit_costs
from pourprint.decide.failures import again_along, again_here, expected
from pourprint.decide.information import Samples, probability_best, value_of_information
from pourprint.decide.inputs import dearest_day, outcomes_of
from pourprint.decide.map import decision_map
from pourprint.decide.settings import Setting
from pourprint.decide.turning_points import turns, turns_table
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import Infeasible, InputError
from pourprint.ledger.files import check_free, write_whole
from pourprint.ledger.rates import RateCard
from pourprint.ledger.workdays import begin_of, end_of, moment_of
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible, why_none
from pourprint.report import tables
from pourprint.report.traveller import cautions_table, machining_table, sizes_table, traveller
from pourprint.risk.rework import rework
from pourprint.risk.simulation import of_runs, simulate_all
from pourprint.routes import ROUTES, plan_all
from pourprint.routes.inspection import inspection_list
from pourprint.routes.set_points import set_points

DRAWS = 4000
LIKELY = 0.5  # a route is thought to keep a date where it does so in at least this share of the draws
ROWS = 8  # of long tables on the page: the workbook has all


@dataclass(frozen=True)
class Memo:
    """A decision with its evidence; make it with `memo`. What is asked for is worked out once, when first asked.

    `job` with its start, `rates`; `deadline` a date, whose end counts, a moment, or None; `price_of_day` [currency/d];
    `plans` {route: Plan or NoPlan}; `argument` the author's own words; `written` date of the memo.
    """

    job: Job
    rates: RateCard
    deadline: object
    price_of_day: float
    plans: Mapping
    argument: str = ""
    written: dt.date = field(default_factory=dt.date.today)

    # What is known of the routes -------------------------------------------------------------------

    @cached_property
    def able(self):
        """The plans of the routes that can make the job."""
        return feasible(self.plans)

    @cached_property
    def again(self):
        """{route: Again} what failures make of the job."""
        return {route: again_here(plan) for route, plan in self.able.items()}

    @cached_property
    def failing(self):
        """{route: Expected} cost and days of the job with failures."""
        return {route: expected(plan, self.again[route]) for route, plan in self.able.items()}

    @cached_property
    def runs(self):
        """{route: Runs}: failures and uncertain numbers drawn together."""
        return simulate_all(self.able, DRAWS)

    @cached_property
    def sureness(self):
        """{route: share of the draws in which it costs least, days priced [-]}."""
        return probability_best(Samples.of(self.runs), self.price_of_day)

    def mean_cost(self, route):
        """Mean cost of the job with failures and the price of its days [currency]."""
        return self.failing[route].cost + self.price_of_day * self.failing[route].days

    @cached_property
    def chosen(self):
        """The route of least mean cost among those that likely keep the date; where none does, the likeliest to, by
        whole per cent, and of equally likely ones the soonest."""
        if self.deadline is None:
            return self.cheapest
        chances = {route: run.chance(self.deadline) for route, run in self.runs.items()}
        nearest = max(chances, key=lambda route: (round(chances[route], 2), -self.failing[route].days))
        return min((route for route in chances if chances[route] >= LIKELY), key=self.mean_cost, default=nearest)

    @property
    def cheapest(self):
        """The route of least mean cost, whether it keeps the date or not."""
        return min(self.able, key=self.mean_cost)

    @property
    def plan(self):
        """The chosen route's plan."""
        return self.able[self.chosen]

    @property
    def setting(self):
        """What was asked, as a Setting: it knows neither days of delivery, isolation nor sockets machined unasked."""
        job, batch = self.job, None if self.job.all_at_once else self.job.batch_size
        asked = job.start, batch, self.deadline, self.price_of_day, None, tuple(self.plans)
        return Setting(job.kit.name, job.kit, self.rates, job.alloy.name, job.quantity, *asked)

    @cached_property
    def rework(self):
        """What the chosen route's failures cost, step by step."""
        return rework(self.plan)

    @property
    def started(self):
        """Pieces begun in the chosen route's first step that can fail, for each good one [-]."""
        return max(self.rework.visits.values(), default=1.0)

    @cached_property
    def turns(self):
        """What would turn the answer, failures included: tuple of Turn, nearest first."""
        return turns(self.plans, price_of_day=self.price_of_day, failures=True)

    @cached_property
    def information(self):
        """What it is worth to know before choosing."""
        return value_of_information(Samples.of(self.runs), self.price_of_day, self.rates.currency)

    # In words --------------------------------------------------------------------------------------

    @property
    def question(self):
        """What is asked, in one sentence."""
        job = self.job
        once = "all at once" if job.batch_size >= job.quantity else f"in batches of {job.batch_size}"
        by = "" if self.deadline is None else f", wanted by {date_of(self.deadline)}"
        day = f", with a day at {self.price_of_day:,.2f} {self.rates.currency}" if self.price_of_day else ""
        return (
            f"Which route for {job.kit.counted(job.quantity)}, in {job.alloy.name}, "
            f"made {once} from {self.job.start:%a %d %b %Y %H:%M}{by}{day}?"
        )

    @property
    def ready(self):
        """When the job is done, failures included in the mean: date and time."""
        return self.job.start + dt.timedelta(days=self.failing[self.chosen].days)

    @property
    def recommendation(self):
        """The answer in short sentences: what to do, how far it may be off, and how sure the choice is."""
        mean, run = self.failing[self.chosen], self.runs[self.chosen]
        money, kits = self.rates.currency, self.job.quantity
        each = f" ({mean.cost / kits:,.0f} {money} a {self.job.kit.noun})" if kits > 1 else ""
        take = (
            f"Take {self.plan.title.lower()}: about {mean.cost:,.0f} {money}{each} and {whole_days(mean.days)} with "
            f"failures in the mean and every number at its value. It is ready about {self.ready:%a %d %b %Y}."
        )
        (least, most), (first, last) = (np.quantile(drawn, (0.25, 0.75)) for drawn in (run.cost, run.days))
        dear = ", which mostly reach further to the dear side," if least > mean.cost else " too,"
        band = (
            f"With the numbers drawn within their ranges{dear} half of {DRAWS:,} draws cost {least:,.0f} to "
            f"{most:,.0f} {money} and take {first:.1f} to {last:.1f} days"
        )
        if self.deadline is not None:
            band += f". Of the draws {of_runs(run.chance(self.deadline))} keep {date_of(self.deadline)}"
            if run.chance(self.deadline) < LIKELY:
                nearest = f"{self.plan.title.lower()} comes nearest"
                take = f"No route keeps {date_of(self.deadline)} in half of the draws; {nearest}. {take}"
        return f"{take} {band}. {self._how_sure()}."

    def _how_sure(self):
        """How often the chosen route costs least, which does more often, and what the next best would cost."""
        others = [route for route in self.able if route != self.chosen]
        if not others:
            return "No other route can make it"
        money, best = self.rates.currency, max(self.sureness, key=self.sureness.get)
        priced = f"days at {self.price_of_day:,.2f} {money} included, " if self.price_of_day else ""
        sure = f"{priced}it costs least in {of_runs(self.sureness[self.chosen])} of the draws"
        if best != self.chosen:
            sure += f" but {self.plans[best].title.lower()} in {of_runs(self.sureness[best])}"
        next_best = min(others, key=self.mean_cost)
        more = self.mean_cost(next_best) - self.mean_cost(self.chosen)
        bare = self.failing[next_best].cost - self.failing[self.chosen].cost
        sure += f". In the mean {self.plans[next_best].title.lower()} would cost about {more_or_less(more, money)}"
        if self.price_of_day:
            sure += f" ({more_or_less(bare, money)} without the days)"
        if more < 0:  # the date alone stands against it
            sure += f", but takes {whole_days(self.failing[next_best].days)} and keeps the date in "
            sure += f"{of_runs(self.runs[next_best].chance(self.deadline))} of the draws"
        return sure[0].upper() + sure[1:]

    @property
    def known(self):
        """How many of the numbers behind it have which pedigree, in one sentence."""
        counts = self.tables["Assumptions"]["pedigree"].value_counts()
        said = ", ".join(f"{count} {pedigree}" for pedigree, count in counts.items())
        card = f"Rate card of {self.rates.lab}, {self.rates.date:%d %b %Y}."
        return f"Of the numbers with a range that this plan reads: {said}. {card}"

    # In tables and charts --------------------------------------------------------------------------

    @cached_property
    def tables(self):
        """Every table of the memo: {title: pandas table}, in the order of the page."""
        plan = self.plan
        return {
            "The kit": self.job.kit.table(),
            "The routes": tables.routes_table(self),
            "Findings on the parts": tables.findings_table(self.plans),
            "Timeline": plan.timeline().set_index("step"),
            "Traveller": traveller(plan),
            "Settings": set_points(plan),
            "Sizes": sizes_table(plan),
            "Machining": machining_table(plan),
            "Inspection": inspection_list(plan),
            "Cautions": cautions_table(plan),
            "What to buy": tables.buying_table(plan, self.again[self.chosen]),
            "Risks": tables.risks_table(self),
            "What would turn it": turns_table(self.turns),
            "What to measure first": tables.worth_table(self.information),
            "Assumptions": tables.assumptions_table(self),
        }

    @cached_property
    def charts(self):
        """{title: Chart} of the page."""
        from pourprint import figures

        one = len(self.able) == 1  # a map with one route on it says nothing
        found = {"Break-even": self._break_even(figures)} | ({} if one else {"Decision map": self._map(figures)})
        found["Timeline"] = figures.plan_timeline(self.plan)
        found["Timeline"].figure.update_layout(height=140 + 17 * len(self.plan.steps))  # with its table on one page
        # Where the chosen route has nothing to show, another may.
        meshed = {item.part.name: item.part for item in self.job.kit.parts if item.part.mesh is not None}
        for plan in (self.plan, *self.able.values()):
            if seen := [one.part for one in plan.findings if one.where_mm is not None and one.part in meshed]:
                found["Findings on the parts"] = figures.findings_picture(meshed[seen[0]], plan.findings)
                break
        return found

    def _break_even(self, figures):
        kits, noun = np.arange(1, max(50, 4 * self.job.quantity) + 1), self.job.kit.noun
        totals, days = outcomes_of(self.able, {"quantity": kits})
        failing = {r: again_along(p, "quantity").at(kits, days[r], self.rates) for r, p in self.able.items()}
        lines = unit_costs(totals, kits, self.price_of_day, days, failing)
        along = Along(f"{noun}s wanted", kits, True, lines, self.job.quantity, f"{self.rates.currency} a {noun}")
        cheapest = min(lines, key=lambda route: np.nan_to_num(lines[route][0], nan=np.inf))
        where = f"at one {noun}" if along.crossings else f"at every number of {noun}s up to {kits[-1]}"
        title = f"Cheapest {where}: {self.plans[cheapest].title.lower()}"
        said = [f"from about {c.at:.0f} {noun}s on {self.plans[c.to].title.lower()}" for c in along.crossings]
        recommended = f"Failures and days included. Recommended: {self.plan.title.lower()}."
        takeaway = f"{', '.join([title, *said])}. {recommended}"
        some = np.unique(np.append(np.geomspace(1, kits[-1], 9).astype(int), self.job.quantity))
        figure = figures.comparison_figure(along, tuple(lines), title)
        return figures.Chart(figure, takeaway, figures.COMPARISON_IN_WORDS, along.table().loc[some])

    def _map(self, figures):
        kits = np.unique(np.geomspace(1, max(50, 4 * self.job.quantity), 40).astype(int))
        prices = np.linspace(0, dearest_day(self.rates, self.price_of_day), 41)
        return figures.map_chart(decision_map(self.plans, {"quantity": kits, "price_of_day": prices}))

    # Handed over -----------------------------------------------------------------------------------

    def html(self, paper=""):
        """The memo as one page that needs no network; `paper` as of CSS, "A4" or "letter" (default: the printer's)."""
        from jinja2 import Environment, StrictUndefined
        from markupsafe import Markup

        from pourprint.figures.look import THEME
        from pourprint.figures.tables import heading
        from pourprint.lessons.handouts import plot_html, plotly_script

        page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
        return page.from_string(Path(__file__).with_name("memo.html").read_text(encoding="utf-8")).render(
            memo=self,
            tables=self.tables | self._shortened(),
            plot=lambda chart: Markup(plot_html(chart.figure)),
            shown=tables.shown,
            heading=heading,
            theme=Markup(THEME),
            script=Markup(plotly_script()),
            paper=paper,
        )

    def _shortened(self):
        """The long tables but for what says nothing, and what stands against several parts said once."""
        worth, turning = self.tables["What to measure first"], self.tables["What would turn it"].dropna()
        by = worth.columns[0]
        rows = worth[(worth[by] > 0) | (worth.index == "everything")].sort_values(by, ascending=False)
        return {
            "Findings on the parts": tables.together(self.tables["Findings on the parts"]),
            "What to measure first": rows.head(ROWS),
            "What would turn it": turning.head(ROWS),
        }

    def pdf(self, paper="A4"):
        """The same page printed by an installed Chromium: bytes; `paper` "A4" or "letter". Raises: InputError."""
        from pourprint.lessons.handouts import printed

        return printed(self.html(paper))

    def write(self, path, replace=False):
        """Write the memo as .html, .pdf or .xlsx, by the path's ending. Returns: Path. Raises: InputError."""
        from pourprint.report.workbook import workbook

        ways = {".html": lambda: self.html().encode(), ".pdf": self.pdf, ".xlsx": lambda: workbook(self)}
        path = Path(path)
        if path.suffix not in ways:
            raise InputError(f"path={str(path)!r} must end in {', '.join(ways)}.")
        check_free(path, replace=replace)  # before the work, and again when it is written
        return write_whole(path, ways[path.suffix](), replace)


def whole_days(days):
    """Days in words: whole ones from two on, below with a tenth."""
    return f"{days:.0f} days" if days >= 2 else f"{days:.1f} days"


def more_or_less(amount, money):
    """A difference in words."""
    return f"{abs(amount):,.0f} {money} {'more' if amount >= 0 else 'less'}"


def date_of(deadline):
    """A date, with its time where it has one, in words."""
    moment = moment_of(deadline)
    return f"{moment:%a %d %b %Y}" + f"{moment: %H:%M}" * (moment.time() != dt.time())


def memo(job, rates, start, deadline=None, price_of_day=0.0, routes=tuple(ROUTES), argument=""):
    """Write the decision of a job.

    Parameters: `job` Job of single numbers; `rates` RateCard; `start` date, from its opening hour, or date and time;
    `deadline` date, or days from the start; `price_of_day` [currency/d]; `routes` to weigh; `argument` the author's
    own words. Returns: Memo. Raises: InputError, also where no route can make the job.
    """
    check_numbers(zero_allowed=True, arrays=False, price_of_day=price_of_day)
    begin = begin_of(start, rates.hours)
    if isinstance(deadline, int | float | np.number):
        check_numbers(arrays=False, deadline=deadline)
        deadline = begin + dt.timedelta(days=float(deadline))
    if deadline is not None and end_of(deadline) <= begin:
        raise InputError(f"the deadline, {date_of(deadline)}, must be after the start, {begin:%a %d %b %Y}.")
    job = job.with_(start=begin)
    plans = plan_all(job, rates, routes)
    able = feasible(plans)
    if not able:
        raise Infeasible(f"no route can make this job. {why_none(plans)}")
    for plan in able.values():
        plan.single_only("a memo")
    return Memo(job, rates, deadline, float(price_of_day), plans, argument)


def memo_of(setting, argument=""):
    """The memo of a Setting, as the panel keeps one; `argument` the author's own words. Raises: as `memo`."""
    asked = setting.deadline, setting.price_of_day, setting.routes
    return memo(setting.job, setting.rates, setting.start, *asked, argument)
