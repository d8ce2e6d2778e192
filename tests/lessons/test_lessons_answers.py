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
from pourprint.lessons.widget import AnswerBox, sign_in
from scenes import DEMO

CLASS = DEMO / "class.toml"
CODE = "rover-2026"


def event(n, exercise="modulus"):
    return Event(f"2026-11-25T10:00:00.{n:06d}+00:00", exercise, {"value": str(n)})


def python(code, *words):
    return subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), *map(str, words)])


WRITER = """
    import sys
    from pourprint.lessons.answers import Event, record
    folder, who, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    for n in range(count):
        record(folder, "c", "ada", [Event(f"2026-11-25T10:00:00.{n:06d}+00:00", who, {"value": str(n)})])
"""


def test_answers_survive_a_round_trip_in_plain_json(tmp_path):
    saved, note = answers.record(tmp_path, CODE, "Ada 07", [event(1), event(2)])
    assert not note and answers.read(tmp_path, CODE, " ADA  07 ") == (saved, "")
    content = json.loads(answers.file_of(tmp_path, "ada 07").read_text(encoding="utf-8"))
    assert [e["answer"] for e in content["events"]] == [{"value": "1"}, {"value": "2"}]
    assert not list(answers.file_of(tmp_path, "ada 07").parent.glob(".*")), "no temporary file is left"


def test_students_whose_ids_differ_only_in_signs_have_files_of_their_own(tmp_path):
    ids = ("a/b", "a b", "a-b", "../a b", "日本", "ab" * 50)
    assert len({answers.file_of(tmp_path, name) for name in ids}) == len(ids)
    assert all(answers.file_of(tmp_path, name).parent == tmp_path / "answers" for name in ids)


def test_two_kernels_that_write_at_once_lose_nothing(tmp_path):
    writers = [python(WRITER, tmp_path, who, 25) for who in ("first", "second")]
    assert [writer.wait(timeout=60) for writer in writers] == [0, 0]
    found, _ = answers.read(tmp_path, "c", "ada")
    assert [len(found.of(who)) for who in ("first", "second")] == [25, 25] and not found.edited


def test_a_kernel_killed_while_it_writes_leaves_a_whole_file_and_no_lock(tmp_path):
    for _ in range(3):
        writer = python(WRITER, tmp_path, "doomed", 100_000)
        path = answers.file_of(tmp_path, "ada")
        while not path.exists():
            time.sleep(0.01)
        time.sleep(0.1)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        before, note = answers.read(tmp_path, "c", "ada")
        assert before.events and not note and not before.edited
        after, _ = answers.record(tmp_path, "c", "ada", [event(1, "next")])
        assert len(after.events) >= len(before.events)


def test_the_same_event_told_twice_is_kept_once(tmp_path):
    answers.record(tmp_path, CODE, "ada", [event(1)])
    saved, _ = answers.record(tmp_path, CODE, "ada", [event(1), event(2)])
    assert len(saved.events) == 2


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
    found, note = answers.read(tmp_path, CODE, "ada")
    assert found.events == (event(1),) and not note
    assert not list((tmp_path / "answers").glob(".*.part"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(pp.InputError, match="NOT SAVED"):
        answers.record(tmp_path, CODE, "ada", [event(1)])


@pytest.mark.parametrize("damage", ["", "{", '{"format": 1}', "\ud800", "[" * 100_000, '{"format": 1, "events": 3}'])
def test_a_damaged_file_is_set_aside_never_deleted(tmp_path, damage):
    answers.record(tmp_path, CODE, "ada", [event(1)])
    path = answers.file_of(tmp_path, "ada")
    path.write_text(damage, encoding="utf-8", errors="surrogatepass")
    saved, note = answers.record(tmp_path, CODE, "ada", [event(2)])
    assert saved.events == (event(2),) and "It is kept as" in note
    (aside,) = path.parent.glob("ada.set-aside-*.json")
    assert aside.read_bytes().decode("utf-8", "surrogatepass") == damage


def test_an_edited_file_keeps_its_answers_and_says_for_ever_that_it_was_edited(tmp_path):
    answers.record(tmp_path, CODE, "ada", [event(1)])
    path = answers.file_of(tmp_path, "ada")
    path.write_text(path.read_text(encoding="utf-8").replace('"1"', '"7"'), encoding="utf-8")
    saved, _ = answers.record(tmp_path, CODE, "ada", [event(2)])
    assert saved.edited and [e.answer["value"] for e in saved.events] == ["7", "2"]
    assert answers.read(tmp_path, CODE, "ada")[0].edited


def test_a_file_of_another_class_is_not_mixed_in(tmp_path):
    answers.record(tmp_path, "last year", "ada", [event(1)])
    saved, note = answers.record(tmp_path, CODE, "ada", [event(2)])
    assert saved.events == (event(2),) and "another class" in note


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
    assert answers.from_json(path.read_text(encoding="utf-8")) == (Answers(CODE, "ada", (event(1),)), True)


# The answer box -------------------------------------------------------------------------------------------


def box(folder, name="modulus"):
    return AnswerBox(name, CLASS, folder)


def test_showing_a_box_writes_nothing(tmp_path):
    shown = box(tmp_path)
    shown.press("check")
    assert "please fill in" in shown.status.value and not list(tmp_path.iterdir())


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
    assert answers.read(tmp_path, CODE, "guest")[0].hints("modulus") == len(shown.question.hints)
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

    def full(path, text):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(answers, "write_whole", full)
        shown.press("check")
    assert "NOT SAVED: the disk is full" in shown.status.value
    shown.inputs["value"].value = "2"
    shown.press("check")
    kept = answers.read(tmp_path, CODE, "guest")[0].of("modulus")
    assert [e.answer["value"] for e in kept] == ["1", "2"]


def test_an_unknown_exercise_is_one_sentence(tmp_path):
    with pytest.raises(pp.InputError, match=r"did you mean \"modulus\""):
        pp.lessons.ask("moduls", CLASS, tmp_path)
