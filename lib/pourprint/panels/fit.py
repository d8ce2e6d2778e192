"""The panel of fits and bonds: a bearing's seat and a tube's socket, what they carry, what is machined and its cost."""

from dataclasses import replace

from pourprint.figures.bars import Bar, Piece, stacked_bars
from pourprint.figures.joints import fit_chart, shear_chart
from pourprint.figures.look import LOOKS, counted, tint, title_of
from pourprint.figures.tables import table_html
from pourprint.ledger.alloys import Alloy
from pourprint.ledger.entries import joints
from pourprint.ledger.errors import InputError
from pourprint.panels.controls import choice_row, number_row
from pourprint.panels.panel import TEXTS, Shown, alloy_row, panel, value_rows
from pourprint.plans.jobs import Job
from pourprint.plans.plan import feasible
from pourprint.process.finish.bonding import ISOLATIONS, allowable_mpa
from pourprint.process.finish.seats import bearing_seat
from pourprint.process.strength.loads import frame_loads
from pourprint.routes import PRINTED, plan_all
from pourprint.routes.bonding import pulls_n, socket_lap
from pourprint.routes.findings import allowed
from pourprint.routes.finishing import finishing_list

FITS = ("H7", "K7", "M7", "N7", "P7", "R7", "S7", "H13")


def fit_panel(frame, rates, quantity=4, alloy="AlSi7Mg"):
    """Fit, gap, length and temperature of a frame's first node with a bearing, and what follows by each route.

    Parameters: `frame` Frame with wheels and a bored node; `rates` RateCard; `quantity` of kits; `alloy` to begin with.
    Returns: Panel. Raises: InputError.
    """
    joint, rows = _Joint(frame, rates, quantity), value_rows("fit", rates)
    seat = {"fit": choice_row("fit of the bore", FITS, joint.pivot.fit), "warmer": rows.pop("warmer")}
    bond = rows | {
        "length": number_row("bond length", joint.socket.depth_mm, 10, 80, 1, "mm"),
        "isolation": choice_row("isolation", [(name.replace("_", " "), name) for name in ISOLATIONS]),
    }
    able = [route for route in PRINTED if allowed(route, Alloy.named(alloy), rates)]
    job = {
        "alloy": alloy_row(first=alloy),
        "route": choice_row("made by", [(title_of(route), route) for route in PRINTED], next(iter(able), None)),
        "look": choice_row("look at", [("the bond", "bond"), ("the seat", "seat")]),
    }
    groups = {"The node": job, "The seat": seat, "The bond": bond}
    return panel(groups, joint.asked, joint.shown, TEXTS["words"]["fit"], joint.figure)


class _Joint:
    """What is looked at: the bore and the first tube's socket of a frame's first kind of node with a pivot, under its
    loads `at` its sockets."""

    def __init__(self, frame, rates, quantity):
        kinds = [kind for kind in frame.node_kinds if frame.points[kind.points[0]].pivot]
        if not kinds:
            raise InputError(f"frame {frame.name!r} has no node with a pivot: give a point one.")
        self.frame, self.kit, self.kind, self.rates, self.quantity = frame, frame.kit(), kinds[0], rates, quantity
        self.point, self.tube = self.kind.points[0], frame.tubes[self.kind.tubes[0][0]]
        self.pivot, self.socket = frame.points[self.point].pivot, self.tube.socket_at(self.point)
        self.at = frame_loads(frame).at_kind(self.kind)[1]

    def asked(self, values):
        """({route: Plan} of those that can, the chosen one, Lap, its greatest pull [N]); the node's own fit and length,
        the whole kit's gap."""
        length, name = values["length"], self.tube.name
        mine = next(item for item in self.kit.parts if item.part.name == self.kind.name)
        bores = tuple(replace(bore, fit=values["fit"]) for bore in mine.bores)
        sockets = tuple(replace(s, depth_mm=length) if s == self.socket else s for s in mine.sockets)
        asked = replace(mine, bores=bores, sockets=sockets)
        kit = replace(self.kit, parts=tuple(asked if item is mine else item for item in self.kit.parts))
        job = Job(kit, values["alloy"], self.quantity, isolation=values["isolation"])
        plans = feasible(plan_all(job, self.rates.replace({"bonding.gap": values["bonding.gap"]}), PRINTED))
        if values["route"] not in plans:
            raise InputError(f"{title_of(values['route'])} cannot make this kit in {values['alloy']}.")
        plan = plans[values["route"]]
        listed = finishing_list(plan).loc[self.kind.name]
        how = listed[listed["feature"].str.startswith("socket")]["how"].iloc[0]
        frame = replace(self.frame, tubes={**self.frame.tubes, name: replace(self.tube, bond_mm=length)})
        lap = socket_lap(frame, self.kind, name, plan, how)[0]
        return plans, plan, lap, float(pulls_n(lap, frame, self.tube, self.point, self.at[name]).max())

    def shown(self, found, values):
        """Seat, bond and price in facts, costs as bars, the node's finishing as a table."""
        plans, plan, lap, pull = found
        bore, depth, boss, alloy, warmer = self.seat(values, plan)
        seat = bearing_seat(bore, depth, values["fit"], boss, alloy, warmer)
        money = f"{plan.rates.currency} a {self.kit.noun}"
        peak = float(lap.worst_shear_mpa(pull, _colder(values)))
        mean = lap.mean_shear_mpa(pull) / allowable_mpa()
        cheapest = min(plans.values(), key=lambda plan: plan.unit_cost)
        facts = {
            "seat, loosest and tightest": "; ".join(word.partition(":")[0] for word in seat["verdict"]),
            "bond at its thinnest": f"{peak:.0f} MPa at an end; mean {mean:.2f} of what the course allows",
            "cheapest": f"{cheapest.title}, {cheapest.unit_cost:,.0f} {money}, bonded; adhesive and failures left out",
        }
        bars = []
        for route, one in plans.items():
            table = finishing_list(one)
            cut = float((table["count"] * table.filter(like="cost").squeeze()).sum())
            hue, rest = LOOKS[route].colour, float(one.unit_cost) - cut
            pieces = Piece("", cut, hue, f"machining {cut:,.0f}"), Piece("", rest, tint(hue, 0.6), f"rest {rest:,.0f}")
            bars.append(Bar(one.title, pieces, float(one.unit_cost)))
        title = f"{cheapest.title} costs least for {counted(self.quantity, self.kit.noun)}"
        costs = stacked_bars(title, bars, f"{money}, bonding's hours in it; dark: machining", "{:,.0f}")
        table = finishing_list(plan).loc[[self.kind.name]].drop_duplicates().set_index("feature").round(2)
        return Shown(facts, costs, table_html(table.rename_axis(self.kind.name), f"{plan.title}; of equal rows one"))

    def seat(self, values, plan):
        """What bearing_seat and fit_chart ask of the seat: (bore, depth, boss [mm], alloy, warmer [K])."""
        wide = self.pivot.bore_mm + 2 * self.pivot.wall_mm
        return self.pivot.bore_mm, self.pivot.seat_mm, wide, plan.job.alloy, values["warmer"]

    def figure(self, found, values):
        """Shear along the bond, or the bands of the chosen fit between a loose and a tight one."""
        _, plan, lap, pull = found
        if values["look"] == "bond":
            return shear_chart(lap, pull, _colder(values)).figure
        fits = tuple(dict.fromkeys(("H7", values["fit"], "R7")))
        return fit_chart(*self.seat(values, plan), fits).figure


def _colder(values):
    """Coldest service against the cure [K]."""
    return values["service"] - joints()["adhesive.cure_temperature"].value
