"""Single random changes of the models: do the tests notice? Run by hand, never in CI.

    python tests/mutation/mutate.py 60 7          # sixty changes, drawn with seed 7; a change takes its tests' time

Each change is made in a copy of the repository, one at a time: an operator, a comparison, a number, a minimum for a
maximum, an axis. The tests most likely to notice are run; what they let pass is printed with its place. Some changes
alter nothing that matters (a message's digits, a tolerance of rounding): those are judged by eye.
"""

import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 150  # a change that hangs is noticed
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
    "process/packing.py": ["process/test_process.py", "process/test_metal_plate.py"],
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
    for node in ast.walk(tree):
        if id(node) in in_words:
            continue  # messages
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
    """The text of a file with one change drawn, and where and what it is."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node, name, value = draw.choice(list(places(tree)))
    before = ast.unparse(node)
    setattr(node, name, value)
    return ast.unparse(tree), f"line {node.lineno}: {before}  →  {ast.unparse(node)}"


def main(count, seed):
    draw, noticed = random.Random(seed), 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        leave = shutil.ignore_patterns(".git", ".venv", "__pycache__", "*.pyc")
        shutil.copytree(ROOT, copy, ignore=leave)
        lines = {name: (ROOT / "lib/pourprint" / name).read_text().count("\n") for name in NOTICED_BY}
        for turn in range(1, count + 1):
            name = draw.choices([*lines], [*lines.values()])[0]
            path = copy / "lib/pourprint" / name
            whole = path.read_text(encoding="utf-8")
            text, what = changed(path, draw)
            path.write_text(text, encoding="utf-8")
            command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider"]
            command += [f"tests/{test}" for test in NOTICED_BY[name]] + [f"lib/pourprint/{name}"]  # its examples, too
            env = os.environ | {"PYTHONPATH": str(copy / "lib"), "POURPRINT_CACHE": "", "PYTHONDONTWRITEBYTECODE": "1"}
            try:
                done = subprocess.run(command, cwd=copy, env=env, capture_output=True, timeout=PATIENCE_S)
                seen = done.returncode != 0
            except subprocess.TimeoutExpired:
                seen = True
            path.write_text(whole, encoding="utf-8")
            noticed += seen
            print(f"{turn:3} {'noticed' if seen else 'PASSED '} {name} {what}"[:220], flush=True)
    print(f"{noticed} of {count} changes noticed")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
