"""The student notebooks: the class's own scenario, tables instead of dumps, checks that speak, a time to plan with."""

import ast
import json
import re
from pathlib import Path

import pytest

import pourprint as pp
from scenes import DEMO, demo_kit

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("[0-9][0-9]_*.ipynb"))
OURS = NOTEBOOKS
KIT = (
    'name = "two brackets"\n[[part]]\nname = "bracket"\ncount = 2\nvolume_cm3 = 60\narea_cm2 = 210\n'
    "box_mm = [90, 70, 60]\nbores = [{ diameter_mm = 20.0, depth_mm = 8.0 }]\n"
)


def cells(path, kind):
    found = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(cell["source"]) for cell in found if cell["cell_type"] == kind]


@pytest.fixture(params=["rates.toml"])
def course(tmp_path, request):
    """A course folder whose class has a kit of its own, and another currency by one edit of its card."""
    (tmp_path / "data_demo").symlink_to(DEMO)
    (tmp_path / "notebooks").mkdir()
    text = (DEMO / request.param).read_text(encoding="utf-8")
    (tmp_path / "rates.toml").write_text(text.replace('currency = "EUR"', 'currency = "CHF"'), encoding="utf-8")
    (tmp_path / "kit.toml").write_text(KIT, encoding="utf-8")
    text = (DEMO / "class.toml").read_text(encoding="utf-8").replace("rover_kit.toml", "kit.toml")
    (tmp_path / "class.toml").write_text(text.replace("2027-01-11", "2027-02-08"), encoding="utf-8")
    return tmp_path / "notebooks"


@pytest.mark.parametrize("path", [path for path in OURS if path.name[:2] in ("00", "05")], ids=lambda path: path.stem)
def test_a_class_with_its_own_kit_currency_and_start_meets_them_in_the_notebook(path, course, monkeypatch):
    monkeypatch.chdir(course)
    names = {}
    for cell in cells(path, "code"):
        exec(compile(cell, "cell", "exec"), names)
    room = names["room"]
    assert room.kit.nodes == 2 and room.money == "CHF" and f"{room.start:%d.%m.%Y}" == "08.02.2027"
    assert names["job"].kit is room.kit and names["job"].alloy == room.alloy


BEGIN = ("mesh =", "import pourprint", "from_mesh", "pp.Job(")
SHOWN = {  # notebook: what stands in the cells that are run, in which a kit or a card of one's own once failed
    "02": (*BEGIN, "sizes =", "print the patterns"),
    "03": (*BEGIN, "plan =", "route =", "table =", "feeder =", "taken =", "look_table", "print moulds and cores"),
    "04": (*BEGIN, "steps =", "taken_off =", "print on the plate"),
}


@pytest.mark.parametrize("course", ["rates.toml", "rates_buying.toml"], indirect=True)
@pytest.mark.parametrize("number", SHOWN)
def test_a_kit_without_meshes_and_a_card_that_buys_stop_no_notebook_of_a_route(number, course, monkeypatch):
    monkeypatch.chdir(course)
    names, (path,) = {}, (path for path in OURS if path.name.startswith(number))
    run = [cell for cell in cells(path, "code") if any(mark in cell for mark in SHOWN[number])]
    for cell in run:
        exec(compile(cell, "cell", "exec"), names)
    assert not names["rates"].bought and names["frame"] is not names["kit"] and len(run) >= len(SHOWN[number]) - 1


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_no_cell_takes_what_is_true_for_the_demo_alone(path):
    """Parts of its kit but the node's mesh, how many clusters it fills, numbers of its ledger, its currency."""
    code = re.sub(r'mesh = ".*"', "", "\n".join(cells(path, "code")))
    if "rover_frame.toml" not in code:  # whose nodes these are
        assert not [item.part.name for item in demo_kit().parts if f'"{item.part.name}"' in code]
    assert not re.search(r"number=4|0\.14 \*|>= 1\.2 \* mould|sureness_chart\([^\n]*\d\)\)?$", code, re.MULTILINE)


@pytest.mark.parametrize(("number", "told"), [("03", "three quarters as large"), ("09", "seven working days")])
def test_what_is_true_for_the_demo_alone_is_said_to_be(number, told):
    (path,) = (path for path in OURS if path.name.startswith(number))
    (said,) = (said for text in cells(path, "markdown") for said in re.split(r"(?<=[.:])\s", text) if told in said)
    assert "in the demo" in said.lower()


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_no_notebook_names_the_demo_kit_its_card_or_a_currency(path):
    code = "\n".join(cells(path, "code"))
    assert "rover_kit" not in code and 'load("../data_demo/rates.toml")' not in code
    assert not re.search(r"\bEUR\b(?! in the demo)", "\n".join(cells(path, "markdown")))


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_students_see_no_assert_and_no_printed_dictionary_or_list(path):
    for cell in cells(path, "code"):
        tree = ast.parse(cell)
        assert not any(isinstance(node, ast.Assert) for node in ast.walk(tree)), cell
        shown = tree.body[-1].value if isinstance(tree.body[-1], ast.Expr) else None
        assert not isinstance(shown, (ast.Dict, ast.DictComp, ast.List, ast.ListComp, ast.Tuple, ast.JoinedStr)), cell


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_students_build_no_dictionary_but_by_one_call_for_each_of_some(path):
    built = [
        node for cell in cells(path, "code") for node in ast.walk(ast.parse(cell)) if isinstance(node, ast.DictComp)
    ]
    assert not [ast.unparse(node) for node in built if not isinstance(node.value, ast.Call) or len(node.generators) > 1]


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_a_notebook_says_how_long_it_and_its_short_path_take(path):
    """By words read (150 a minute), cells run and looked at (half a minute) and exercises (three minutes)."""
    whole = short = skipped = 0
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        text = "".join(cell["source"])
        if cell["cell_type"] == "code":
            takes = 3 if "lessons.ask" in text else 0.5
        else:
            takes = len(text.split()) / 150
            skipped = "◇" in text.splitlines()[0] if re.match("#{1,2} ", text) else skipped
        whole, short = whole + takes, short + takes * (not skipped)
    said = re.search(r"About (\d+) minutes\. The short path .* about (\d+);", cells(path, "markdown")[0])
    assert said and abs(int(said[1]) - whole) <= 5 and abs(int(said[2]) - short) <= 5 and int(said[2]) < int(said[1])


def long_sentences(text):
    """Sentences of more than 30 words; a colon or semicolon ends one."""
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", re.sub(r"`[^`]*`", "x", text)).replace("**", "")
    return [said for said in re.split(r"(?<=[.!?:;])\s+|\n+", text) if len(said.split()) > 30]


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.stem)
def test_no_sentence_of_a_notebook_is_longer_than_thirty_words(path):
    assert [said for text in cells(path, "markdown") for said in long_sentences(text)] == []


def test_no_sentence_of_an_exercise_is_longer_than_thirty_words():
    room = pp.lessons.classroom(DEMO / "class.toml")
    for name, exercise in pp.lessons.catalogue().items():
        posed = exercise.question(room, "ada")
        found = [said for text in (posed.text, *posed.hints) for said in long_sentences(text)]
        assert not found, (name, found)
