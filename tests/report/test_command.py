"""The command `pourprint`: the library's own numbers, sentences instead of tracebacks, exit codes."""

import csv
import io
import json
import subprocess
import sys

import pytest

import pourprint as pp
from pourprint.__main__ import CANNOT, DONE, WRONG, main, parser
from scenes import DEMO

MESH = str(DEMO / "nodes" / "mast_foot.stl")
RATES = ["--rates", str(DEMO / "rates.toml")]
NUMBERS = """name = "two blocks"
[[part]]
name = "block"
count = 2
volume_cm3 = 60
area_cm2 = 210
box_mm = [90, 70, 60]
"""


@pytest.fixture
def kit(tmp_path):
    path = tmp_path / "kits" / "blocks.toml"
    path.parent.mkdir()
    path.write_text(NUMBERS, encoding="utf-8")
    return path


def test_measure_says_what_the_library_measures_in_the_unit_asked_for(capsys):
    assert main(["measure", MESH, "--unit", "cm", "--json"]) == DONE
    said = {row["fact"]: row["mast_foot"] for row in json.loads(capsys.readouterr().out)}
    assert said["volume [cm³]"] == pytest.approx(pp.Part.from_mesh(MESH, "cm").volume_cm3, abs=0.01)


def test_check_names_every_route_and_says_by_its_code_when_none_can(capsys):
    assert main(["check", MESH, *RATES, "--csv"]) == DONE
    assert {row["route"] for row in csv.DictReader(io.StringIO(capsys.readouterr().out))} == {
        route.TITLE for route in pp.ROUTES.values()
    }
    assert main(["check", MESH, "--unit", "cm"]) == CANNOT


def test_compare_and_memo_print_the_numbers_of_the_library_to_the_cent(kit, tmp_path, capsys):
    job = [str(kit), *RATES, "--quantity", "3", "--start", "2026-11-30", "--price-of-day", "50"]
    found = pp.report.memo(pp.Job(pp.Kit.load(kit), "AlSi7Mg", 3), pp.RateCard.load(RATES[1]), "2026-11-30", None, 50)
    cost = found.failing[found.chosen].cost
    assert main(["compare", *job]) == DONE
    assert f"{cost:,.2f}" in capsys.readouterr().out
    assert main(["compare", *job, "--csv"]) == DONE
    rows = {row["what"]: row for row in csv.DictReader(io.StringIO(capsys.readouterr().out))}
    assert float(rows["job with failures [EUR]"][found.plan.title]) == pytest.approx(cost, abs=0.005)
    path = tmp_path / "memo.html"
    assert main(["memo", *job, "-o", str(path), "--xlsx"]) == DONE
    assert found.recommendation in capsys.readouterr().out
    assert f"{cost:,.2f}" in path.read_text(encoding="utf-8") and path.with_suffix(".xlsx").is_file()
    assert main(["memo", *job, "-o", str(path)]) == WRONG
    assert "is there already" in capsys.readouterr().err


def test_a_sweep_keeps_a_line_for_a_kit_that_cannot_be_read(kit, capsys):
    kit.with_name("broken.toml").write_text("name = 3", encoding="utf-8")
    assert main(["sweep", str(kit.parent), *RATES, "--start", "2026-11-30T08:00", "--csv"]) == DONE
    said = capsys.readouterr()
    rows = {row["kit"]: row for row in csv.DictReader(io.StringIO(said.out))}
    plans = pp.plan_all(pp.Job(pp.Kit.load(kit), "AlSi7Mg"), pp.RateCard.load(RATES[1]))
    costs = {plan.title: pp.expected(plan, "2026-11-30T08:00").cost for plan in plans.values() if plan.feasible}
    assert rows["blocks.toml"]["best"] == min(costs, key=costs.get)
    assert float(rows["blocks.toml"]["a kit with failures [EUR]"]) == pytest.approx(min(costs.values()))
    assert rows["broken.toml"]["best"] == "" and rows["broken.toml"]["note"]
    assert "2 of 2 kits" in said.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["measure", "absent.stl"], "absent.stl"),
        (["measure", MESH, "--unit", "ell"], "ell"),
        (["compare", MESH, "--start", "soon"], "soon"),
        (["compare", MESH, "--start", "2026-11-30", "--alloy", "tin"], "tin"),
        (["compare", MESH, "--start", "2026-11-30", "--quantity", "0"], "quantity"),
        (["memo", MESH, "--start", "2026-11-30", "-o", "memo.txt"], "must end in .html"),
        (["sweep", "absent", "--start", "2026-11-30"], "holds no kit"),
        (["mark", "absent", "--class", "absent.toml", "-o", "marks.csv"], "absent.toml"),
    ],
)
def test_what_cannot_be_used_is_one_sentence_on_stderr(arguments, said, capsys):
    assert main(arguments) == WRONG
    told = capsys.readouterr()
    assert told.out == "" and told.err.startswith("pourprint: ") and said in told.err and "Traceback" not in told.err


@pytest.mark.parametrize("command", ["measure", "check", "compare", "memo", "sweep", "mark"])
def test_every_command_has_help_with_an_example_that_parses(command, capsys):
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    example = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("Example: pourprint "))
    assert parser().parse_args(example.removeprefix("Example: pourprint ").split()).command == command


def test_the_module_runs_as_a_command():
    done = subprocess.run([sys.executable, "-m", "pourprint", "measure", "absent.stl"], capture_output=True, text=True)
    assert done.returncode == WRONG and done.stderr.startswith("pourprint: ")
