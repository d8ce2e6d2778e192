"""Marking: ten hand-ins marked by hand, with planted errors; every file is reported, no code is run."""

import csv
import json
import os

import numpy as np
import pandas as pd
import pytest

import pourprint as pp
from pourprint.figures.classroom import gaps_chart, slips_chart, unsolved_chart
from pourprint.lessons.answers import Answers, Event
from scenes import DEMO

CLASS = DEMO / "class.toml"
CODE = "rover-2026"
SET = ("modulus", "unit-cost", "price-of-day")


def right(student, name):
    room = pp.lessons.classroom(CLASS)
    return dict(pp.lessons.exercise_named(name).question(room, student).worked)


def at(minute, second=0.0):
    return f"2026-11-20T10:{minute:02d}:{second:09.6f}+00:00"


def handed_in(student, *tries, code=CODE, start=0.0):
    """A hand-in: each try is (minute, exercise, answer or None for the right one)."""
    events = [
        Event(at(minute, start), name, right(student, name) if answer is None else answer)
        for minute, name, answer in tries
    ]
    return Answers(code, student).plus(events)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Ten hand-ins of seven students, and what a learning platform adds; marked by hand in the tests below."""
    place = tmp_path_factory.mktemp("hand-ins")
    wrong = {"value": "1", "unit": "mm"}
    all_right = [(1, "modulus", None), (4, "unit-cost", None), (9, "price-of-day", None)]
    ada = handed_in("ada", *all_right, start=1.5)
    bea = handed_in("bea", (1, "modulus", wrong), (2, "modulus", None), (3, "unit-cost", {"value": "5"}), start=2.5)
    cem = handed_in("cem", (1, "modulus", wrong), (30, "modulus", wrong), start=3.5)
    # Dan copied Ada's numbers: they are wrong for him, and the moments give him away.
    dan = Answers(CODE, "dan").plus(ada.events)
    eve = handed_in("eve", *all_right, start=5.5)
    fay_early = handed_in("fay", (1, "modulus", None), start=6.5)
    fay = handed_in("fay", (1, "modulus", None), (8, "unit-cost", None), start=6.5)
    files = {
        "01-ada.json": ada.text(),
        "02-bea.json": bea.text(),
        "03-cem.json": cem.text(),
        "04-dan.json": dan.text(),
        "05-eve-edited.json": Answers(CODE, "eva").plus(eve.events).text().replace('"eva"', '"eve"'),
        "06-fay-early.json": fay_early.text(),
        "07-fay.json": fay.text(),
        "08-other-class.json": handed_in("gil", *all_right, code="rover-2025").text(),
        "09-cut-short.json": ada.text()[:-40],
        "sub/10-guest.json": handed_in("guest", *all_right).text(),
        "notebook.ipynb": json.dumps({"cells": [], "nbformat": 4}),
        "run_me.py": "raise SystemExit('a handed-in file was run')",
        "picture.png": None,
    }
    (place / "sub").mkdir()
    for name, text in files.items():
        (place / name).write_bytes(b"\x89PNG\xff\xfe" if text is None else text.encode())
    (place / "link.json").symlink_to(place / "01-ada.json")
    return place


@pytest.fixture(scope="module")
def class_file(tmp_path_factory):
    """The demo class with three exercises and a list of students, one of whom hands in nothing."""
    place = tmp_path_factory.mktemp("class")
    text = CLASS.read_text(encoding="utf-8").replace("exercises = []", f"exercises = {[*SET]}")
    text = text.replace("students = []", 'students = ["ada", "bea", "cem", "dan", "eve", "fay", "gil", "hal"]')
    for key in ("rover_kit.toml", "rates.toml"):
        text = text.replace(f'"{key}"', f'"{DEMO / key}"')
    (place / "class.toml").write_text(text, encoding="utf-8")
    return place / "class.toml"


@pytest.fixture(scope="module")
def marks(folder, class_file):
    return pp.lessons.mark(folder, class_file)


def finding(marks, name):
    row = marks.reports[marks.reports["file"] == name].iloc[0]
    return row["finding"], bool(row["counts"])


def test_the_sheet_agrees_with_the_marks_given_by_hand(marks):
    by_hand = {  # student: modulus, unit-cost, price-of-day (None: not tried), tries
        "ada": (1, 1, 1, 3),
        "bea": (1, 0, None, 3),
        "cem": (0, None, None, 2),
        "dan": (0, 0, 0, 3),
        "fay": (1, 1, None, 2),
    }
    assert [*marks.sheet.index] == [*by_hand]
    for student, (*points, tries) in by_hand.items():
        row = marks.sheet.loc[student]
        assert [None if row[name] is pp_na() else int(row[name]) for name in SET] == points, student
        assert (row["solved"], row["of"], row["tries"]) == (sum(filter(None, points)), 3, tries)


def pp_na():
    return pd.NA


@pytest.mark.parametrize(
    "name, words, counts",
    [
        ("01-ada.json", "copied?", True),
        ("02-bea.json", "in order", True),
        ("04-dan.json", "shares 3 events to the microsecond with 01-ada.json", True),
        ("05-eve-edited.json", "edited: its signatures do not fit", False),
        ("06-fay-early.json", "duplicate: an earlier state of 07-fay.json", False),
        ("07-fay.json", "in order", True),
        ("08-other-class.json", "foreign: it is of class 'rover-2025'", False),
        ("09-cut-short.json", "malformed: cut short or damaged: lines that cannot be read: 1", False),
        ("sub/10-guest.json", "foreign: nobody was signed in", False),
        ("notebook.ipynb", "malformed: it is not a file of answers", False),
        ("run_me.py", "malformed: it is not a file of answers", False),
        ("picture.png", "malformed: it is not a file of answers", False),
        ("link.json", "malformed: it is a link", False),
    ],
)
def test_every_planted_error_is_reported_by_name_and_reason(marks, name, words, counts):
    said, counted = finding(marks, name)
    assert words in said and counted == counts


def test_no_file_and_no_missing_student_is_passed_over_in_silence(marks, folder):
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}
    assert files == {*marks.reports["file"]} - {""}
    missing = marks.reports[marks.reports["file"] == ""]["finding"]
    assert [name for name in ("eve", "gil", "hal") if any(f"'{name}'" in said for said in missing)] == [
        "eve",
        "gil",
        "hal",
    ]


def test_an_edited_file_counts_once_the_instructor_accepts_it(folder, class_file):
    marks = pp.lessons.mark(folder, class_file, accept=("05-eve-edited.json",))
    assert "eve" in marks.sheet.index and "because you accepted it" in finding(marks, "05-eve-edited.json")[0]


def test_two_files_of_one_student_with_different_answers_are_both_named(tmp_path, class_file):
    one = handed_in("ada", (1, "modulus", None), (2, "unit-cost", None))
    other = handed_in("ada", (5, "price-of-day", None))
    (tmp_path / "a.json").write_text(one.text(), encoding="utf-8")
    (tmp_path / "b.json").write_text(other.text(), encoding="utf-8")
    marks = pp.lessons.mark(tmp_path, class_file)
    assert finding(marks, "b.json") == ("duplicate: different from a.json of the same student, which counts.", False)
    assert "look at both" in finding(marks, "a.json")[0]


def test_each_student_in_one_file_is_marked_and_told(tmp_path, class_file):
    """Two files put together, or a shared folder: nobody's answers are dropped in silence."""
    one, other = handed_in("ada", (1, "modulus", None)), handed_in("bea", (2, "modulus", None))
    (tmp_path / "both.jsonl").write_text(one.text() + other.text(), encoding="utf-8")
    marks = pp.lessons.mark(tmp_path, class_file)
    found = marks.reports[marks.reports["file"] == "both.jsonl"]
    assert [*marks.sheet.index] == ["ada", "bea"] and found["counts"].all() and len(found) == 2
    assert found["finding"].str.contains("one of 2 in the file").all()
    assert not found["finding"].str.contains("copied|duplicate").any()


def test_a_file_that_names_more_students_than_share_a_computer_is_refused(tmp_path, class_file):
    text = "".join(handed_in(f"s{i}", (1, "modulus", {"value": "1", "unit": "mm"})).text() for i in range(41))
    (tmp_path / "many.jsonl").write_text(text, encoding="utf-8")
    marks = pp.lessons.mark(tmp_path, class_file)
    assert finding(marks, "many.jsonl") == (
        "malformed: it names 41 students or classes, more than share a computer: 40.",
        False,
    )


def test_last_years_answers_in_a_file_do_not_hide_this_years(tmp_path, class_file):
    old, new = handed_in("ada", (1, "modulus", None), code="rover-2025"), handed_in("ada", (2, "modulus", None))
    (tmp_path / "ada.jsonl").write_text(old.text() + new.text(), encoding="utf-8")
    marks = pp.lessons.mark(tmp_path, class_file)
    assert marks.sheet.loc["ada", "modulus"] == 1 and marks.sheet.loc["ada", "tries"] == 1
    assert [*marks.reports["counts"][:2]] == [False, True] and "rover-2025" in marks.reports["finding"][0]


def test_every_change_of_a_signed_file_is_noticed(tmp_path, class_file):
    text = handed_in("ada", (1, "modulus", {"value": "1", "unit": "mm"})).text()
    changes = {"answer": ('"value": "1"', '"value": "2"'), "time": ("10:01", "10:02"), "name": ('"ada"', '"bea"')}
    for name, (old, new) in changes.items():
        assert old in text
        (tmp_path / f"{name}.json").write_text(text.replace(old, new), encoding="utf-8")
    reports = pp.lessons.mark(tmp_path, class_file).reports
    assert reports[reports["file"] != ""]["finding"].str.startswith("edited").all()


def test_what_a_file_system_or_an_editor_does_to_a_file_is_named_and_stops_nothing(tmp_path, class_file):
    """A pipe would be waited for, 309 digits are beyond a computer's numbers, and some editors add a mark in front."""
    os.mkfifo(tmp_path / "pipe.jsonl")
    long = handed_in("ada", (1, "modulus", {"value": "9" * 309, "unit": "mm"}), (2, "unit-cost", {"value": "1e300"}))
    (tmp_path / "ada.jsonl").write_text(long.text(), encoding="utf-8")
    (tmp_path / "bea.jsonl").write_text(handed_in("bea", (3, "modulus", None)).text(), encoding="utf-8-sig")
    marks = pp.lessons.mark(tmp_path, class_file)
    assert finding(marks, "pipe.jsonl") == ("malformed: it is no file but a pipe, a socket or a device.", False)
    assert finding(marks, "ada.jsonl") == finding(marks, "bea.jsonl") == ("in order", True)
    assert marks.sheet.loc["bea", "modulus"] == 1 and marks.sheet.loc["ada", "modulus"] == 0
    assert [*marks.attempts[marks.attempts["student"] == "ada"]["slip"]] == ["no number", "too large"]


def test_marks_do_not_hang_on_what_a_file_claims(tmp_path, class_file):
    """A claim of success in the file has no place to stand: unknown keys are refused, verdicts worked out anew."""
    content = json.loads(handed_in("ada", (1, "modulus", {"value": "1", "unit": "mm"})).text())
    content["right"] = True
    (tmp_path / "ada.json").write_text(json.dumps(content), encoding="utf-8")
    assert finding(pp.lessons.mark(tmp_path, class_file), "ada.json")[0].startswith("malformed")


def test_the_sheet_is_written_as_csv_that_no_spreadsheet_runs(tmp_path, class_file):
    text = class_file.read_text(encoding="utf-8")
    open_class = class_file.with_name("open.toml")
    open_class.write_text("\n".join(line for line in text.splitlines() if "students" not in line), encoding="utf-8")
    (tmp_path / "x.json").write_text(handed_in("=2+3", (1, "modulus", None)).text(), encoding="utf-8")
    sheet, reports = pp.lessons.mark(tmp_path, open_class).save(tmp_path / "marks.csv")
    with sheet.open(encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert row["student"] == "'=2+3" and row["modulus"] == "1" and row["unit-cost"] == ""
    assert reports.name == "marks-reports.csv" and "in order" in reports.read_text(encoding="utf-8")


def test_attempts_hold_slips_and_the_minutes_between_tries(marks):
    cem = marks.attempts[marks.attempts["student"] == "cem"]
    assert [*cem["try"]] == [1, 2] and cem["minutes_since"].iloc[1] == pytest.approx(29)
    assert not cem["right"].any() and (cem["slip"] != "").all()


def test_the_charts_name_what_failed_most_and_add_up(marks):
    failed, slips, gaps = (chart(marks.attempts) for chart in (unsolved_chart, slips_chart, gaps_chart))
    assert "“unit-cost” is solved least: 2 of 4" in failed.figure.layout.title.text
    assert failed.table.loc["unit-cost", ["solved at once", "solved later", "not solved"]].tolist() == [2, 0, 2]
    assert failed.table.loc["modulus", ["solved at once", "solved later", "not solved"]].tolist() == [2, 1, 2]
    assert slips.table["times"].sum() == (~marks.attempts["right"]).sum()
    assert gaps.table.to_numpy().sum() == 2 and all(chart.alt for chart in (failed, slips, gaps))


def attempts(*rows):
    """Attempts of (student, exercise, right, slip), a minute apart."""
    table = pd.DataFrame(rows, columns=["student", "exercise", "right", "slip"])
    again = table.duplicated(["student", "exercise"])
    return table.assign(at=range(len(rows)), minutes_since=np.where(again, 1.0, np.nan))


def test_a_prediction_that_is_noted_is_no_try_in_the_charts():
    told = [("ada", "saw-tooth", False, "predicted"), ("ada", "saw-tooth", True, "")]
    told += [
        ("bea", "saw-tooth", False, "predicted"),
        ("bea", "saw-tooth", False, "why"),
        ("bea", "saw-tooth", True, ""),
    ]
    table = unsolved_chart(attempts(*told)).table
    assert table.loc["saw-tooth", ["solved at once", "solved later", "not solved"]].tolist() == [1, 1, 0]
    assert gaps_chart(attempts(*told)).table.to_numpy().sum() == 1
    with pytest.raises(pp.InputError, match="no attempt"):
        unsolved_chart(attempts(*told[:1]))


def test_an_exercise_that_one_student_tried_does_not_lead():
    told = [("ada", "rare", False, "near"), *((f"s{i}", "common", i > 2, "near" * (i <= 2)) for i in range(9))]
    chart = unsolved_chart(attempts(*told))
    assert "“common” is solved least: 3 of 9" in chart.figure.layout.title.text and [*chart.table.index][1] == "rare"


@pytest.mark.parametrize("content", [None, ()])
def test_a_folder_without_files_is_one_sentence(tmp_path, class_file, content):
    with pytest.raises(pp.InputError, match="not a folder" if content is None else "holds no files"):
        pp.lessons.mark(tmp_path / "nowhere" if content is None else tmp_path, class_file)
