"""Nothing lost: killed kernels, two kernels, full disks, edited and damaged files, and the box that saves."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest

import pourprint as pp
from pourprint.lessons import answers
from pourprint.lessons.answers import Answers, Event
from pourprint.lessons.kinds import Number
from pourprint.lessons.widget import AnswerBox, sign_in
from scenes import DEMO

CLASS = DEMO / "class.toml"
CODE = "rover-2026"


def event(n, exercise="modulus"):
    return Event(f"2026-11-25T10:00:00.{n:06d}+00:00", exercise, {"value": str(n)})


def only(content):
    """The Answers of a file that holds those of one student."""
    (found,) = answers.all_answers_in(content)
    return found


def python(code, *words):
    return subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), *map(str, words)])


WRITER = """
    import sys
    from pourprint.lessons.answers import Event, record
    folder, who, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    for n in range(count):
        record(folder, "c", "ada", [Event(f"2026-11-25T10:00:00.{n:06d}+00:00", who, {"value": str(n)})])
"""


def test_answers_survive_a_round_trip_one_line_each(tmp_path):
    saved = answers.record(tmp_path, CODE, "Ada 07", [event(1), event(2)])
    assert answers.read(tmp_path, CODE, " ADA  07 ") == saved and not saved.edited
    lines = answers.file_of(tmp_path, "ada 07").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["answer"] for line in lines] == [{"value": "1"}, {"value": "2"}]


def test_students_whose_ids_differ_only_in_signs_have_files_of_their_own(tmp_path):
    ids = ("a/b", "a b", "a-b", "../a b", "日本", "ab" * 50)
    assert len({answers.file_of(tmp_path, name) for name in ids}) == len(ids)
    assert all(answers.file_of(tmp_path, name).parent == tmp_path / "answers" for name in ids)


def test_two_kernels_that_write_at_once_lose_nothing(tmp_path):
    writers = [python(WRITER, tmp_path, who, 25) for who in ("first", "second")]
    assert [writer.wait(timeout=60) for writer in writers] == [0, 0]
    found = answers.read(tmp_path, "c", "ada")
    assert [len(found.of(who)) for who in ("first", "second")] == [25, 25] and not found.edited


def test_a_kernel_killed_while_it_writes_loses_nothing_that_was_saved_and_leaves_no_lock(tmp_path):
    for _ in range(3):
        writer = python(WRITER, tmp_path, "doomed", 100_000)
        path = answers.file_of(tmp_path, "ada")
        while not path.exists():
            time.sleep(0.01)
        time.sleep(0.1)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        before = answers.read(tmp_path, "c", "ada")
        assert before.events and not before.edited
        after = answers.record(tmp_path, "c", "ada", [event(1, "next")])
        assert [e.answer for e in after.events] == [e.answer for e in before.events] + [{"value": "1"}]


@pytest.mark.parametrize("kept", [0.1, 0.5, 0.99])
def test_a_line_cut_short_by_a_killed_kernel_is_no_edit_and_the_next_stands_on_a_line_of_its_own(tmp_path, kept):
    whole = answers.record(tmp_path, CODE, "ada", [event(1)])
    torn = whole.plus([event(2)]).text(1)
    path = answers.file_of(tmp_path, "ada")
    with path.open("a", encoding="utf-8") as file:
        file.write(torn[: int(kept * len(torn))])
    saved = answers.record(tmp_path, CODE, "ada", [event(3)])
    assert answers.read(tmp_path, CODE, "ada") == saved and saved.lost in (0, 1) and not saved.edited
    assert [e.answer["value"] for e in saved.events] == ["1", "3"]
    handed = only(pp.lessons.hand_in(CODE, "ada", tmp_path).read_bytes())
    assert handed.lost == 0 and handed.events == saved.events and not handed.edited


def test_a_full_disk_is_said_clearly_and_earlier_answers_stay(tmp_path):
    answers.record(tmp_path, CODE, "ada", [event(1)])
    code = """
        import resource, signal, sys
        from pourprint.ledger.errors import InputError
        from pourprint.lessons.answers import Event, record
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (600, 600))  # the system itself refuses to write more
        try:
            record(sys.argv[1], "rover-2026", "ada", [Event("2026-11-25T11:00:00+00:00", "m", {"value": "9" * 900})])
        except InputError as error:
            told = ("NOT SAVED: the disk is full", "Earlier answers are safe")
            sys.exit(0 if all(words in str(error) for words in told) else 1)
        sys.exit(2)
    """
    assert python(code, tmp_path).wait(timeout=60) == 0
    found = answers.read(tmp_path, CODE, "ada")
    assert [e.answer for e in found.events] == [{"value": "1"}] and not found.lost


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(pp.InputError, match="NOT SAVED"):
        answers.record(tmp_path, CODE, "ada", [event(1)])


DAMAGE = ["{", "\ud800", "[" * 100_000, '{"class_code": "c", "student": 3}', '{"events": 3}', "[]", "7"]


@pytest.mark.parametrize("damage", DAMAGE)
def test_what_cannot_be_read_stays_in_the_file_and_stops_nothing(tmp_path, damage):
    answers.record(tmp_path, CODE, "ada", [event(1)])
    path = answers.file_of(tmp_path, "ada")
    path.write_text(damage, encoding="utf-8", errors="surrogatepass")
    saved = answers.record(tmp_path, CODE, "ada", [event(2)])
    assert saved.lost == 1 and [e.answer for e in answers.read(tmp_path, CODE, "ada").events] == [{"value": "2"}]
    assert damage.encode("utf-8", "surrogatepass") in path.read_bytes()
    answers.remember("ada", tmp_path)
    box(tmp_path).press("check", {"value": "1", "unit": "mm"})
    assert len(answers.read(tmp_path, CODE, "ada").events) == 2


CHANGES = {
    "changed": lambda lines: [lines[0].replace('"1"', '"7"'), *lines[1:]],
    "taken out": lambda lines: lines[1:],
    "moved": lambda lines: [lines[1], lines[0], lines[2]],
    "told twice": lambda lines: [lines[0], *lines],
    "given to another class": lambda lines: [line.replace(CODE, "other") for line in lines],
    "given to another student": lambda lines: [line.replace('"ada"', '"bea"') for line in lines],
}


@pytest.mark.parametrize("change", CHANGES)
def test_an_edited_file_keeps_its_answers_and_says_for_ever_that_it_was_edited(tmp_path, change):
    answers.record(tmp_path, CODE, "ada", [event(1), event(2), event(3)])
    path = answers.file_of(tmp_path, "ada")
    assert not only(path.read_bytes()).edited
    path.write_text("".join(CHANGES[change](path.read_text(encoding="utf-8").splitlines(True))), encoding="utf-8")
    found = only(path.read_bytes())
    assert found.edited and found.plus([event(4)]).edited
    if "another" not in change:
        assert answers.record(tmp_path, CODE, "ada", [event(5)]).edited
        assert only(pp.lessons.hand_in(CODE, "ada", tmp_path).read_bytes()).edited


def test_a_mark_at_the_head_and_other_line_ends_are_no_edit(tmp_path):
    saved = answers.record(tmp_path, CODE, "ada", [event(1), event(2)])
    text = answers.file_of(tmp_path, "ada").read_bytes()
    found = only(b"\xef\xbb\xbf" + text.replace(b"\n", b"\r\n"))
    assert found == saved and not found.edited


def test_answers_of_another_class_are_not_mixed_in(tmp_path):
    answers.record(tmp_path, "last year", "ada", [event(1)])
    saved = answers.record(tmp_path, CODE, "ada", [event(2)])
    assert [e.answer["value"] for e in saved.events] == ["2"] and not saved.edited and not saved.lost
    assert "last year" not in pp.lessons.hand_in(CODE, "ada", tmp_path).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["", "   ", "a\nb", "x" * 81, None, 7, "a\x00b"])
def test_an_unusable_id_is_refused_with_one_sentence(tmp_path, name):
    with pytest.raises(pp.InputError, match="student id"):
        answers.remember(name, tmp_path)


def test_the_hand_in_file_is_the_answers_file_beside_the_notebook(tmp_path):
    with pytest.raises(pp.InputError, match="nothing to hand in"):
        pp.lessons.hand_in(CODE, "ada", tmp_path)
    answers.record(tmp_path, CODE, "ada", [event(1)])
    path = pp.lessons.hand_in(CODE, "ada", tmp_path)
    assert path.parent == tmp_path
    assert only(path.read_bytes()) == Answers(CODE, "ada").plus([event(1)])


# The answer box -------------------------------------------------------------------------------------------


def box(folder, name="modulus"):
    return AnswerBox(name, CLASS, folder)


def test_showing_a_box_writes_nothing(tmp_path):
    shown = box(tmp_path)
    shown.press("check")
    assert "please fill in" in shown.status.value and not list(tmp_path.iterdir())


@pytest.mark.parametrize("typed", ["half", "12 h", "1e999", "9" * 309, ""])
def test_what_is_no_number_is_no_try(tmp_path, typed):
    shown = box(tmp_path)
    shown.press("check", {"value": typed, "unit": "mm"})
    assert "number" in shown.status.value or "fill in" in shown.status.value
    assert not list(tmp_path.iterdir())


def test_a_check_is_saved_at_once_and_shown_again_in_a_new_kernel(tmp_path):
    answers.remember("ada", tmp_path)
    first = box(tmp_path)
    assert "guest" not in first.task.value
    first.inputs["value"].value, first.inputs["unit"].value = "1", "mm"
    first.press("check")
    assert "Not yet" in first.status.value and "role='status'" in first.status.value
    again = box(tmp_path)
    assert again.inputs["value"].value == "1" and "Saved earlier" in again.status.value
    for key, value in again.question.worked.items():
        again.inputs[key].value = value
    again.press("check")
    assert "Right" in again.status.value and "2 tries" in again.status.value and "exact" in again.after.value
    assert not first.after.value, "source and working are shown only once solved"


def test_what_is_solved_comes_back_solved_whatever_was_tried_afterwards(tmp_path):
    first = box(tmp_path)
    first.press("check", first.question.worked)
    first.press("check", {**first.question.worked, "value": "1"})
    again = box(tmp_path)
    assert "Right" in again.status.value and again.inputs["value"].value == again.question.worked["value"]


def test_without_signing_in_one_works_as_a_guest_and_is_told(tmp_path):
    assert "guest" in box(tmp_path).task.value


def test_a_box_that_is_open_changes_to_the_numbers_of_who_signs_in(tmp_path):
    shown = box(tmp_path)
    guest = shown.question.text
    entry = sign_in(CLASS, tmp_path).children[1].children
    entry[0].value = "Ada"
    entry[1].click()
    shown.press("check")
    assert shown.student == "ada" and shown.question.text != guest and "ada is signed in" in shown.status.value
    assert box(tmp_path).student == "ada", "it is remembered beside the notebook"


def test_a_press_in_the_browser_is_judged_by_what_the_page_shows(tmp_path):
    """The kernel's copy of a field may lag behind; the message of the button brings the fields along."""
    shown = box(tmp_path)
    shown.inputs["value"].value = "an older answer"
    worked, units = shown.question.worked, [key for _, key in shown.inputs["unit"].options]
    fields = {"value": worked["value"], "unit": units.index(worked["unit"])}
    shown._heard({"press": "check", "fields": fields})
    assert "Right" in shown.status.value


def test_hints_open_one_by_one_and_are_recorded(tmp_path):
    shown = box(tmp_path)
    for count in range(len(shown.question.hints) + 1):
        assert shown.hints.value.count("<li>") == count
        assert f"Hints opened: {count} of {len(shown.question.hints)}." in shown.hints.value
        shown.press("hint")
    assert "no further hints" in shown.status.value
    assert answers.read(tmp_path, CODE, "guest").hints("modulus") == len(shown.question.hints)
    assert box(tmp_path).hints.value.count("<li>") == len(shown.question.hints)


def test_a_prediction_comes_first_and_stays(tmp_path):
    shown = box(tmp_path, "saw-tooth")
    assert not shown.later.children, "no slider before the prediction"
    wrong = next(k for k in "ABC" if k != shown.question.worked["prediction"])
    shown.inputs["prediction"].value = wrong
    shown.press("check")
    assert "noted" in shown.status.value and shown.later.children and shown.inputs["prediction"].disabled
    shown.inputs["reason"].value = shown.question.worked["reason"]
    shown.press("check")
    assert "Right" in shown.status.value and "did not come true" in shown.status.value
    again = box(tmp_path, "saw-tooth")
    assert again.inputs["prediction"].disabled and again.inputs["prediction"].value == wrong


def test_an_answer_that_could_not_be_saved_is_said_and_saved_with_the_next(tmp_path, monkeypatch):
    shown = box(tmp_path)
    shown.inputs["value"].value, shown.inputs["unit"].value = "1", "mm"

    def full(file):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(answers.os, "fsync", full)
        shown.press("check")
    assert "NOT SAVED: the disk is full" in shown.status.value
    shown.inputs["value"].value = "2"
    shown.press("check")
    kept = answers.read(tmp_path, CODE, "guest").of("modulus")
    assert [e.answer["value"] for e in kept] == ["1", "2"]


def test_an_unknown_exercise_is_one_sentence(tmp_path):
    with pytest.raises(pp.InputError, match=r"did you mean \"modulus\""):
        pp.lessons.ask("moduls", CLASS, tmp_path)


def test_an_answer_in_cubic_millimetres_counts_for_cubic_centimetres():
    number = Number(3.0, "cm³", {})  # by hand: 3 cm³ are 3000 mm³ and 0.003 litres
    assert all(number.judge({"value": value, "unit": unit}).right for value, unit in (("3000", "mm³"), ("0.003", "L")))
    assert not number.judge({"value": "3000", "unit": "cm³"}).right
