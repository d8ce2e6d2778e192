"""Exercises: stable numbers, stubs that fail, worked answers that pass, slips that are named, nothing given away."""

import dataclasses
import importlib
import inspect
import math
import re
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pourprint as pp
from pourprint.ledger.entries import Kind
from pourprint.lessons.exercises import EMPTY
from pourprint.lessons.kinds import Number, in_words
from pourprint.lessons.numbers import Draw, identity
from scenes import DEMO, bracket, demo_kit

STUDENTS = ("ada-07", "Béa 12", "student 3", "guest", "20261125")
NAMES = list(pp.lessons.catalogue())
NUMBERS = re.compile(r"\d[\d,]*\.?\d*")


@cache
def room():
    return pp.lessons.Classroom.load(DEMO / "class.toml")


@cache
def question(name, student="ada-07"):
    return pp.lessons.exercise_named(name).question(room(), student)


def numbers_in(text):
    return [float(n.replace(",", "").rstrip(".")) for n in NUMBERS.findall(text)]


# Stable numbers -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words, first_16_hex",
    [  # from coreutils' sha256sum, an implementation apart from Python's
        (("rover-2026", "ada-07", "unit-cost", "batch"), "d9c82fed76915fc9"),
        (("rover-2026", "guest", "modulus", "a"), "0e03e4130143ccfe"),
        (("straße 7", "zoë 3", "break-even", "tool"), "57ddf80ac0285c28"),
    ],
)
def test_draws_follow_fixed_vectors_on_every_platform(words, first_16_hex):
    drawn = int(first_16_hex, 16)
    draw = Draw(*words[:3])
    assert draw.number(words[3], 10, 109) == 10 + drawn % 100
    assert draw.number(words[3], 5, 95, 10) == 5 + 10 * (drawn % 10)
    assert draw.number(words[3], 0.5, 1.4, 0.1) == round(0.5 + 0.1 * (drawn % 10), 9)
    assert draw.choice(words[3], "abcdefg") == "abcdefg"[drawn % 7]


def test_one_id_written_in_several_ways_is_one_student():
    ways = ("Zoë  B", " zoë b ", "ZOE\u0308 B", "zo\u00eb\tb")
    assert {identity(way) for way in ways} == {"zoë b"}
    assert identity("") == identity("  ") == identity("Guest") == "guest"


def test_a_further_draw_moves_no_other():
    draw = Draw("c", "s", "e")
    before = draw.number("a", 1, 1000)
    draw.shuffled("b", ["x", "y", "z"])
    assert draw.number("a", 1, 1000) == before and sorted(draw.shuffled("b", "xyz")) == ["x", "y", "z"]


def test_draws_spread_evenly():
    counts = np.bincount([Draw("c", f"student {i}", "e").number("n", 0, 9) for i in range(5000)], minlength=10)
    # Chi-square with 9 degrees of freedom: 27.9 is passed by chance once in 1000; the draw is fixed, so it never flips.
    assert ((counts - 500) ** 2 / 500).sum() < 27.9


@pytest.mark.parametrize("name", NAMES)
def test_students_get_different_questions_and_each_always_the_same(name):
    exercise = pp.lessons.exercise_named(name)
    posed = [exercise.question(room(), f"student {i}") for i in range(12)]
    assert len({(q.text, q.lines, str(q.worked), str(q.fields)) for q in posed}) > 1
    again = exercise.question(room(), "  STUDENT   3 ")
    assert (again.text, again.worked, again.fields) == (posed[3].text, posed[3].worked, posed[3].fields)


def test_another_class_code_gives_other_numbers():
    other = dataclasses.replace(room(), code="another year")
    changed = sum(pp.lessons.exercise_named(n).question(other, "ada-07").text != question(n).text for n in NAMES)
    assert changed > len(NAMES) / 2


# Stubs, worked answers and feedback -----------------------------------------------------------------------


def test_there_are_at_least_forty_exercises_over_all_notebooks_and_all_kinds():
    exercises = pp.lessons.catalogue().values()
    assert len(exercises) >= 40
    assert {e.notebook for e in exercises} == {"00", "01", "02", "03", "04", "05", "06", "07", "08", "09", "10"}
    assert {question(e.name).kind for e in exercises} == {
        "numeric",
        "order",
        "choose and justify",
        "predict",
        "find the mistake",
        "free design",
    }


def test_each_stage_of_the_printed_routes_has_its_exercise():
    names = [n for n in NAMES if n.startswith(("pattern-", "mould-", "metal-"))]
    counted = {route: sum(n.startswith(route) for n in names) for route in ("pattern", "mould", "metal")}
    assert counted == {
        "pattern": 11,
        "mould": 10,
        "metal": 6,
    }  # one a stage (ten, seven, five), one for the print, four on pouring


@pytest.mark.parametrize("student", STUDENTS)
@pytest.mark.parametrize("name", NAMES)
def test_an_untouched_stub_fails_with_help_and_the_worked_answer_passes(name, student):
    posed = question(name, student)
    stub = posed.check({})
    assert not stub.right and stub.slip == EMPTY and "please fill in" in stub.say
    assert posed.check(posed.worked).right


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_is_said_before_solving_holds_the_right_number(name):
    for student in STUDENTS:
        posed = question(name, student)
        value = posed.worked.get("value")
        if value is None:
            continue
        wrong = posed.check({**posed.worked, "value": str(float(value) * 1.37 + 0.11)})
        digits = f"{float(value):.6g}"
        assert not wrong.right
        assert not any(digits in text for text in (wrong.say, *posed.hints)), digits


@pytest.mark.parametrize("name", NAMES)
def test_parts_are_named_in_words_without_underscores(name):
    keys = [item.part.name for item in demo_kit().parts if "_" in item.part.name]
    for student in STUDENTS:
        posed = question(name, student)
        words = (posed.text, posed.working, *posed.lines, *posed.hints)
        assert keys and not [key for key in keys for said in words if key in said]


@pytest.mark.parametrize("name", NAMES)
def test_every_wrong_choice_is_refused_with_a_reason(name):
    posed = question(name)
    for part in posed.fields:
        for key in part.options:
            if key == posed.worked[part.key] or part.key == "prediction":
                continue
            verdict = posed.check({**posed.worked, part.key: key})
            if verdict.right:  # another unit of the same kind would be right only with another number
                raise AssertionError((name, part.key, key))
            assert len(verdict.say) > 20 and verdict.slip


@pytest.mark.parametrize("name", NAMES)
def test_a_known_slip_never_passes_for_the_right_answer(name):
    for student in STUDENTS:
        posed = question(name, student)
        number = posed.number
        if number is None:
            continue
        told = 0
        for slip, (value, _) in number.slips.items():
            answer = {**posed.worked, "value": repr(float(value))}
            verdict = posed.check(answer)
            if verdict.right:  # a slip that comes to the same number, such as rounding a whole ratio
                assert math.isclose(value, number.value, rel_tol=2 * number.tolerance)
            else:
                told += 1
                assert verdict.say and verdict.slip in number.slips, (name, student, slip, verdict)
        assert told >= 2, (name, student)


@pytest.mark.parametrize("name", NAMES)
def test_the_words_of_an_exercise_are_all_in_use(name):
    """What stands in the TOML file and is asked for by nobody is a slip of the pen: slips, aims, fields and draws."""
    exercise, posed = pp.lessons.exercise_named(name), question(name)
    words = exercise.words
    assert {*words.get("slips", ())} == ({*posed.number.slips} if posed.number else set())
    assert {*words.get("fields", ())} == ({part.key for part in posed.fields} if "fields" in words else set())
    if exercise.pose is not in_words:  # which takes what is drawn as it comes
        assert {*words.get("draws", ())} == {*inspect.signature(exercise.pose).parameters} - {"task", "room"}
    for key, said in words.items():
        assert said or key == "level", key


def test_what_poses_an_exercise_has_its_words():
    """A function without a table of its name would be asked by nobody."""
    with_function = {name: one.pose for name, one in pp.lessons.catalogue().items() if one.pose is not in_words}
    posing = {
        name.replace("_", "-")
        for module in {pose.__module__ for pose in with_function.values()}
        for name, made in vars(importlib.import_module(module)).items()
        if inspect.isfunction(made) and made.__module__ == module
        if [*inspect.signature(made).parameters][:2] == ["task", "room"]
    }
    assert posing == {*with_function} and {*NAMES} - posing == {
        "pattern-caution",
        "carbon-and-metal",
        "honest-baseline",
    }


# Feedback of numbers --------------------------------------------------------------------------------------

HALF_AN_HOUR = Number(0.5, "h", {"forgotten one-off cost": (0.8, "Something is paid once.")})


@pytest.mark.parametrize(
    "value, unit, slip",
    [
        ("0.5", "h", ""),
        ("0,5", "h", ""),
        ("30", "min", ""),
        ("1800", "s", ""),
        (" 1 800 ", "s", ""),
        ("0.5", "mm", "unit"),
        ("30", "h", "unit"),
        ("5", "h", "factor of ten"),
        ("0.05", "h", "factor of ten"),
        ("500", "h", "factor of ten"),
        ("-0.5", "h", "sign"),
        ("-0.502", "h", "sign"),
        ("0.8", "h", "forgotten one-off cost"),
        ("48", "min", "forgotten one-off cost"),
        ("0.51", "h", "near"),
        ("0.63", "h", "too large"),
        ("0.2", "h", "too small"),
        ("half", "h", "no number"),
        ("30 min", "h", "no number"),
        ("nan", "h", "no number"),
        ("1e999", "h", "no number"),
    ],
)
def test_feedback_says_what_is_off(value, unit, slip):
    verdict = HALF_AN_HOUR.judge({"value": value, "unit": unit})
    assert verdict.slip == slip and verdict.right == (slip == "")


@pytest.mark.parametrize(
    "right, typed, meant", [(15.379, "15,379", "15.379 or 15,38"), (2.0, "1,504", "1.504 or 1,50")]
)
def test_a_decimal_comma_before_three_digits_is_told_and_is_no_try(right, typed, meant):
    """Of the right number and of a known slip alike, so that being told gives nothing away."""
    mass = Number(right, "kg", {"one kit": (1.5045, "That is one kit.")})
    verdict = mass.judge({"value": typed, "unit": "kg"})
    assert not verdict.is_try and verdict.say == f"A comma before three digits sets off thousands here: type {meant}."
    assert mass.judge({"value": typed, "unit": "g"}).is_try, "read as thousands it fits the other unit"
    assert mass.judge({"value": "6,900", "unit": "kg"}).slip == "too large"


def test_a_known_slip_is_named_even_where_its_number_would_be_right_in_another_unit():
    print_time = Number(0.5, "h", {"minutes": (30, "Those are minutes.")})
    assert print_time.judge({"value": "30", "unit": "h"}).slip == "minutes"
    assert print_time.judge({"value": "30", "unit": "min"}).right
    assert print_time.judge({"value": "1800", "unit": "h"}).slip == "unit"


def test_the_wrong_branch_of_rounding_is_named():
    clusters = Number(3, "clusters", {"rounded down": (2, "Where do the others hang?")}, whole=True)
    assert clusters.judge({"value": "2"}).slip == "rounded down"
    assert clusters.judge({"value": "2.4"}).slip == "not whole"
    assert clusters.judge({"value": "3.0"}).right and not clusters.judge({"value": "3.01"}).right
    # A count has no units to convert: to praise the digit of "30" would give the answer away.
    assert clusters.judge({"value": "30"}).slip == "too large"


def test_steps_out_of_order_are_explained_by_their_stages():
    posed = question("pattern-order")
    keys = list(posed.worked)
    stages = {step.name: step.stage.title for step in room().plan("printed_pattern").steps}
    names = [posed.fields[0].options[posed.worked[key]] for key in keys]
    for (i, first), (j, second) in pairwise(enumerate(keys)):
        said = posed.check({**posed.worked, first: posed.worked[second], second: posed.worked[first]}).say
        assert stages[names[j]] in said and ("Both belong" in said) == (stages[names[i]] == stages[names[j]])


@pytest.mark.parametrize("name", ["under-price-by-date", "days-and-price"])
@pytest.mark.parametrize("batch", ["two", "0", "1,5", "99"])
def test_a_batch_size_that_cannot_be_planned_is_one_sentence_and_no_try(name, batch):
    posed = question(name)
    verdict = posed.check({**posed.worked, "batch": batch})
    assert not verdict.right and not verdict.is_try and batch in verdict.say
    assert ("cannot be read" if batch == "two" else "The batch size must be a whole number") in verdict.say


@pytest.mark.parametrize("name", [name for name in NAMES if question(name).number])
def test_what_is_no_number_is_no_try_whatever_else_is_filled_in(name):
    posed = question(name)
    for wrong in ({}, {"line": "1"}):
        verdict = posed.check({**posed.worked, **wrong, "value": "12 h"})
        assert not verdict.is_try and "cannot be read as a number" in verdict.say


def test_numbers_of_a_design_are_read_as_people_type_them():
    posed = question("design-a-beam")
    assert posed.check(
        {"share": f"{posed.worked['share']},0", "radius": posed.worked["radius"].replace(".", ",")}
    ).right
    posed = question("under-price-by-date")
    assert posed.check({**posed.worked, "batch": f" {posed.worked['batch']}.0 "}).right


@settings(max_examples=30)
@given(st.sampled_from(NAMES), st.dictionaries(st.sampled_from(["value", "unit", "choice", "1", "batch"]), st.text()))
def test_no_answer_from_a_file_makes_a_check_raise(name, junk):
    posed = question(name)
    assert isinstance(posed.check({**posed.worked, **junk}).right, bool)
    assert not posed.check(junk).right or junk.items() >= posed.worked.items()


# Right answers, worked out again from the words of the question --------------------------------------------


def value_of(name, student):
    posed = question(name, student)
    return float(posed.worked["value"]), numbers_in(" ".join((posed.text, *posed.lines)))


def _ceil(x):
    return math.ceil(x - 1e-9)


AGAIN = {  # name: the right answer from the numbers of the text alone, in the order in which they stand there
    "modulus": lambda a, b, c: a * b * c / (2 * (a * b + b * c + c * a)),
    "pattern-gap": lambda d, target, grade, hole, tube: target - (hole + tube) / 4,
    "pattern-drying": lambda coats, interval, final: (coats - 1) * interval + final,
    "pattern-bore": lambda d, depth, s: math.pi / 4 * (d**2 - (d - 2 * s) ** 2) * depth / 1000,
    "mould-layers": lambda moulds, height, layer, s: _ceil(height / layer) * s / 3600,
    "mould-feeder": lambda side, h, ratio: ratio * side / 6 * (4 * h + 2) / h,
    "metal-build-time": lambda v, h, rate, layer, s: (v * 1000 / rate + _ceil(h * 1000 / layer) * s) / 3600,
    "unit-cost": lambda once, each, batch, quantity: (once + _ceil(quantity / batch) * each) / quantity,
    "break-even": lambda tool, own, printed: math.floor(tool / (printed - own)) + 1,
    "price-of-day": lambda cheap, slow, dear, fast: (dear - cheap) / (slow - fast),
    "rolled-yield": lambda a, b, c: a * b * c / 1e6,
    "attempts": lambda good, percent: good / (percent / 100),
    "three-tries": lambda percent, tries: 1 - (1 - percent / 100) ** tries,
    "drop-factor": lambda height, settles: 1 + math.sqrt(1 + 2 * height / settles),
    "bond-mean": lambda size, length, force: 1000 * force / (math.pi * size * length),
    "gram-price": lambda saved, kits, hours, rate, more: (more + hours * rate / kits) / saved,
    "annuity": lambda price, years, percent: price * percent / 100 / (1 - (1 + percent / 100) ** -years),
    "learning": lambda first, percent, pieces: first * pieces * (percent / 100) ** math.log2(pieces),
}


@pytest.mark.parametrize("student", STUDENTS)
@pytest.mark.parametrize("name", AGAIN)
def test_the_right_answer_follows_from_the_words_alone(name, student):
    value, numbers = value_of(name, student)
    wanted = AGAIN[name].__code__.co_argcount
    if name in ("three-tries",):
        numbers = numbers[:2]
    if name == "machine-hour":
        numbers = numbers[:3]
    assert AGAIN[name](*numbers[:wanted]) == pytest.approx(value, rel=1e-4)  # texts give money to the cent


def test_the_kinds_reproduce_published_examples():
    # Trade article with 6500 once, 38 and 92 a piece (published inputs): the arithmetic says 121.
    tool, own, printed = 6500, 38, 92
    assert AGAIN["break-even"](tool, own, printed) == 121
    # Published drying trial: five waits of 1, 8, 24 h between six coats, then 12 h.
    assert [AGAIN["pattern-drying"](6, t, 12) for t in (1, 8, 24)] == [17, 52, 132]
    # Minitab support page (published): 0.95 · 0.84 · 0.88 = 0.702.
    assert AGAIN["rolled-yield"](95, 84, 88) == pytest.approx(0.70224)
    # Cube of 60 mm, ratio 1.2, height = diameter: 72 mm (exact); annuity 500 000, 8 years, 6% (exact).
    assert AGAIN["mould-feeder"](60, 1.0, 1.2) == pytest.approx(72)
    assert AGAIN["annuity"](500_000, 8, 6) == pytest.approx(80_517.97, abs=0.005)


# Other kits, cards and calendars ---------------------------------------------------------------------------


def test_a_card_that_buys_leaves_no_exercise_without_its_steps():
    buying = dataclasses.replace(room(), rates=pp.RateCard.load(DEMO / "rates_buying.toml"))
    asked = ("metal-order", "metal-share", "mould-stock", "measure-first")
    some = dataclasses.replace(buying, exercises=asked)
    assert pp.lessons.check_scenario(some)["settable"].all() and len(pp.lessons.exercise_table(some)) == len(asked)
    for name in asked[:2]:
        exercise = pp.lessons.exercise_named(name)
        assert exercise.question(buying, "ada-07").text == exercise.question(buying.making, "ada-07").text


def test_a_kit_of_one_piece_can_be_weighed():
    one = dataclasses.replace(room(), kit=pp.Kit("one", (pp.KitPart(bracket()),)))
    number = pp.lessons.exercise_named("kit-mass").question(one, "ada-07").number
    assert {*number.slips} == {*question("kit-mass").number.slips} - {"one of each part"}


def test_a_day_is_priced_in_the_money_of_the_class():
    """In another currency, all prices 160 times as high, a student meets the same choice."""
    card = room().rates
    prices = {key: 160 * entry.value for key, entry in card.entries.items() if entry.kind is Kind.PRICE}
    yen, asked = dataclasses.replace(room(), rates=card.replace(prices)), pp.lessons.exercise_named("days-and-price")
    for student in STUDENTS:
        ours, theirs = asked.question(room(), student), asked.question(yen, student)
        price, dear = (numbers_in(each.text.split("costs")[1])[0] for each in (ours, theirs))
        assert dear == pytest.approx(160 * price, rel=0.05) and theirs.worked == ours.worked


def test_work_may_begin_on_the_working_days_of_the_class():
    late = pp.WorkingHours(("Tue", "Wed", "Thu", "Fri", "Sat"), 9, 18)
    shifted = dataclasses.replace(room(), rates=room().rates.with_hours(late))
    for student in STUDENTS:
        posed = pp.lessons.exercise_named("start-day").question(shifted, student)
        days = [*posed.fields[0].options.values()]
        assert days == ["Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "it makes no difference"]
        assert [posed.slider.says(place).partition(",")[0] for place in posed.slider.places] == days[:5]


# The class file -------------------------------------------------------------------------------------------


def test_kit_rates_and_code_come_from_the_class_file_and_the_exercises_follow(tmp_path):
    text = (DEMO / "class.toml").read_text(encoding="utf-8")
    card = (DEMO / "rates.toml").read_text(encoding="utf-8").replace("value = 38.0", "value = 57.0")
    (tmp_path / "rates.toml").write_text(card, encoding="utf-8")
    (tmp_path / "kit.toml").write_text(
        'name = "two brackets"\n[[part]]\nname = "bracket"\ncount = 2\nvolume_cm3 = 60\narea_cm2 = 210\n'
        "box_mm = [90, 70, 60]\nbores = [{ diameter_mm = 20.0, depth_mm = 8.0 }]\n",
        encoding="utf-8",
    )
    text = text.replace('kit = "rover_kit.toml"', 'kit = "kit.toml"').replace("rover-2026", "brackets-2027")
    (tmp_path / "class.toml").write_text(text, encoding="utf-8")
    changed = pp.lessons.classroom(folder=tmp_path)
    assert changed.kit.nodes == 2 != demo_kit().nodes and changed.rates["labour.technician"] == 57
    for name, exercise in pp.lessons.catalogue().items():
        posed = exercise.question(changed, "ada-07")
        assert posed.check(posed.worked).right and not posed.check({}).right, name


def test_a_class_file_is_read_again_when_it_changes(tmp_path):
    for name in ("class.toml", "rates.toml"):
        (tmp_path / name).write_bytes((DEMO / name).read_bytes())
    kit = 'name = "one"\n[[part]]\nname = "b"\ncount = 1\nvolume_cm3 = 60\narea_cm2 = 210\nbox_mm = [90, 70, 60]\n'
    (tmp_path / "rover_kit.toml").write_text(kit, encoding="utf-8")
    assert pp.lessons.classroom(folder=tmp_path).kit.nodes == 1
    (tmp_path / "rover_kit.toml").write_text(kit.replace("count = 1", "count = 31"), encoding="utf-8")
    assert pp.lessons.classroom(folder=tmp_path).kit.nodes == 31


def test_all_faults_of_a_class_file_are_told_together(tmp_path):
    path = tmp_path / "class.toml"
    path.write_text(
        'code = " "\ntitle = "x"\nkit = "no.toml"\nrates = "none.toml"\nalloy = "gold"\nstart = "soon"\nlevel = 3\n',
        encoding="utf-8",
    )
    with pytest.raises(pp.InputError) as error:
        pp.lessons.classroom(path)
    for told in ("code must be", "no.toml", "none.toml", "alloy must be one of", "start must be"):
        assert told in str(error.value)


def test_a_class_may_set_a_level_or_a_list():
    easy = pp.lessons.exercises_of(dataclasses.replace(room(), level=1))
    assert 30 <= len(easy) < len(NAMES) and all(e.level == 1 for e in easy.values())
    assert [*pp.lessons.exercises_of(dataclasses.replace(room(), exercises=("modulus", "pedigree")))] == [
        "pedigree",
        "modulus",
    ]
    with pytest.raises(pp.InputError, match="did you mean"):
        pp.lessons.exercises_of(dataclasses.replace(room(), exercises=("unit-costs",)))
