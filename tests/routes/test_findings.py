"""Can it be made? Each part that cannot ends in one clear sentence with the place, and a lab's card overrules it."""

import numpy as np
import pytest
import trimesh
from trimesh.creation import box, cylinder, icosphere

import pourprint as pp
from pourprint.panels import mould_panel
from pourprint.process.walls import Walls
from pourprint.routes.findings import Verdict, findings, note, table
from pourprint.routes.looks import look
from scenes import LIMITS, PRINTED, ROUTES, demo_kit, demo_rates

CASTING = ("printed_pattern", "printed_mould", "tooled_pattern")


def part(mesh, name="piece"):
    return pp.Part.from_arrays(name, mesh.vertices, mesh.faces)


def hollow_ball():
    inside = icosphere(3, 15)
    inside.invert()
    return part(trimesh.util.concatenate([icosphere(3, 20), inside]), "hollow ball")


def reasons(piece, alloy="AlSi7Mg", rates=None):
    return {route: getattr(plan, "reason", "") for route, plan in pp.plan_all(pp.Job(piece, alloy), rates).items()}


@pytest.mark.parametrize("piece", [part(box((100, 80, 0.3))), pp.Part.from_numbers("sheet", 2.4, 160, (100, 80, 0.3))])
def test_a_sheet_is_refused_by_every_casting_route(piece):
    for route, reason in reasons(piece).items():
        assert ("wall 0.3 mm" in reason and "thicken it" in reason) == (route in CASTING), route


def test_a_sealed_hollow_is_refused_everywhere():
    said = reasons(hollow_ball())
    assert all("1 sealed cavity" in reason for reason in said.values())
    assert "powder would stay inside" in said["printed_metal"]


def test_loose_beads_are_refused_and_their_kit_is_not():
    at = [(14 * (i % 20), 14 * (i // 20), 0) for i in range(400)]
    loose = part(trimesh.util.concatenate([icosphere(1, 6.0).apply_translation(place) for place in at]), "beads")
    assert all("400 separate bodies" in reason and "Kit.of_bodies" in reason for reason in reasons(loose).values())
    assert not any("bodies" in reason for reason in reasons(pp.Kit.of_bodies(loose)).values())


def test_inches_read_as_millimetres_are_to_be_watched():
    found = findings("printed_metal", pp.Job(part(box((3, 2, 1.5))), "316L"))
    assert [(one.verdict, one.key) for one in found] == [(Verdict.WATCH, "handling.least_size")]
    assert "check the unit" in str(found[0])


def test_a_doubt_about_the_unit_comes_before_all_that_may_follow_from_it():
    job = pp.Job(part(box((3, 2, 1.5))), "AlSi7Mg")
    first, *others = findings("printed_mould", job)
    assert first.key == "handling.least_size"
    assert first.verdict is Verdict.WATCH and Verdict.REFUSED in {one.verdict for one in others}
    reason = pp.plan_all(job)["printed_mould"].reason
    assert reason.index("check the unit") < reason.index("least wall")


def test_a_long_core_held_at_one_end_is_refused():
    held = pp.KitPart(part(box((80, 40, 40))), sockets=(pp.Socket(8.0, 70.0),))
    job = pp.Job(pp.Kit("one", (held,)), "AlSi7Mg")
    (core,) = (one for one in findings("printed_mould", job) if one.key == "printed_mould.core_slenderness")
    assert core.measured == 70 / 8 and core.limit == pp.RateCard.default().entries[core.key].high
    assert "core held at one end" in pp.plan_all(job)["printed_mould"].reason
    assert "blind hole" in pp.plan_all(job)["printed_pattern"].reason
    assert pp.plan_all(job)["printed_metal"].feasible


def z_duct():
    """A block with a square duct that turns twice: from its middle no straight line leads out."""
    block = box((100, 60, 60))
    for size, at in (((60, 10, 10), (-30, 0, -15)), ((10, 10, 40), (0, 0, 0)), ((60, 10, 10), (30, 0, 15))):
        block = block.difference(box(size).apply_translation(at))
    return part(block, "duct")


def test_a_blind_hole_is_found_in_the_mesh_though_no_kit_lists_it():
    drilled = box((60, 60, 80)).difference(cylinder(4.0, 80, sections=48).apply_translation((0, 0, 40)))
    job = pp.Job(part(drilled, "drilled"), "AlSi7Mg")
    (one,) = [one for one in findings("printed_pattern", job) if one.key == "shell.blind_depth"]
    assert one.verdict is Verdict.REFUSED and one.measured == pytest.approx(40 / 8, rel=0.05)
    assert one.where_mm == pytest.approx([0, 0, 20], abs=1.5)
    through = box((60, 60, 40)).difference(cylinder(4.0, 80, sections=48))
    assert findings("printed_pattern", pp.Job(part(through), "AlSi7Mg")) == ()


def test_what_no_straight_tool_reaches_is_watched_in_printed_metal():
    (one,) = findings("printed_metal", pp.Job(z_duct(), "316L"))
    assert (one.verdict, one.key) == (Verdict.WATCH, "printed_metal.hidden_surface")
    assert "supports and powder would stay" in one.advice and one.where_mm == pytest.approx([0, 0, 0], abs=21)
    sealed = {one.key for one in findings("printed_metal", pp.Job(hollow_ball(), "316L"))}
    assert sealed == {"", "printed_metal.hidden_surface"}


def test_a_node_too_heavy_for_hands_and_for_the_crucible_is_refused():
    # 250 × 250 × 200 mm of 316L at 7.97 g/cm3: 99.6 kg; 25 kg of aluminium's room holds 25·7.97/2.68 = 74.3 kg.
    said = reasons(part(box((250, 250, 200)), "block"), "316L")
    assert all("mass 99.6 kg" in reason for reason in said.values())
    assert {route for route, reason in said.items() if "crucible holds, limit 74.3 kg" in reason} == {*CASTING}


def test_magnesium_is_poured_only_where_the_labs_card_allows_it():
    block = part(box((60, 40, 30)))
    assert reasons(block, "AZ91D")["printed_mould"].startswith("AZ91D magnesium: this lab's card does not allow")
    allowed = pp.RateCard.default().replace({"handling.magnesium": 1.0})
    assert reasons(block, "AZ91D", allowed)["printed_mould"] == ""
    assert (
        mould_panel(block, allowed).controls["alloy"].source.options
        != mould_panel(block, pp.RateCard.default()).controls["alloy"].source.options
    )


def test_between_usual_and_least_a_wall_is_watched_with_place_limit_and_pedigree():
    plan = pp.plan("printed_mould", pp.Job(part(box((100, 80, 2.5)), "cover"), "AlSi7Mg"))
    (one,) = plan.findings
    assert (one.verdict, one.key) == (Verdict.WATCH, "printed_mould.least_wall")
    assert one.measured == pytest.approx(2.5) and one.limit == plan.rates["printed_mould.least_wall"]
    assert one.pedigree == plan.rates.entries[one.key].pedigree
    low, high = (end(plan.job.kit.parts[0].part.mesh[0], axis=0) for end in (np.min, np.max))
    assert np.all((low <= one.where_mm) & (one.where_mm <= high))
    assert pp.rank({"printed_mould": plan}).loc["Printed mould", "note"].startswith("watch: cover: wall 2.5 mm")


def test_a_refusal_names_the_limit_that_it_passes_and_a_warning_the_usual_one():
    card = pp.RateCard.default()
    least = card.entries["printed_mould.least_wall"]
    for wall, limit in ((2.5, least.value), (1.2, least.low)):
        one, *others = findings("printed_mould", pp.Job(part(box((100, 80, wall))), "AlSi7Mg"))
        assert not any(other.key for other in others)  # too thin for a pour on trial has no limit
        assert one.limit == limit and f"limit {limit:.3g} mm (published): least wall;" in str(one)
        assert one.key not in str(one)  # readers have no ledger open


def test_steel_needs_thicker_walls_than_aluminium():
    job = pp.Job(part(box((100, 80, 4))), "AlSi7Mg")
    assert findings("printed_mould", job) == ()
    assert findings("printed_mould", job.with_(alloy="316L"))[0].key == "printed_mould.least_wall_hot"


def test_a_labs_card_overrules_a_limit():
    sheet = part(box((100, 80, 1.5)))
    assert "wall 1.5 mm" in reasons(sheet)["printed_mould"]
    better = pp.RateCard.default().replace({"printed_mould.least_wall": 1.2})
    assert reasons(sheet, rates=better)["printed_mould"] == ""


def two_blocks(pore_cm3, alloy="AlSi7Mg"):
    """A job of two blocks on a thin plate, of which one is fed, in a size that leaves such a pore in the other."""
    ends = [box((40, 40, 40)), box((30, 30, 30)).apply_translation((70, 0, 0))]
    blocks = part(ends[0].union(ends[1]).union(box((80, 12, 6)).apply_translation((35, 0, 0))))
    found_cm3 = look(blocks, pp.alloys()[alloy]).pores[0].pore_cm3
    return pp.Job(blocks.scaled_to(blocks.volume_cm3 * pore_cm3 / found_cm3), alloy)


@pytest.mark.parametrize(("pore_cm3", "feeders"), [(0.48, 1), (0.80, 1), (0.86, 2)])
def test_a_pore_takes_a_feeder_of_its_own_only_where_it_is_beyond_doubt(pore_cm3, feeders):
    """By hand: of a pore whose volume holds within 40% by the grid, 60% are sure; 0.5 / 0.6 = 0.833 cm3."""
    job = two_blocks(pore_cm3)
    found = [one for one in findings("printed_mould", job) if "shrinkage" in one.what]
    assert [one.verdict for one in found] == [Verdict.WATCH] and ("takes another" in found[0].what) == (feeders == 2)
    assert pp.ROUTES["printed_mould"].moulds_of(job, pp.RateCard.default())[0].feeders == feeders


SHAPES = {  # sizes in mm
    "a sheet of 0.3 mm": box((100, 80, 0.3)),
    "a sealed ball": trimesh.util.concatenate([icosphere(3, 25.0), icosphere(3, 20.0)]),
    "loose beads": trimesh.util.concatenate([icosphere(1, 6.0).apply_translation((14 * i, 0, 0)) for i in range(9)]),
    "an inch block": box((3, 2, 1.5)),
    "a heavy block": box((250, 250, 200)),
    "a corner": box((60, 60, 60)).difference(box((60, 60, 60)).apply_translation((30, 30, 30))),
}
SHAPES["a sealed ball"].faces[-1280:] = SHAPES["a sealed ball"].faces[-1280:, ::-1]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_finding_shows_its_unit_its_limit_and_its_pedigree(shape):
    job = pp.Job(part(SHAPES[shape], "it"), "AlSi7Mg")
    found = [one for route in PRINTED for one in findings(route, job)]
    rows = table(found)
    assert found and rows["unit"].all() and rows["pedigree"].all()
    assert rows[rows["measured"].notna()]["limit"].notna().all()
    for one in found:
        if np.isfinite(one.limit):
            asked = f"limit {one.limit:.3g}" if one.limit else "should be none"
            assert f"{asked}{f' {one.unit}' * (one.unit != '-' and one.limit > 0)} ({one.pedigree})" in str(one)
            assert "e+" not in str(one) and "cm3" not in str(one)


def limiting(key):
    """A route and a job that just keeps to a limit of the table."""
    value = pp.RateCard.default()[key]
    route = {"shell": "printed_pattern", "handling": "printed_metal"}.get(key.split(".")[0], key.split(".")[0])
    alloy = "316L" if key.endswith("_hot") else "AlSi7Mg"
    if key in ("shell.blind_depth", "printed_mould.core_slenderness"):
        held = pp.KitPart(part(box((200, 60, 60))), sockets=(pp.Socket(20.0, 20.0 * value),))
        return route, pp.Job(pp.Kit("one", (held,)), alloy)
    if key == "printed_mould.fill_share":  # of a plate it grows with its size
        plate = part(box((100, 80, 4)))
        size = 0.95 * value / look(plate, pp.alloys()[alloy]).share
        return route, pp.Job(plate.scaled_to(plate.volume_cm3 * size**3), alloy)
    if key == "printed_mould.most_pore":
        return route, two_blocks(0.95 * value, alloy)
    if "wall" in key:
        return route, pp.Job(part(box((100, 80, value))), alloy)
    if key == "handling.most_mass":
        block = pp.Part.from_numbers("block", 1.0, 6.0, (10, 10, 10))
        return route, pp.Job(block.scaled_to(1000 * value / pp.alloys()[alloy]["density"]), alloy)
    if key == "printed_metal.hidden_surface":
        duct = z_duct()
        return route, pp.Job(duct.scaled_to(duct.volume_cm3 * (value / duct.study(Walls).hidden_cm2) ** 1.5), alloy)
    if key == "handling.least_size":
        return route, pp.Job(part(box((value, value, value))), alloy)
    slot = box((60, 60, 40)).difference(box((value, 80, 60)).apply_translation((0, 0, 25)))
    return route, pp.Job(part(slot), alloy)


@pytest.mark.parametrize("key", sorted(LIMITS - {"handling.magnesium"}))
def test_every_limit_of_the_table_is_asked(key):
    route, job = limiting(key)
    at_limit = {one.key for one in findings(route, job)}
    entry = pp.RateCard.default().entries[key]
    cards = [pp.RateCard.default().replace({key: entry.value * by}) for by in (0.8, 1.25)]
    asked = [{one.key for one in findings(route, job, card)} for card in cards]
    assert key not in at_limit and sum(key in found for found in asked) == 1


def test_sizes_as_arrays_are_judged_by_the_worst():
    plate = part(box((100, 80, 4)))
    sizes = plate.volume_cm3 * np.array([1.0, 0.2])  # down to a wall of 2.3 mm
    (one,) = findings("printed_mould", pp.Job(plate.scaled_to(sizes), "AlSi7Mg"))
    assert one.measured == pytest.approx(4 * 0.2 ** (1 / 3))


@pytest.mark.parametrize("route", ROUTES)
def test_the_demo_kit_can_be_made(route):
    plan = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates())
    assert all(one.verdict is Verdict.WATCH for one in plan.findings)
    assert len(table(plan.findings)) == len(plan.findings)
    assert (note(plan.findings) == "") == (not plan.findings)


def test_a_comparison_says_what_to_watch_and_what_is_refused():
    job = pp.Job(part(box((100, 80, 1.2)), "cover"), "AlSi7Mg", start="2026-11-25T08:00")
    found = pp.comparison(pp.plan_all(job, routes=PRINTED))
    assert "cover: wall 1.2 mm" in found.table().loc["Printed mould", "to watch, or why it cannot"]


@pytest.mark.parametrize("alloy", pp.alloys())
@pytest.mark.parametrize("route", [*pp.ROUTES])
def test_what_is_said_holds_no_key_of_the_ledger(route, alloy):
    tubes = [pp.nodes.Tube(way, 30, 90) for way in ((1, 0, 0.2), (-0.4, 1, 0), (0, -0.5, 1))]
    job, keys = pp.Job(pp.nodes.make_node(tubes, wall_mm=1.2, name="thin"), alloy), pp.RateCard.default().entries
    for said in [
        *map(str, findings(route, job)),
        getattr(pp.plan_all(job, pp.RateCard.default())[route], "reason", ""),
    ]:
        assert not [key for key in keys if key in said], said


def test_the_picture_names_the_place():
    piece = part(box((100, 80, 2.5)), "cover")
    chart = pp.figures.findings_picture(piece, findings("printed_mould", pp.Job(piece, "AlSi7Mg")))
    assert chart.figure.layout.scene.annotations[0].text == "watch: wall"
    assert chart.takeaway.startswith("cover: wall 2.5 mm") and len(chart.table) == 1
    assert str(findings("printed_mould", pp.Job(piece, "AlSi7Mg"))[0]).count(" at (") == 1
    nothing = pp.figures.findings_picture(piece, ())
    assert nothing.takeaway.startswith("Nothing") and len(nothing.table) == 0


@pytest.mark.filterwarnings("error")
def test_walls_that_the_grid_cannot_follow_are_said_without_a_warning_of_the_machine():
    tubes = [pp.nodes.Tube(way, 30, 40) for way in ((1, 0, 0.2), (-0.4, 1, 0), (0, -0.5, 1))]
    said = findings("printed_mould", pp.Job(pp.nodes.make_node(tubes, wall_mm=1.2, name="thin"), "AlSi7Mg"))
    assert any("not poured on trial" in str(one) for one in said)


def test_a_route_that_is_none_is_refused():
    with pytest.raises(pp.InputError, match="route must be one of"):
        findings("carving", pp.Job(part(box((100, 80, 4))), "AlSi7Mg"))
