"""The project's own rules: formatted code, stripped notebooks of one pattern, two true commands."""

import ast
import io
import json
import re
import statistics
import subprocess
import sys
import tokenize
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted(ROOT.glob("notebooks/*.ipynb"))
LIBRARY = ROOT / "lib" / "pourprint"
# Lines of code, without blank lines, comments and docstrings, that a room may have: it may shrink; to grow, it needs a
# reason in its commit.
BUDGETS = {
    "ledger": 887,
    "parts": 1276,
    "process": 2888,
    "plans": 909,
    "routes": 1807,
    "risk": 452,
    "decide": 1635,
    "figures": 2589,
    "panels": 1288,
    "lessons": 2062,
    "report": 506,
}
ROOMS = ("ledger", "parts", "process", "plans", "routes", "risk", "decide", "figures", "panels", "lessons", "report")


def source(cell):
    return "".join(cell["source"])


def imports(path):
    """(module, names) of each `from pourprint… import …` in a file."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.partition(".")[0] == "pourprint":
            yield node.module, [alias.name for alias in node.names]


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_from_itself_and_rooms_above_it(room):
    above = ROOMS[: ROOMS.index(room) + 1]
    for path in (LIBRARY / room).rglob("*.py"):
        for module, names in imports(path):
            rooms = names if module == "pourprint" else [module.split(".")[1]]
            assert set(rooms) <= set(above), f"{path} imports {module}"


def code_lines(path):
    """The numbers of the lines of a file that hold code: no blank lines, comments and docstrings."""
    text, lines = path.read_text(encoding="utf-8"), set()
    silent = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in silent:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module) and ast.get_docstring(node) is not None:
            lines.difference_update(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    return lines


@pytest.mark.parametrize(("room", "budget"), BUDGETS.items())
def test_a_room_keeps_to_its_budget_of_lines_its_files_and_functions_to_a_page_or_a_few(room, budget):
    lines = {path: code_lines(path) for path in (LIBRARY / room).rglob("*.py")}
    assert sum(map(len, lines.values())) <= budget
    for path, code in lines.items():
        assert len(code) <= 350, path
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                assert len(code & {*range(node.lineno, node.end_lineno + 1)}) <= 60, f"{path}: {node.name}"


def test_no_module_reaches_into_anothers_private_names():
    for path in LIBRARY.rglob("*.py"):
        for module, names in imports(path):
            assert not any(name.startswith("_") for name in (*module.split("."), *names)), f"{path}: {module}, {names}"


def test_the_library_is_its_rooms_and_its_face():
    assert {path.name for path in LIBRARY.iterdir() if path.name != "__pycache__"} == {
        *ROOMS,
        "__init__.py",
        "__main__.py",
    }


def test_ruff_finds_nothing():
    done = subprocess.run([sys.executable, "-m", "ruff", "check", "."], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


def test_notebooks_are_stored_without_outputs():
    command = [sys.executable, "-m", "nbstripout", "--keep-id", "--verify", *map(str, NOTEBOOKS)]
    assert subprocess.run(command, check=False).returncode == 0


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_opens_in_the_course_pattern_and_keeps_its_cells_short(path):
    notebook = json.loads(path.read_text(encoding="utf-8"))
    code = [source(cell) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    opening = source(notebook["cells"][0])
    assert all(f"**What you{words}.**" in opening for words in ("'ll do", "'ll learn", " need"))
    assert notebook["metadata"]["kernelspec"]["name"] == "python3"
    assert statistics.median(len(text.splitlines()) for text in code) <= 3
    assert max(len(text.splitlines()) for text in code) <= 12


def test_a_page_without_code_shows_the_kit_and_card_of_the_class_but_the_landing_page_that_of_the_demo_which_buys():
    for path in sorted((ROOT / "notebooks/pages").glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = "".join(source(cell) for cell in cells if cell["cell_type"] == "code")
        assert ("pp.lessons.classroom()" in code, "data_demo" in code) == (path.stem != "index", path.stem == "index")


def test_every_file_that_the_readme_names_is_there():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)]+)\)", readme):
        assert (ROOT / target).exists(), target


def test_every_alloy_and_route_has_cautions_for_every_stage_that_is_not_at_a_desk():
    import pourprint as pp

    desk = {pp.Stage.TOOLING, pp.Stage.SIMULATE, pp.Stage.DIE}
    part = pp.Part.from_numbers("bracket", 60, 210, (90, 70, 60))
    for alloy in pp.alloys():
        for plan in pp.plan_all(
            pp.Job(part, alloy), pp.RateCard.default().replace({"handling.magnesium": 1.0})
        ).values():
            if plan.feasible:
                named = set(pp.cautions_of(plan)["stage"])
                assert {stage.title for stage in plan.stages if stage not in desk} <= named, (alloy, plan.route)
