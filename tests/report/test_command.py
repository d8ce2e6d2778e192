"""The command `pourprint`: the library's own numbers, sentences instead of tracebacks, exit codes."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

import pourprint as pp
from pourprint.__main__ import CANNOT, DONE, WRONG, main, parser
from pourprint.lessons.answers import Answers, Event
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


def test_what_is_doubted_in_a_mesh_is_said_by_every_command_that_reads_it_and_by_the_memo(tmp_path, capsys):
    block, page = tmp_path / "block.stl", tmp_path / "block.html"
    trimesh.creation.box((8, 8.5, 9)).export(block)  # drawn in cm; even so it can be made
    doubt, asked = "block: 9 × 8.5 × 8 mm: were these inches or cm?", [str(block)]
    for command in (["measure"], ["check"], ["compare", "--start", "2026-11-30"]):
        main([*command, *asked])
        assert doubt in capsys.readouterr().err, command
    assert main(["memo", *asked, "--start", "2026-11-30", "--output", str(page)]) == DONE
    assert doubt.removeprefix("block: ") in page.read_text(encoding="utf-8") and doubt in capsys.readouterr().err
    assert main(["measure", MESH]) == DONE and capsys.readouterr().err == ""


def test_check_names_every_route_and_says_by_its_code_when_none_can(capsys):
    assert main(["check", MESH, *RATES, "--csv"]) == DONE
    assert {row["route"] for row in csv.DictReader(io.StringIO(capsys.readouterr().out))} == {
        route.TITLE for route in pp.ROUTES.values()
    }
    assert main(["check", MESH, "--unit", "cm"]) == CANNOT
    capsys.readouterr()
    assert main(["compare", MESH, "--unit", "cm", "--start", "2026-11-30"]) == CANNOT
    told = capsys.readouterr()
    doubted, refused = told.err.split("\n", 1)
    assert told.out == "" and doubted.endswith("cm: were these mm?")
    assert refused.startswith("pourprint: no route can make this job.")


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


def test_a_kept_setting_gives_by_command_the_memo_that_it_gives_in_a_notebook(kit, tmp_path, capsys):
    card = pp.RateCard.load(RATES[1]).replace({"labour.technician": 61.0})
    asked = pp.Setting("two", pp.Kit.load(kit), card, "316L", 2, "2026-11-30", 1, "2027-02-01", 75.0)
    path, page = asked.save(tmp_path), tmp_path / "memo.html"
    found = pp.report.memo_of(pp.Setting.load(path), "mine")
    assert main(["memo", str(path), "--argument", "mine", "-o", str(page)]) == DONE
    assert capsys.readouterr().out.strip() == found.recommendation
    text = page.read_text(encoding="utf-8")
    assert found.question in text and found.recommendation in text and ">mine</p>" in text
    assert main(["compare", str(path), "--csv"]) == DONE
    rows = {row["what"]: row for row in csv.DictReader(io.StringIO(capsys.readouterr().out))}
    cost = found.failing[found.chosen].cost
    assert float(rows["job with failures [EUR]"][found.plan.title]) == pytest.approx(cost, abs=0.005)


def test_a_sweep_keeps_a_line_for_a_kit_that_cannot_be_read(kit, capsys):
    kit.with_name("broken.toml").write_text("name = 3", encoding="utf-8")
    assert main(["sweep", str(kit.parent), *RATES, "--start", "2026-11-30T08:00", "--csv"]) == DONE
    said = capsys.readouterr()
    rows = {row["kit"]: row for row in csv.DictReader(io.StringIO(said.out))}
    plans = pp.plan_all(pp.Job(pp.Kit.load(kit), "AlSi7Mg", start="2026-11-30T08:00"), pp.RateCard.load(RATES[1]))
    costs = {plan.title: pp.expected(plan).cost for plan in plans.values() if plan.feasible}
    assert rows["blocks.toml"]["best"] == min(costs, key=costs.get)
    assert float(rows["blocks.toml"]["a kit with failures [EUR]"]) == pytest.approx(min(costs.values()))
    assert rows["broken.toml"]["best"] == "" and rows["broken.toml"]["note"]
    assert "2 of 2 kits" in said.err


def test_mark_writes_the_sheet_that_the_library_writes_and_never_over_another(tmp_path, capsys):
    room, folder = pp.lessons.classroom(DEMO / "class.toml"), tmp_path / "handed_in"
    folder.mkdir()
    worked = dict(pp.lessons.exercise_named("modulus").question(room, "=ada").worked)
    hand_in = Answers(room.code, "=ada").plus([Event("2026-11-20T10:01:00+00:00", "modulus", worked)])
    (folder / "ada.json").write_text(hand_in.text(), encoding="utf-8")
    sheet = tmp_path / "marks.csv"
    command = ["mark", str(folder), "--class", str(DEMO / "class.toml"), "-o", str(sheet)]
    assert main(command) == DONE
    assert capsys.readouterr().out.split() == [str(sheet), str(tmp_path / "marks-reports.csv")]
    mine = sheet.read_text(encoding="utf-8")
    pp.lessons.mark(folder, DEMO / "class.toml").save(tmp_path / "own.csv")
    assert mine == (tmp_path / "own.csv").read_text(encoding="utf-8")
    (row,) = csv.DictReader(io.StringIO(mine))
    assert row["student"] == "'=ada" and row["modulus"], "a student's id is no formula"
    sheet.write_text("mine")
    assert main(command) == WRONG and sheet.read_text() == "mine"
    assert "is there already" in capsys.readouterr().err
    assert main([*command, "--replace"]) == DONE and sheet.read_text(encoding="utf-8") == mine


def test_no_cell_or_heading_of_a_csv_is_a_formula(tmp_path, capsys):
    mesh = tmp_path / "=cmd().stl"
    mesh.write_bytes(Path(MESH).read_bytes())
    assert main(["measure", str(mesh), "--csv"]) == DONE
    rows = [*csv.reader(io.StringIO(capsys.readouterr().out))]
    assert rows[0] == ["fact", "'=cmd()"]
    assert not any(cell.startswith(("=", "+", "@", "\t", "\r")) for row in rows for cell in row)


def test_a_client_in_inches_gets_a_memo_by_one_command(tmp_path, capsys):
    """A node of some two and a half inches, six pieces, a date three weeks off: one command."""
    mesh = tmp_path / "client.stl"
    trimesh.load_mesh(MESH).apply_scale(1 / 25.4).export(mesh)
    page = tmp_path / "memo.html"
    job = [str(mesh), "--unit", "inch", *RATES, "--quantity", "6", "--start", "2026-11-30", "--deadline", "2026-12-21"]
    assert main(["memo", *job, "-o", str(page)]) == DONE
    said = capsys.readouterr()
    assert said.out.startswith("Take ") and said.err.strip() == str(page) and said.out.strip() in page.read_text()
    inch, mm = pp.Part.from_mesh(mesh, "inch"), pp.Part.from_mesh(MESH)
    assert inch.volume_cm3 == pytest.approx(mm.volume_cm3, rel=1e-6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["measure", "absent.stl"], "absent.stl"),
        (["measure", MESH, "--unit", "ell"], "ell"),
        (["compare", MESH, "--start", "soon"], "soon"),
        (["compare", MESH], "--start"),
        (["compare", "absent.setting.toml"], "absent.setting.toml"),
        (["memo", "any.setting.toml", "--quantity", "0", "-o", "memo.html"], "leave --quantity out"),
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


def test_what_is_printed_is_utf_8_also_where_the_system_knows_ascii_alone():
    old = {**os.environ, "LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}
    done = subprocess.run([sys.executable, "-m", "pourprint", "measure", MESH], capture_output=True, env=old)
    assert done.returncode == DONE and "volume [cm³]" in done.stdout.decode("utf-8") and done.stderr == b""


def test_the_module_runs_as_a_command():
    done = subprocess.run([sys.executable, "-m", "pourprint", "measure", "absent.stl"], capture_output=True, text=True)
    assert done.returncode == WRONG and done.stderr.startswith("pourprint: ")


def test_many_kits_and_a_lab_that_is_seldom_open_are_compared(capsys, tmp_path):
    kit = str(DEMO / "rover_kit.toml")
    assert main(["compare", kit, *RATES, "--quantity", "101", "--start", "2026-12-01"]) == DONE
    card = (DEMO / "rates.toml").read_text(encoding="utf-8")
    (seldom := tmp_path / "seldom.toml").write_text(
        re.sub(r"(?m)^days = \[.*\]", 'days = ["Tue", "Wed"]', card), encoding="utf-8"
    )
    asked = ["--rates", str(seldom), "--start", "2026-12-01", "--price-of-day", "1", "--quantity", "4"]
    assert main(["memo", kit, "--alloy", "Ti-6Al-4V", *asked, "-o", str(tmp_path / "memo.html")]) == DONE
