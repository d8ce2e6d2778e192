"""The printed-metal route: by hand for a part of given numbers, and what moves what for a mesh."""

import math

import numpy as np
import pytest
import trimesh
from trimesh.creation import box

import pourprint as pp
from pourprint.ledger.errors import Infeasible
from pourprint.parts.nodes import Tube, make_node
from pourprint.process.powder.orientation import Orientations
from pourprint.process.powder.supports import Standing, stand
from pourprint.routes import printed_metal as route
from scenes import bracket, demo_kit, demo_rates

BLOCK = pp.Part.from_numbers("block", 50, 100, (60, 40, 30), overhang_cm2=6, support_cm3=10)


def plan(job, **changes):
    return pp.plan(route.NAME, job, rates(**changes))


def rates(**changes):
    return demo_rates().replace({f"{route.NAME}.{key}": value for key, value in changes.items()})


def rows(job, **changes):
    return plan(job, **changes).table().set_index("step")


def node(wall_mm=3.0, lean=0.2):
    """A node of two tubes, the second of which leans by `lean`."""
    tubes = [Tube((1, 0, 0.2), diameter_mm=30, depth_mm=40), Tube((-0.4, 1, lean), diameter_mm=25, depth_mm=35)]
    return make_node(tubes, wall_mm=wall_mm, segments=32)


# By hand ------------------------------------------------------------------------------------------------


def test_a_block_of_given_numbers_by_hand():
    """Foot 15% of 24 cm2; of 6 cm2 held, 35% from the part itself; reach √24/6 cm; side π/4 of 100 cm2."""
    foot, plate, inner, reach = 3.6, 3.9, 2.1, np.sqrt(24) / 6
    melted = 50 + 0.3 * 10 + (foot + 0.3 * plate) * 0.4  # cm3; the lift is 4 mm
    spread = np.ceil(34 / 0.06) * 10 / 3600
    laser = 1.15 * 1000 * melted / 10.5 / 3600 + 100 * np.pi / 4 * 100 / 0.06 / 700 / 3600
    table = rows(pp.Job(BLOCK, "AlSi7Mg", 3), turning=0.0)
    printing = table.loc["print on the plate"]
    # Held while it is set up for 1.5 h, prints, cools for 4 h and is unloaded for 0.5 h.
    assert printing["machine_h"] == pytest.approx(1.5 + spread + 3 * laser + 4 + 0.5) and printing["hands_on_h"] == 2
    density = 2.68e-3
    bought = 3 * melted * density * 1.1 * 0.98 + 250 * 250 * 34 / 1000 * 0.55 * density * 0.02
    assert printing["material"] == pytest.approx(65 * bought + (spread + 3 * laser) * 0.5 * 3.0)
    assert table.loc["cut the parts from the plate", "machine_h"] == pytest.approx(0.5 + 3 * (foot + 0.3 * plate) / 600)
    effort = (plate + 2.5 * inner) * (1 + reach / 4)
    assert table.loc["take off the supports", "hands_on_h"] == pytest.approx(3 * (0.15 + effort / 60))
    assert table.loc["stress-relieve on the plate", "machine_h"] == pytest.approx(0.15 + 2 + 2 * 275 / 150)  # 300 °C


def test_powder_bought_is_what_the_steps_buy():
    job = pp.Job(demo_kit(), "AlSi10Mg", 3)
    bought = route.powder_of(job, demo_rates()).bought_kg
    printed_h = rows(job).loc["print on the plate", "machine_h"] - 6 * route.lay_out(
        job, demo_rates()
    ).plates.per_batch(3)
    gas = printed_h * 0.5 * demo_rates()["material.inert_gas"]  # not while it is set up, cools and is unloaded
    paid = rows(job).loc["print on the plate", "material"] - gas
    assert bought * demo_rates()["powder.AlSi10Mg"] == pytest.approx(paid)


@pytest.mark.parametrize(
    ("alloy", "step"), [("Ti-6Al-4V", "press hot to close pores"), ("17-4PH", "quench"), ("AlSi10Mg", None)]
)
def test_what_an_alloy_needs_after_the_plate(alloy, step):
    names = set(rows(pp.Job(BLOCK, alloy)).index)
    assert names & {"press hot to close pores", "quench"} == ({step} if step else set())


def test_hot_pressing_is_paid_by_the_load_and_waited_for():
    # 4 × 50 cm3 of 4.42 g/cm3 are 0.884 kg; a load of 0.5 kg: two loads.
    row = rows(pp.Job(BLOCK, "Ti-6Al-4V", 4), hot_press_load=0.5).loc["press hot to close pores"]
    assert (row["material"], row["hands_on_h"], row["wait_h"]) == pytest.approx((1800, 2, 240))


def test_the_printer_is_made_ready_once_a_job_and_its_plates_once_each():
    """Three kits of two plates: 4 h for the powder of another alloy, and half an hour at the mill for every plate."""
    job = pp.Job(demo_kit(), "AlSi10Mg", 3)
    plates = float(route.lay_out(job, demo_rates()).plates.per_batch(3))
    table = rows(job)
    assert table.loc["change the printer's powder", ["hands_on_h", "machine_h"]].tolist() == [4, 4]
    assert table.loc["resurface the plates", "machine_h"] == pytest.approx(0.5 * plates)
    assert rows(job, powder_change=0.0).loc["change the printer's powder", "cost"] == 0


@pytest.mark.parametrize("name", ["axle_carrier", "spreader"])
def test_pieces_that_nest_take_a_whole_number_to_a_plate_and_more_than_in_rows(name):
    part = next(item.part for item in demo_kit().parts if item.part.name == name)
    layout = route.lay_out(pp.Job(part, "AlSi7Mg"), rates(kits_together=1.0))
    (piece,), gap_mm, plate_mm = layout.pieces, rates()["printed_metal.plate_gap"], rates()["printed_metal.plate_x"]
    # By hand: as many rows and columns as the plate, a square, has room for, with a gap between.
    sides_mm = piece.standing.length_mm, piece.standing.width_mm
    in_rows = math.prod(int((plate_mm + gap_mm) // (side + gap_mm)) for side in sides_mm)
    to_a_plate = 1 / float(layout.share)
    assert to_a_plate == pytest.approx(round(to_a_plate)) and to_a_plate > in_rows


# Which way up -------------------------------------------------------------------------------------------


def test_turning_never_costs_hours():
    layout = route.lay_out(pp.Job(demo_kit(), "AlSi10Mg"), demo_rates())
    for piece in layout.pieces:
        drawn = piece.orientations.standing.at(0)
        hours = route.hours_of(
            drawn, piece.item.part.volume_cm3, pp.Job(demo_kit(), "AlSi10Mg"), rates().section(route.NAME)
        )
        assert piece.hours.total <= hours.total + 0.05  # the machining stock adds minutes of laser to the chosen one


def test_the_chosen_direction_is_as_good_as_the_best_of_all_measured_by_columns():
    """All directions of the scan by columns, not only the candidates: the choice is within 5% of the best."""
    item, job = demo_kit().parts[5], pp.Job(demo_kit(), "AlSi10Mg")
    piece = route.lay_out(job, demo_rates()).pieces[5]
    directions = item.part.study(Orientations).tried
    every = Standing.of_each([stand(*item.part.mesh, up, 1.2)[0] for up in directions])
    m, part_cm3 = rates().section(route.NAME), item.part.volume_cm3 + piece.machining.stock_cm3
    fits, held = route.usable(every, m)
    best = route.hours_of(every, part_cm3, job, m).total[fits & held].min()
    assert piece.hours.total <= 1.05 * best


def test_a_part_drawn_aslant_costs_about_the_same():
    part = demo_kit().parts[5].part
    costs = [plan(pp.Job(p, "AlSi10Mg", 4)).unit_cost for p in (part, part.turned((1, 2, 3)))]
    # Directions are the part's own; only that in which it is drawn is tried besides.
    assert costs[0] == pytest.approx(costs[1], rel=0.02)


def test_a_plate_costs_the_same_however_it_was_drawn():
    """Alike on all flats, it stands on edge where many share the plate, though nobody drew it so."""
    costs = []
    for sides in ((150, 100, 5), (150, 5, 100), (5, 100, 150)):
        flat = box(extents=sides)
        costs.append(plan(pp.Job(pp.Part.from_arrays("flat", flat.vertices, flat.faces), "AlSi7Mg", 20)).unit_cost)
    assert costs == pytest.approx(costs[:1] * 3, rel=1e-3)


def test_more_kits_together_let_parts_stand_taller():
    job = pp.Job(demo_kit().parts[0].part, "AlSi10Mg", 6)
    low, high = (route.lay_out(job, rates(kits_together=kits)).height_mm for kits in (1, 6))
    assert low < high


def test_a_lab_may_keep_parts_as_they_are_drawn():
    part = demo_kit().parts[0].part
    layout = route.lay_out(pp.Job(part, "AlSi10Mg"), rates(turning=0))
    assert layout.height_mm == pytest.approx(part.height_mm + 4) and layout.pieces[0].up == pytest.approx(
        [0, 0, 1], abs=1e-12
    )


def test_a_part_too_tall_as_drawn_is_turned_until_it_fits():
    rod = box(extents=(20, 20, 298))
    job = pp.Job(pp.Part.from_arrays("rod", rod.vertices, rod.faces), "AlSi10Mg")
    with pytest.raises(Infeasible, match=r"302 mm.*fits lying down"):
        plan(job, turning=0)
    assert plan(job).feasible and route.lay_out(job, rates()).height_mm < 300


def test_a_part_by_numbers_is_laid_down_where_it_is_too_tall():
    rod = pp.Part.from_numbers("rod", 60, 210, (30, 40, 240))
    assert route.lay_out(pp.Job(rod, "AlSi10Mg"), rates(height_limit=200.0)).height_mm < 50
    with pytest.raises(Infeasible, match="fits lying down"):
        plan(pp.Job(rod, "AlSi10Mg"), height_limit=200.0, turning=0)
    with pytest.raises(Infeasible, match="split"):
        plan(pp.Job(rod, "AlSi10Mg"), height_limit=200.0, plate_x=190.0, plate_y=190.0)


def test_a_rod_that_would_lie_the_quicker_stands_on_a_plate_that_is_too_small_for_it():
    rod = box(extents=(20, 20, 200))
    job = pp.Job(pp.Part.from_arrays("rod", rod.vertices, rod.faces), "AlSi10Mg")
    free, narrow = (route.lay_out(job, rates(plate_x=side, plate_y=side)) for side in (250.0, 100.0))
    assert free.height_mm < 50 and narrow.height_mm == pytest.approx(204)
    assert free.pieces[0].hours.total < narrow.pieces[0].hours.total


def test_what_is_held_nowhere_that_it_fits_is_still_turned_to_fit():
    """A spindle, drawn lying: held where it lies, which the plate is too small for; on its tip it fits."""
    ring = [(0, 12 * np.cos(at), 12 * np.sin(at)) for at in np.linspace(0, 2 * np.pi, 48, endpoint=False)]
    spindle = trimesh.PointCloud([(-100, 0, 0), (100, 0, 0), *ring]).convex_hull
    job = pp.Job(pp.Part.from_arrays("spindle", spindle.vertices, spindle.faces), "AlSi10Mg")
    assert route.lay_out(job, rates()).height_mm < 60
    assert route.lay_out(job, rates(plate_x=100.0, plate_y=100.0)).height_mm > 150


def test_a_part_must_be_held():
    """A cone on its tip needs no support by its slope, but nothing would hold it."""
    from trimesh.creation import cone

    spike = cone(12, 60, sections=48)
    spike.apply_transform(np.diag([1, -1, -1, 1]))
    part = pp.Part.from_arrays("spike", spike.vertices, spike.faces)
    up = route.lay_out(pp.Job(part, "AlSi10Mg"), rates()).pieces[0].up
    assert up[2] < 0.5  # not as drawn


# What moves what ----------------------------------------------------------------------------------------


def moved(before, after):
    """Steps whose hours or cost differ."""
    columns = ["hands_on_h", "machine_h", "wait_h", "cost"]
    a, b = (rows(job)[columns] for job in (before, after))
    both = a.index.intersection(b.index)
    return {step for step in both if not np.allclose(a.loc[step], b.loc[step])} | {
        *a.index.symmetric_difference(b.index)
    }


SHAPED = {"print on the plate", "cut the parts from the plate", "take off the supports"}


def test_a_wall_moves_printing_sawing_and_supports():
    assert moved(pp.Job(node(3.0), "AlSi10Mg"), pp.Job(node(5.0), "AlSi10Mg")) == SHAPED


def test_an_angle_between_tubes_moves_printing_sawing_and_supports():
    assert moved(pp.Job(node(lean=0.2), "AlSi10Mg"), pp.Job(node(lean=0.9), "AlSi10Mg")) == SHAPED


def test_an_alloy_moves_every_step_that_metal_has_a_say_in():
    kit = pp.Kit("k", (pp.KitPart(node(), bores=(pp.Bore(20, 8),)),))
    found = moved(pp.Job(kit, "AlSi10Mg"), pp.Job(kit, "17-4PH"))
    cut = {"machine bores, faces and tight sockets", "stress-relieve on the plate", "solution-treat", "quench", "age"}
    assert found == SHAPED | cut


def test_thinner_layers_take_longer_to_spread_and_to_melt():
    job = pp.Job(demo_kit(), "AlSi10Mg")
    idle = {"turning": 0.0, "plate_setup": 1e-9, "plate_cooling": 0.0, "plate_unload": 0.0}
    thin, usual = (rows(job, layer_scale=s, **idle).loc["print on the plate", "machine_h"] for s in (0.5, 1.0))
    assert thin == pytest.approx(2 * usual, rel=0.01)  # twice the layers, half the rate


# Arrays -------------------------------------------------------------------------------------------------


def test_a_scaled_kit_follows_its_powers_and_a_sweep_its_single_values():
    sizes = np.array([30.0, 60.0, 90.0])
    kit = demo_kit()
    together = plan(pp.Job(kit.scaled_to(sizes), "AlSi10Mg", 4)).unit_cost
    single = [plan(pp.Job(kit.scaled_to(size), "AlSi10Mg", 4)).unit_cost for size in sizes]
    assert together == pytest.approx(single, rel=1e-12)


def test_the_mesh_is_measured_once_however_often_the_part_is_scaled():
    part = demo_kit().parts[0].part
    first = part.study(Orientations)
    again = part.scaled_to(20).study(Orientations)
    assert again.shadows is first.shadows
    factor = np.cbrt(20 / part.volume_cm3)
    assert again.standing.support_cm3 == pytest.approx(first.standing.support_cm3 * factor**3)


def test_a_part_by_numbers_stands_as_its_box_does():
    sizes = np.array([20.0, 60.0])
    found = bracket(volume_cm3=60).scaled_to(sizes).study(Orientations)
    assert found.standing.height_mm.shape == (2, 3) and found.directions[0].tolist() == [0, 0, 1]  # as given first
    assert found.standing.at(0).support_cm3 == pytest.approx(bracket().scaled_to(sizes).support_cm3)


@pytest.mark.parametrize("alloy", ["AlSi7Mg", "Ti-6Al-4V", "316L", "17-4PH"])
def test_no_plate_is_sawn_and_no_aged_part_blasted_before_it_is_cold(alloy):
    job, heating = pp.Job(BLOCK, alloy, 3, start="2026-11-30"), rates().entries["foundry.heat_treatment_heating"].value
    spans, _ = plan(job).schedule()
    hot = {"stress-relieve on the plate": "relief_temperature", "age": "ageing_temperature"}
    for span in spans:
        if span.step.name in hot:
            key = hot[span.step.name]
            heats_h = (job.alloy[key] - 25) / heating  # up, and down again before anybody opens it
            least_h = 2 * heats_h + job.alloy[key.replace("temperature", "time")]
            assert span.ran_h - span.starts_h >= 0.999 * least_h
            after = spans[spans.index(span) + 1]
            assert after.begin_h >= span.unloaded_h >= span.ran_h
    assert any(span.step.name in hot for span in spans)


def test_a_larger_plate_does_not_become_cheaper_by_standing_up():
    """Seven flat pieces of 17-4PH: 167 cm3 lay sprawled and cost 12 086 where 170 cm3 cost 7280."""
    flat = pp.Part.from_numbers("flat", 32, 174.4, (100, 80, 4))
    costs = [float(plan(pp.Job(flat.scaled_to(cm3), "17-4PH", 7)).total_cost) for cm3 in (160.0, 167.3, 169.9, 180.0)]
    assert costs == sorted(costs)


def test_a_long_box_lies_from_corner_to_corner():
    # (300 + 20)/√2 = 226 mm of the plate's 250, published nowhere: the box turned by 45 degrees.
    stick = pp.Part.from_numbers("stick", 110, 260, (300, 20, 20))
    assert plan(pp.Job(stick, "AlSi7Mg")).total_cost > 0
    with pytest.raises(Infeasible, match="does not fit the plate"):
        plan(pp.Job(pp.Part.from_numbers("rail", 160, 380, (299, 60, 60)), "AlSi7Mg"))
