"""A frame's bonded sockets by route: the gap that comes out, what the line carries, and the work of bonding."""

import numpy as np

from pourprint.ledger.entries import joints, table_of, values_of
from pourprint.ledger.errors import InputError
from pourprint.plans.steps import BATCH, Stage, Step, Work
from pourprint.process.finish.bonding import Lap, allowable_mpa, equal_pull_n, gap_spread_mm, isolated
from pourprint.process.finish.iso_fits import tolerance_um
from pourprint.routes.common import least_gap_mm, part_level, total
from pourprint.routes.finishing import finishing_list, hole_tolerance_mm

MACHINED_GRADE = 9  # of a bored socket


def bond_list(frame, loads, plan, service_c=-20.0):
    """What each kind of socket carries, as a pandas table; Infeasible plans are refused by what they raise.

    frame: Frame whose kit the plan's job makes; loads: its FrameLoads; plan: Plan, by its job's isolation or else with
    a filled line; service_c: coldest service [°C], against the cure's temperature, at most adhesive.warmest. The
    thinnest line at worst tolerance counts, and not less than `common.least_gap_mm`.
    Columns: node, tube, how (machined or as made), gap at worst [mm] and of 99.7% [mm], hardest case, pull that
    equals force and bending [N], peak shear [MPa], of it from cold [MPa], mean over what the course allows [-], useful
    length [mm].
    """
    how = finishing_list(plan)["how"].groupby(level=0).agg(list)
    colder, warmest = service_c - joints()["adhesive.cure_temperature"].value, joints()["adhesive.warmest"].value
    if service_c > warmest:
        raise InputError(f"service_c={service_c!r} must be at most {warmest:g} °C: near its cure an adhesive is soft.")
    rows = []
    for kind, item in zip(frame.node_kinds, plan.job.kit.parts, strict=True):
        labels, at = loads.at_kind(kind)
        for name, done in zip(kind.tubes[0], how[item.part.name][len(item.bores) :], strict=False):
            lap, worst, usual = socket_lap(frame, kind, name, plan, done)
            pulls = pulls_n(lap, frame, frame.tubes[name], kind.points[0], at[name])
            hardest = int(np.argmax(pulls))
            peak, cold = lap.worst_shear_mpa(pulls[hardest], colder), lap.worst_shear_mpa(0.0, colder)
            rows.append((kind.name, name, done, *worst, *usual, labels[hardest][1], pulls[hardest], float(peak),
                         float(cold), lap.mean_shear_mpa(pulls[hardest]) / allowable_mpa(),
                         lap.useful_length_mm()))  # fmt: skip
    columns = ["node", "tube", "how", "least gap [mm]", "greatest gap [mm]", "usual least [mm]", "usual greatest [mm]",
               "case", "equal pull [N]", "peak shear [MPa]", "of it cold [MPa]", "mean over allowed [-]",
               "useful length [mm]"]  # fmt: skip
    return table_of(rows, ["node", "tube"], columns)


def pulls_n(lap, frame, tube, point, load):
    """Pull on a tube (FrameTube) out of a point in each case that loads its Lap as force and bending do (cases,) [N].

    load: forces [N] and moments [N mm] at the socket, each (3, cases), as of `FrameLoads.at_kind`.
    """
    axis, (force, moment) = frame.direction(tube, point), load
    return equal_pull_n(lap, axis @ force, np.linalg.norm(np.cross(axis, moment.T), axis=1))


def socket_lap(frame, kind, name, plan, how):
    """The Lap of one kind of socket at its thinnest line, and its gap (least, greatest) at worst and of 99.7% [mm].

    kind: NodeKind, name of the tube in it; how: "machined" or "as made" by the plan's route.
    """
    values, alloy, job = values_of(joints()), plan.job.alloy, _bonded(plan.job)
    tube, socket = frame.tubes[name], frame.tubes[name].socket_at(kind.points[0])
    fibres = frame.tubing[tube.tubing]
    hole_mm = socket.diameter_mm + 2 * plan.rates["bonding.gap"]
    machined = tolerance_um(hole_mm, MACHINED_GRADE) / 1000
    tolerance = machined if how == "machined" else hole_tolerance_mm(plan, hole_mm)
    worst, usual = gap_spread_mm(plan.rates["bonding.gap"], tolerance, plan.rates["bonding.tube_tolerance"])
    lap = Lap(
        tube_mm=socket.diameter_mm,
        tube_wall_mm=tube.wall_mm,
        tube_gpa=fibres["youngs_modulus"].value,
        tube_um_mk=fibres["expansion"].value,
        boss_wall_mm=frame.points[kind.points[0]].wall_mm,
        boss_gpa=alloy["youngs_modulus"],
        boss_um_mk=values[f"expansion.{alloy.family}"],
        length_mm=socket.depth_mm,
        gap_mm=max(worst[0], least_gap_mm(job, plan.rates)),
        adhesive_mpa=values["adhesive.shear_modulus"],
    )
    return isolated(lap, job.isolation), worst, usual


def _bonded(job):
    """The job with the isolation that it names, or else with a filled line."""
    return job.with_(isolation=job.isolation or "filled_line")


def bond_steps(job):
    """Steps of bonding a job's tubes in, of curing and of proving them, by hours alike for every route; none where the
    job asks for none or nothing has a socket.

    Left out: the adhesive and isolation themselves, a few units of money a kit (`bond_materials` has them), and joints
    that fail their proof load.
    """
    value, kit = values_of(joints()), job.kit
    sockets = total(kit, [len(item.sockets) for item in kit.parts])
    if not (job.isolation and sockets):
        return ()
    away = Work(BATCH, wait_h=value["anodised.away"])
    sent = (Step(Stage.FINISH, "send the nodes to be anodised", (away,)),) if job.isolation == "anodised" else ()
    bond_h = value["adhesive.setup"] + sockets * (value["adhesive.hands_on"] + value[f"{job.isolation}.hours"])
    coupons_h, each = value["knock_down.coupons"] * value["adhesive.coupon"], part_level(kit)
    bond = Work(each, hands_on_h=bond_h / kit.nodes), Work(BATCH, wait_h=value["adhesive.cure_time"])
    prove = Work(BATCH, hands_on_h=coupons_h), Work(each, hands_on_h=sockets * value["adhesive.proof"] / kit.nodes)
    names = "bond the tubes in and cure", "break witness coupons and proof-load each tube"
    return *sent, *(Step(Stage.FINISH, name, work) for name, work in zip(names, (bond, prove), strict=True))


def bond_materials(plan):
    """What adhesive and isolation of one batch cost to buy [currency], of bare nodes with a filled line: left out of
    the plan, which has the hours."""
    value, isolation = values_of(joints()), _bonded(plan.job).isolation
    holes = [(item.count, socket) for item in plan.job.kit.parts for socket in item.sockets]
    surface_mm2 = sum(count * np.pi * socket.diameter_mm * socket.depth_mm for count, socket in holes)
    mixed_g = surface_mm2 * plan.rates["bonding.gap"] / 1000 * value["adhesive.density"] * value["adhesive.waste"]
    kit = mixed_g / 1000 * value["adhesive.price"] + sum(count for count, _ in holes) * value[f"{isolation}.cost"]
    return float(min(plan.job.quantity, plan.job.batch_size) * kit)
