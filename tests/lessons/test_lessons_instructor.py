"""The instructor's edition: lesson plans that hold together, and student notebooks that give nothing away."""

import json
import re
import statistics
from pathlib import Path

import pytest

import pourprint as pp

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
INSTRUCTOR = sorted((NOTEBOOKS / "instructor").glob("*.ipynb"))
STUDENT = sorted(NOTEBOOKS.glob("[0-9][0-9]_*.ipynb"))
PLAN = NOTEBOOKS / "instructor" / "01_plan_the_lessons.ipynb"


def cells(path, kind):
    notebook = json.loads(path.read_text(encoding="utf-8"))
    return ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == kind]


def classes():
    """The minute tables of the lesson plan: [[(from, to, exercises named in the row), …], …]."""
    found = []
    for text in cells(PLAN, "markdown"):
        rows = re.findall(r"^\| (\d+) \| (\d+) \|(.*)$", text, re.MULTILINE)
        if rows:
            found.append([(int(a), int(b), re.findall(r"`([a-z-]+)`", rest)) for a, b, rest in rows])
    return found


def test_four_classes_fill_ninety_minutes_without_a_gap():
    assert len(classes()) == 4
    for rows in classes():
        starts, ends = [row[0] for row in rows], [row[1] for row in rows]
        assert starts[0] == 0 and ends[-1] == 90 and starts[1:] == ends[:-1]


def minutes(notebook, sections=None):
    """Of a notebook's opening and its numbered sections (default: its short path), as test_notebooks counts them."""
    taken, wanted = 0.0, True
    for cell in json.loads(next(NOTEBOOKS.glob(f"{notebook}_*.ipynb")).read_text(encoding="utf-8"))["cells"]:
        text = "".join(cell["source"])
        if cell["cell_type"] == "markdown" and (heading := re.match(r"## (\d*)", text)):
            wanted = "◇" not in text.splitlines()[0] if sections is None else heading[1] in sections
        reading = len(text.split()) / 150
        taken += wanted * (reading if cell["cell_type"] == "markdown" else 3 if "lessons.ask" in text else 0.5)
    return taken


def test_the_groups_of_the_second_class_have_equally_much_to_do_in_the_time_they_have():
    plan = "\n".join(cells(PLAN, "markdown"))
    groups = re.findall(r"^\| printed \w+ \| (\d\d) \| ([\d, ]+) \|", plan, re.MULTILINE)
    taken = [minutes(notebook, sections.split(", ")) for notebook, sections in groups]
    experts = [(int(a), int(b)) for a, b in re.findall(r"^\| (\d+) \| (\d+) \| Experts I", plan, re.MULTILINE)]
    given = experts[-1][1] - experts[0][0]
    assert len(taken) == 3 and max(taken) - min(taken) <= 3 and max(abs(each - given) for each in taken) <= 3


def test_the_short_paths_fit_into_their_classes():
    for notebooks, said in ((("00", "01"), 40), (("05", "06"), 85)):
        assert sum(map(minutes, notebooks)) == pytest.approx(said, abs=5)


def test_the_plan_names_exercises_that_exist_at_the_level_it_says():
    catalogue = pp.lessons.catalogue()
    named = {name for rows in classes() for *_, names in rows for name in names}
    assert named <= {*catalogue} and len(named) > 40
    for text in cells(PLAN, "markdown"):
        for row in re.findall(r"^\| \d+ \| \d+ \|.*$", text, re.MULTILINE):
            first = row.split("|")[5]
            assert all(catalogue[name].level == 1 for name in re.findall(r"`([a-z-]+)`", first)), row


def test_each_outcome_and_each_misconception_has_an_exercise():
    room = pp.lessons.classroom(NOTEBOOKS.parent / "data_demo" / "class.toml")
    table = pp.lessons.exercise_table(room)
    assert table["outcome"].nunique() == 11 and table["a wrong answer shows who"].is_unique


@pytest.mark.parametrize("path", INSTRUCTOR, ids=lambda path: path.stem)
def test_an_instructor_notebook_keeps_the_course_pattern(path):
    opening, code = cells(path, "markdown")[0], cells(path, "code")
    assert all(f"**What you{words}.**" in opening for words in ("'ll do", "'ll learn", " need"))
    assert statistics.median(len(text.splitlines()) for text in code) <= 3


@pytest.mark.parametrize("path", STUDENT, ids=lambda path: path.stem)
def test_a_student_notebook_poses_its_own_exercises_once_and_holds_no_answers(path):
    code = "\n".join(cells(path, "code"))
    asked = re.findall(r'lessons\.ask\("([a-z-]+)"', code)
    expected = {name for name, e in pp.lessons.catalogue().items() if e.notebook == path.name[:2]}
    assert len(asked) == len({*asked}) and {*asked} == expected
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"worked_answers|\.worked\b|lessons\.variants|instructor/", text)


def test_the_invented_class_is_the_same_every_time_and_reported_in_full(tmp_path):
    room = pp.lessons.classroom(NOTEBOOKS.parent / "data_demo" / "class.toml")
    folders = [tmp_path / name for name in ("one", "two")]
    for folder in folders:
        folder.mkdir()
        pp.lessons.invented_class(room, 4, folder)
    one, two = ({p.name: p.read_bytes() for p in folder.iterdir()} for folder in folders)
    assert one == two and len(one) == 4
    marks = pp.lessons.mark(folders[0], NOTEBOOKS.parent / "data_demo" / "class.toml")
    assert marks.reports["counts"].sum() == 2
    assert sorted(marks.reports["finding"].str.split(":").str[0]) == ["edited", "in order", "in order", "malformed"]


def test_a_scenario_that_cannot_be_set_is_told_by_exercise():
    from dataclasses import replace

    room = pp.lessons.classroom(NOTEBOOKS.parent / "data_demo" / "class.toml")
    check = pp.lessons.check_scenario(replace(room, alloy=pp.Alloy.named("AZ91D")))
    cannot = check[~check["settable"]]
    assert "metal-share" in cannot.index and cannot["reason"].str.contains("cannot make|magnesium").all()
    # An arm that fits no plate and no bed stops who draws it, not who draws the lug, as the first ids do.
    parts = ("arm", 260, 900, (380, 70, 60)), ("lug", 25, 120, (60, 50, 40))
    arm = pp.Kit("arm", tuple(pp.KitPart(pp.Part.from_numbers(*each)) for each in parts))
    some = pp.lessons.check_scenario(replace(room, kit=arm, code="big-27", exercises=("lighter-node",)))
    assert not some["settable"].any() and "does not fit" in some["reason"].iloc[0]
    assert check.loc["modulus", "settable"] and pp.lessons.check_scenario(room)["settable"].all()
