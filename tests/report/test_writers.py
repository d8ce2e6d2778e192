"""Every writer writes whole or not at all, and never over a file that is there unless it is asked to."""

import ast
import os
from functools import cache
from pathlib import Path

import nbformat
import pytest

import pourprint as pp
from pourprint.lessons.answers import Answers, Event
from pourprint.lessons.handouts import write_handout
from scenes import DEMO, bracket, demo_kit, demo_rates

LIBRARY = Path(pp.__file__).parent


@cache
def memo():
    return pp.report.memo(pp.Job(bracket(), "AlSi7Mg"), demo_rates(), "2026-11-30")


def marks(path):
    handed_in = path.parent / "handed in"
    handed_in.mkdir(exist_ok=True)
    room = pp.lessons.classroom(DEMO / "class.toml")
    done = Answers(room.code, "ada").plus([Event("2026-11-20T10:01:00+00:00", "modulus", {"value": "1"})])
    (handed_in / "ada.jsonl").write_text(done.text(), encoding="utf-8")
    return pp.lessons.mark(handed_in, DEMO / "class.toml")


def notebook(path):
    made = nbformat.v4.new_notebook(cells=[nbformat.v4.new_markdown_cell("Words.")])
    nbformat.write(made, path.with_suffix(".ipynb"))
    return path.with_suffix(".ipynb")


def setting():
    return pp.Setting("kept", demo_kit(), demo_rates(), "AlSi7Mg", 1, "2026-11-30")


WRITERS = {
    "a rate card": ("card.toml", lambda path, **how: demo_rates().save(path, **how)),
    "a setting": ("kept.setting.toml", lambda path, **how: setting().save(path.parent, **how)),
    "a mesh": ("node.stl", lambda path, **how: demo_kit().parts[0].part.write_mesh(path, **how)),
    "a memo's page": ("memo.html", lambda path, **how: memo().write(path, **how)),
    "a memo's workbook": ("memo.xlsx", lambda path, **how: memo().write(path, **how)),
    "a mark sheet": ("marks.csv", lambda path, **how: marks(path).save(path, **how)),
    "a handout": ("handout.html", lambda path, **how: write_handout(notebook(path), path, **how)),
}


@pytest.fixture(params=WRITERS)
def writer(request, tmp_path):
    """(path at which another file lies, what writes there)."""
    name, write = WRITERS[request.param]
    path = tmp_path / name
    path.write_text("mine")
    return path, write


def drafts(folder):
    return [each.name for each in folder.iterdir() if each.name.endswith(".part")]


def test_a_file_that_is_there_stays_unless_its_place_is_asked_for(writer):
    path, write = writer
    with pytest.raises(pp.InputError, match="is there already"):
        write(path)
    assert path.read_text() == "mine"
    write(path, replace=True)
    assert path.read_bytes() != b"mine" and drafts(path.parent) == []


def test_a_disk_that_fails_at_the_last_moment_leaves_what_was_there(writer, monkeypatch):
    path, write = writer

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(pp.InputError, match="cannot be written"):
        write(path, replace=True)
    assert path.read_text() == "mine" and drafts(path.parent) == []


def test_of_two_files_neither_is_written_where_one_is_there(tmp_path):
    (tmp_path / "marks-reports.csv").write_text("mine")
    with pytest.raises(pp.InputError, match=r"marks-reports\.csv is there already"):
        marks(tmp_path / "marks.csv").save(tmp_path / "marks.csv")
    assert not (tmp_path / "marks.csv").exists()


# Who else may write, and why it is no exception to the rule.
OWN_PLACES = {
    "ledger/files.py": "the one writer",
    "lessons/answers.py": "adds lines to a student's own file, under a lock",
    "lessons/handouts.py": "a page in a folder of its own, for the browser that prints it",
    "panels/own_part.py": "a mesh in a folder of its own, to be read",
    "parts/kept.py": "studies in the cache, whole or not at all",
}


def test_the_library_writes_files_in_no_other_way():
    found = set()
    for path in LIBRARY.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
                modes = [each.value for each in node.args if isinstance(each, ast.Constant)]
                opens = name in ("open", "fdopen") and any(str(mode)[:1] in "wax" for mode in modes)
                if opens or name in ("write_text", "write_bytes", "savez", "savez_compressed", "save_image", "tofile"):
                    found.add(path.relative_to(LIBRARY).as_posix())
    assert found == {*OWN_PLACES}
