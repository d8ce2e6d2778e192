"""Single random changes of the models: do the tests notice? Run by hand, never in CI; needs the package coverage.

    python tests/mutation/mutate.py map           # once: which tests run which line, in how many seconds of CPU
    python tests/mutation/mutate.py 60 7          # sixty changes, drawn with seed 7

Each change is made in a copy of the repository, one at a time: an operator, a comparison, a number, a minimum for a
maximum, an axis. Asked are the tests of the models' rooms that run the changed line, or its file where the line is
compiled or runs at import, the quickest first; what they let pass is printed with its place. Kept results (goldens)
are not asked: they notice any change. Some changes alter nothing that matters (a message's digits, a tolerance of
rounding): those are judged by eye. Of the last 150 (seeds 404 and 405) 9 were such, and 137 of 141 were noticed, one of
them by `tests/test_malformed.py`, which the script does not ask.
"""

import ast
import importlib
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from itertools import accumulate
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
KEPT = Path(tempfile.gettempdir()) / "mutation"  # where the map is
PATIENCE_S = 400  # of CPU: a change that hangs is noticed, a busy machine is not
AT_ONCE = 40  # tests asked first
ASKED_S = 100  # of tests' CPU, as the map timed them, asked before a change has passed
LOADED = (
    "numpy",
    "scipy.sparse",
    "scipy.ndimage",
    "scipy.stats",
    "pandas",
    "trimesh",
    "pydantic",
    "pytest",
    "hypothesis",
)
ROOMS = ("ledger", "parts", "process", "plans", "routes", "risk", "decide")  # those of the models
OPERATORS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Pow: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "ceil": "floor", "floor": "ceil",
    "any": "all", "all": "any", "sum": "max", "argmin": "argmax", "cumsum": "array",
}  # fmt: skip


def places(tree):
    """Every single change that could be made: functions that make it in the tree and tell what was there."""
    in_words = {id(n) for j in ast.walk(tree) if isinstance(j, ast.JoinedStr | ast.Raise) for n in ast.walk(j)}
    in_words |= {id(n) for j in ast.walk(tree) if isinstance(j, ast.AnnAssign) for n in ast.walk(j.annotation)}
    headed = [j for j in ast.walk(tree) if isinstance(j, ast.FunctionDef | ast.ClassDef)]
    in_words |= {id(n) for j in headed for d in j.decorator_list for n in ast.walk(d)}
    for node in ast.walk(tree):
        if id(node) in in_words:
            continue  # messages, what is said of types, and dataclasses that are frozen
        if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in OPERATORS:
            yield node, "op", OPERATORS[type(node.op)]()
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in OPERATORS:
            yield node, "ops", [OPERATORS[type(node.ops[0])](), *node.ops[1:]]
        elif isinstance(node, ast.Attribute) and node.attr in NAMES:
            yield node, "attr", NAMES[node.attr]
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)
        ):
            yield node, "value", node.value + 1 if node.value in (0, 1, -1) else node.value * 1.25
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
            yield node, "value", not node.value
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            yield node, "op", ast.UAdd()


def changed(path, draw):
    """The text of a file with one change drawn, its line and what it is."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node, name, value = draw.choice(list(places(tree)))
    before = ast.unparse(node)
    setattr(node, name, value)
    return ast.unparse(tree), node.lineno, f"{before}  →  {ast.unparse(node)}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item):
    """Keep each test's seconds of CPU, which a busy machine does not stretch: the map's run has this file as plugin."""
    begun = sum(os.times()[:4])  # of this process and of those that it waited for
    ran = yield
    with (KEPT / "seconds").open("a") as kept:
        kept.write(f"{item.nodeid.split('[')[0]} {sum(os.times()[:4]) - begun}\n")
    return ran


def make_map():
    """Run all tests that are ever asked, and keep which test runs which line."""
    KEPT.mkdir(exist_ok=True)
    (KEPT / "seconds").unlink(missing_ok=True)
    (KEPT / "rc").write_text("[run]\nsource = lib/pourprint\ndynamic_context = test_function\n")
    command = [sys.executable, "-m", "coverage", "run", f"--rcfile={KEPT / 'rc'}", f"--data-file={KEPT / 'lines'}"]
    command += ["-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", "-p", "mutate"]
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent)}
    subprocess.run([*command, *(f"tests/{room}" for room in ROOMS)], cwd=ROOT, env=env, check=True)


def tests_of():
    """{(file, line): [tests, the quickest first]} of the map, with line 0 for the whole file; {test: seconds}."""
    from coverage import CoverageData

    where = {path.stem: path.relative_to(ROOT) for path in ROOT.glob("tests/*/test_*.py")}
    seconds = Counter()
    for line in (KEPT / "seconds").read_text().splitlines():
        test, spent = line.rsplit(" ", 1)
        seconds[test] += float(spent)
    data, found = CoverageData(KEPT / "lines"), defaultdict(set)
    data.read()
    for file in data.measured_files():
        name = Path(file).relative_to(ROOT / "lib/pourprint").as_posix()
        for line, contexts in data.contexts_by_lineno(file).items():
            tests = (context.split(".")[-2:] for context in contexts if "test_" in context)
            tests = {f"{where.get(module)}::{test}" for module, test in tests} & seconds.keys()
            found[name, line] |= tests
            found[name, 0] |= tests
    return {place: sorted(tests, key=seconds.__getitem__) for place, tests in found.items()}, seconds


def passes(copy, name, text, tests):
    """Do these tests pass where a file has another text? Asked in a child of this process, with libraries loaded."""
    path = copy / "lib/pourprint" / name
    whole = path.read_bytes()
    path.write_text(text, encoding="utf-8")
    shutil.rmtree(path.parent / "__pycache__", ignore_errors=True)  # no compiled file of another turn
    child = os.fork()
    if not child:
        resource.setrlimit(resource.RLIMIT_CPU, (PATIENCE_S, PATIENCE_S))
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        os.chdir(copy)
        os.environ["POURPRINT_CACHE"] = ""
        sys.path.insert(0, str(copy / "lib"))
        os._exit(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]))
    passed = os.waitpid(child, 0)[1] == 0
    path.write_bytes(whole)
    return passed


def main(count, seed):
    for name in LOADED:
        importlib.import_module(name)
    draw, passed, (running, seconds) = random.Random(seed), 0, tests_of()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "*.pyc"))
        library = copy / "lib/pourprint"
        paths = sorted(path for room in ROOMS for path in (library / room).rglob("*.py") if path.stem != "__init__")
        paths = [path for path in paths if any(places(ast.parse(path.read_text(encoding="utf-8"))))]
        files = {path.relative_to(library).as_posix(): path for path in paths}
        lines = [path.read_text().count("\n") for path in files.values()]
        for turn in range(1, count + 1):
            name = draw.choices([*files], lines)[0]
            text, line, what = changed(files[name], draw)
            asked = running.get((name, line)) or running.get((name, 0), [])
            spent = accumulate(seconds[test] for test in asked)
            asked = [test for test, so_far in zip(asked, spent, strict=True) if so_far <= ASKED_S]
            rest = [*asked[AT_ONCE:], f"lib/pourprint/{name}"]  # its examples, too
            near = asked[:AT_ONCE]
            seen = (near and not passes(copy, name, text, near)) or not passes(copy, name, text, rest)
            passed += not seen
            print(f"{turn:3} {'noticed' if seen else 'PASSED '} {name} line {line}: {what}"[:220], flush=True)
    print(f"{count - passed} of {count} changes noticed")


if __name__ == "__main__":
    make_map() if sys.argv[1:] == ["map"] else main(int(sys.argv[1]), int(sys.argv[2]))
