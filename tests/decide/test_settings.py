"""A kept setting: what is written, what comes back, and what cannot be read."""

import datetime as dt
import tomllib
from dataclasses import replace

import pytest

import pourprint as pp
from pourprint.decide.settings import same_kit, settings_in
from scenes import DEMO, bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


def costs(setting):
    return {route: plan.total_cost for route, plan in pp.plan_all(setting.job, setting.rates).items()}


def test_only_what_differs_is_written_and_the_same_answer_comes_back(tmp_path):
    rates = demo_rates().replace({"labour.technician": 50})
    kept = pp.Setting("Six, by February", demo_kit(), rates, "AlSi7Mg", 6, START, 3, "2027-02-01", 300)
    path = kept.save(tmp_path)
    with pytest.raises(pp.InputError, match="is there already"):
        replace(kept, quantity=5).save(tmp_path)
    assert pp.Setting.load(path).quantity == 6
    assert kept.save(tmp_path, replace=True) == path
    assert [each.name for each in tmp_path.iterdir()] == [path.name]  # no draft stays
    assert path.name == "Six-by-February.setting.toml" and settings_in(tmp_path) == {"Six, by February": path}
    content = tomllib.loads(path.read_text())
    assert content["card"]["values"] == {"labour.technician": 50} and "[[" not in path.read_text()
    assert [*content["kit"]] == ["file"] and (tmp_path / content["kit"]["file"]).resolve() == DEMO / "rover_kit.toml"
    assert len(path.read_text().splitlines()) < 20  # to be read and mailed
    back = pp.Setting.load(path)
    assert replace(back, kit=kept.kit, rates=rates) == kept
    assert costs(back) == costs(kept)
    assert (back.rates.currency, back.kit.nodes, back.deadline) == ("EUR", 15, dt.date(2027, 2, 1))


def test_a_single_part_and_parts_of_ones_own_come_back_with_their_shapes(tmp_path):
    pivot, foot = demo_kit().parts[0], demo_kit().parts[-1]
    own = pp.Part.from_mesh(DEMO / "nodes" / "rocker_pivot.stl", name="my/own pivot")
    socket = pp.KitPart(bracket(), 2, sockets=(pp.Socket(25, 30),))
    kit = replace(demo_kit(), name="mine", parts=(replace(pivot, count=1), pp.KitPart(own, 3), socket))
    kept = pp.Setting("mine", kit, demo_rates(), "AlSi7Mg", 2, START, volume_cm3=80)
    path = kept.save(tmp_path)
    assert (tmp_path / "mine-my-own-pivot.stl").is_file()
    back = pp.Setting.load(path)
    assert [(i.part.name, i.count) for i in back.kit.parts] == [
        ("rocker_pivot", 1),
        ("my/own pivot", 3),
        ("bracket", 2),
    ]
    assert costs(back) == pytest.approx(costs(kept), rel=1e-6)  # an STL holds single precision
    alone = pp.Setting("alone", replace(demo_kit(), name="foot", parts=(foot,)), demo_rates(), "AlSi7Mg", 1, START)
    assert costs(pp.Setting.load(alone.save(tmp_path))) == costs(alone)
    without = pp.Setting("numbers", bracket(), pp.RateCard.default(), "AlSi7Mg", 1, START)
    assert costs(pp.Setting.load(without.save(tmp_path))) == costs(without)


@pytest.mark.parametrize("there", ["mine.setting.toml", "mine-a.stl", "mine-b.stl"])
def test_where_one_of_its_files_is_refused_nothing_is_written(tmp_path, there):
    """A setting of two meshes is three files; whichever of them is there already, the others do not come."""
    mesh = pp.Part.from_mesh(DEMO / "nodes" / "rocker_pivot.stl")
    kit = pp.Kit("two", tuple(pp.KitPart(replace(mesh, name=name)) for name in "ab"))
    kept = pp.Setting("mine", kit, demo_rates(), "AlSi7Mg", 1, START)
    (tmp_path / there).write_text("not to be lost")
    with pytest.raises(pp.InputError, match=there):
        kept.save(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [there]
    assert len({*kept.save(tmp_path, replace=True).parent.iterdir()}) == 3
    alike = pp.Kit("two", tuple(pp.KitPart(replace(mesh, name=name)) for name in ("a b", "a-b")))
    with pytest.raises(pp.InputError, match="another name"):
        replace(kept, name="alike", kit=alike).save(tmp_path)
    assert len([*tmp_path.iterdir()]) == 3


def test_what_is_made_again_instead_of_bought_is_kept(tmp_path):
    buying = pp.RateCard.load(DEMO / "rates_buying.toml")
    kept = pp.Setting("made here", demo_kit(), buying.making(buying.bought[0]), "AlSi7Mg", 1, START)
    assert pp.Setting.load(kept.save(tmp_path)).rates.bought == buying.bought[1:]


def test_every_fault_of_a_file_is_told_at_once_and_a_file_that_is_none_is_passed_over(tmp_path):
    path = pp.Setting("one", demo_kit(), demo_rates(), "AlSi7Mg", 1, START).save(tmp_path)
    text = path.read_text().replace("quantity = 1", 'quantity = "one"').replace("alloy", "aloy")
    path.write_text(text)
    with pytest.raises(pp.InputError, match=r"(?s)aloy.*quantity|quantity.*aloy"):
        pp.Setting.load(path)
    path.write_text(
        path.read_text().replace('y = "one"', "y = 1").replace("aloy", "alloy").replace("rover_kit", "no_kit")
    )
    with pytest.raises(pp.InputError, match=r"there is no file .*no_kit"):
        pp.Setting.load(path)
    (tmp_path / "broken.setting.toml").write_text("name = ")
    assert [*settings_in(tmp_path)] == ["one"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": " -/"}, "letters or digits"),
        ({"rates": None}, "RateCard"),
        ({"quantity": 2.5}, "whole number"),
        ({"alloy": "butter"}, "alloy must be one of"),
        ({"price_of_day": -1}, "price_of_day"),
        ({"price_of_day": [100.0, 200.0]}, "price_of_day=.* one number"),
        ({"routes": ("knitted",)}, "route must be one of"),
        ({"deadline": "soon"}, "date"),
    ],
)
def test_what_is_no_setting_is_refused(change, said):
    good = {"name": "x", "kit": bracket(), "rates": demo_rates(), "alloy": "AlSi7Mg", "quantity": 1, "start": START}
    with pytest.raises(pp.InputError, match=said):
        pp.Setting(**(good | change))
    with pytest.raises(pp.InputError, match="save the card"):
        pp.Setting(**good | {"rates": demo_rates().with_hours(pp.WorkingHours())}).save()


def test_two_small_parts_of_one_name_are_one_kit_only_where_all_sizes_are_the_same():
    one = pp.Kit.of(pp.Part.from_numbers("clip", 3.0, 20.0, (30, 20, 10)))
    for sizes in ((3.1, 20.0, (30, 20, 10)), (3.0, 20.5, (30, 20, 10)), (3.0, 20.0, (30, 20, 10.5))):
        assert not same_kit(one, pp.Kit.of(pp.Part.from_numbers("clip", *sizes)))
    assert same_kit(one, pp.Kit.of(pp.Part.from_numbers("clip", 3.0, 20.0, (30, 20, 10 + 1e-8))))


def test_holes_and_supports_tell_two_kits_apart(tmp_path):
    kit = demo_kit()
    plain = replace(kit, parts=tuple(replace(item, bores=(), sockets=(), faces=()) for item in kit.parts))
    kept = pp.Setting("plain", plain, demo_rates(), "AlSi7Mg", 4, START)
    assert not same_kit(plain, kit)
    # A mesh is written in numbers of seven digits.
    assert costs(pp.Setting.load(kept.save(tmp_path))) == pytest.approx(costs(kept), rel=1e-4)
    one, other = (
        pp.Kit.of(pp.Part.from_numbers("n", 60, 200, (90, 70, 60), overhang_cm2=o, support_cm3=s))
        for o, s in ((5, 10), (60, 150))
    )
    assert not same_kit(one, other)
