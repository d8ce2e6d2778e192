"""Single random changes of the models: do the tests notice? Run by hand, never in CI; needs the package coverage.

    python tests/mutation/mutate.py map           # once: which tests run which line, in how many seconds
    python tests/mutation/mutate.py 60 7          # sixty changes, drawn with seed 7

Each change is made in a copy of the repository, one at a time: an operator, a comparison, a number, a minimum for a
maximum, an axis. Asked are first the tests that run the changed line, the quickest first, then the whole of the tests
most likely to notice; what they let pass is printed with its place. Some changes alter nothing that matters (a
message's digits, a tolerance of rounding): those are judged by eye.
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
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

ROOT = Path(__file__).parents[2]
KEPT = Path(tempfile.gettempdir()) / "mutation"  # where the map is
PATIENCE_S = 240  # of CPU: a change that hangs is noticed, a busy machine is not
AT_ONCE = 40  # tests asked first
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
# The models, and the tests most likely to notice a change of them.
NOTICED_BY = {
    "ledger/lab_log.py": ["ledger/test_lab_log.py"],
    "ledger/workdays.py": ["ledger/test_workdays.py"],
    "ledger/ranges.py": ["ledger/test_ranges.py"],
    "ledger/rates.py": ["ledger/test_rates.py", "process/test_process.py"],
    "parts/meshes.py": ["parts/test_meshes.py"],
    "parts/mending.py": ["parts/test_meshes.py"],
    "parts/kits.py": ["parts/test_parts.py"],
    "process/contraction.py": ["process/test_process.py", "process/test_pattern.py"],
    "process/heating.py": ["process/test_process.py", "routes/test_routes.py"],
    "process/packing.py": ["process/test_process.py", "process/test_metal_plate.py", "routes/test_mould.py"],
    "process/walls.py": ["process/test_walls.py"],
    "process/finish/machining.py": ["process/test_process.py", "routes/test_finishing.py"],
    "process/finish/fits.py": ["process/test_iso_fits.py", "process/test_process.py"],
    "process/finish/bonding.py": ["process/test_bonding.py"],
    "process/powder/bed.py": ["process/test_metal_plate.py", "process/test_process.py", "routes/test_metal_route.py"],
    "process/powder/supports.py": ["process/test_metal_supports.py"],
    "process/sand/feeding.py": ["routes/test_mould.py"],
    "process/sand/gating.py": ["routes/test_mould.py"],
    "process/shell/coats.py": ["process/test_pattern.py", "routes/test_pattern_route.py"],
    "process/shell/burn_out.py": ["process/test_pattern.py"],
    "plans/orders.py": ["plans/test_orders.py"],
    "plans/steps.py": ["plans/test_steps.py"],
    "risk/rework.py": ["risk"],
    "risk/yields.py": ["risk/test_yields.py"],
    "risk/legs.py": ["risk"],
    "decide/price.py": ["decide/test_price.py"],
    "decide/learning.py": ["decide/test_learning.py"],
    "decide/lightness.py": ["decide/test_lightness.py"],
    "decide/carbon.py": ["decide/test_carbon.py"],
    "routes/findings.py": ["routes/test_findings.py"],
}
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


def make_map():
    """Run all tests that are ever asked, and keep which test runs which line."""
    KEPT.mkdir(exist_ok=True)
    (KEPT / "rc").write_text("[run]\nsource = lib/pourprint\ndynamic_context = test_function\n")
    tests = sorted({f"tests/{test}" for named in NOTICED_BY.values() for test in named})
    command = [sys.executable, "-m", "coverage", "run", f"--rcfile={KEPT / 'rc'}", f"--data-file={KEPT / 'lines'}"]
    command += ["-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", f"--junitxml={KEPT / 'times.xml'}", *tests]
    subprocess.run(command, cwd=ROOT, check=True)


def tests_of():
    """{(file, line): [tests], the quickest first} of the map."""
    from coverage import CoverageData

    where = {path.stem: path.relative_to(ROOT) for path in ROOT.glob("tests/*/test_*.py")}
    seconds = Counter()
    for case in ElementTree.parse(KEPT / "times.xml").iter("testcase"):
        seconds[case.get("classname").split(".")[-1], case.get("name").split("[")[0]] += float(case.get("time"))
    data, found = CoverageData(KEPT / "lines"), {}
    data.read()
    for file in data.measured_files():
        name = Path(file).relative_to(ROOT / "lib/pourprint").as_posix()
        for line, contexts in data.contexts_by_lineno(file).items():
            tests = {tuple(context.split(".")[-2:]) for context in contexts if "test_" in context}
            tests = sorted((test for test in tests if test in seconds), key=seconds.__getitem__)
            found[name, line] = [f"{where[stem]}::{test}" for stem, test in tests]
    return found


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
        import pytest

        os._exit(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]))
    passed = os.waitpid(child, 0)[1] == 0
    path.write_bytes(whole)
    return passed


def main(count, seed):
    for name in LOADED:
        importlib.import_module(name)
    draw, passed, running = random.Random(seed), 0, tests_of()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "*.pyc"))
        lines = {name: (copy / "lib/pourprint" / name).read_text().count("\n") for name in NOTICED_BY}
        left = []
        for turn in range(1, count + 1):
            name = draw.choices([*lines], [*lines.values()])[0]
            text, line, what = changed(copy / "lib/pourprint" / name, draw)
            near = running.get((name, line), [])[:AT_ONCE]
            if near and not passes(copy, name, text, near):
                print(f"{turn:3} noticed {name} line {line}: {what}"[:220], flush=True)
            else:
                left.append((turn, name, text, f"line {line}: {what}"))
        for turn, name, text, what in left:
            likely = [f"tests/{test}" for test in NOTICED_BY[name]] + [f"lib/pourprint/{name}"]  # its examples, too
            seen = not passes(copy, name, text, likely)
            passed += not seen
            print(f"{turn:3} {'noticed' if seen else 'PASSED '} {name} {what}"[:220], flush=True)
    print(f"{count - passed} of {count} changes noticed")


if __name__ == "__main__":
    make_map() if sys.argv[1:] == ["map"] else main(int(sys.argv[1]), int(sys.argv[2]))
