"""Sweeps: the same numbers in one piece, in chunks and on a cluster; stopped or killed, and taken up again."""

import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

import pourprint as pp
from pourprint.decide.sweep import Catalogue, Stopped, print_bar, sweep
from pourprint.ledger.errors import InputError
from scenes import demo_rates


def parts(n, seed=1):
    """Invented parts by their numbers, n of them, some too large for a machine."""
    rng = np.random.default_rng(seed)
    box = rng.uniform(30, 340, (3, n))
    volume = box.prod(axis=0) / 1000 * rng.uniform(0.05, 0.3, n)
    area = (36 * np.pi) ** (1 / 3) * volume ** (2 / 3) * rng.uniform(1.5, 3, n)
    return {"volume_cm3": volume, "area_cm2": area, **{f"box_{a}_mm": side for a, side in zip("xyz", box, strict=True)}}


def squares(cases):
    return {"square": cases["x"] ** 2, "text": np.char.add(cases["name"], "!")}


CASES = {"x": np.arange(10.0), "name": np.array([f"case {i}" for i in range(10)])}


def same(one, other):
    assert one.keys() == other.keys()
    for name in one:
        np.testing.assert_array_equal(one[name], other[name])


# Numbers ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chunk", [1, 3, 10, 1000])
def test_chunks_make_no_difference(chunk):
    found = sweep(squares, CASES, chunk=chunk)
    assert found["square"].tolist() == (np.arange(10.0) ** 2).tolist() and found["text"][9] == "case 9!"


def test_a_lone_array_is_named_result():
    assert sweep(lambda cases: 2 * cases["x"], {"x": [1, 2, 3]}, chunk=2)["result"].tolist() == [2, 4, 6]


def test_a_catalogue_is_its_parts_planned_one_by_one():
    cases, ask = parts(40), Catalogue(quantity=3, rates=demo_rates())
    found = sweep(ask, cases, chunk=16)
    infeasible = 0
    for i in range(0, 40, 3):
        box = tuple(cases[f"box_{axis}_mm"][i] for axis in "xyz")
        part = pp.Part.from_numbers("one", cases["volume_cm3"][i], cases["area_cm2"][i], box)
        for route, plan in pp.plan_all(pp.Job(part, "AlSi7Mg", 3), demo_rates()).items():
            expected = (plan.unit_cost, plan.lead_time_days) if plan.feasible else (np.inf, np.inf)
            infeasible += not plan.feasible
            assert (found[f"unit_cost {route}"][i], found[f"days {route}"][i]) == pytest.approx(expected)
    assert 3 < infeasible < 40


@pytest.fixture(scope="module")
def client():
    """A client of one worker process, to which a test may add another."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0") as cluster,
        Client(cluster) as one,
    ):
        yield one


def test_a_cluster_of_one_or_two_workers_gives_the_same_numbers(client):
    cases, ask = parts(300), Catalogue(rates=demo_rates())
    alone = sweep(ask, cases, chunk=50)
    same(alone, sweep(ask, cases, chunk=50, client=client))
    client.cluster.scale(2)
    client.wait_for_workers(2)
    same(alone, sweep(ask, cases, chunk=50, client=client))


def test_a_sweep_begun_alone_goes_on_on_a_cluster(client, tmp_path):
    cases, ask = parts(200), Catalogue(rates=demo_rates())
    seen = []
    with pytest.raises(Stopped):
        sweep(ask, cases, 40, tmp_path, progress=lambda done, _: seen.append(done), stop=lambda: seen[-1] == 2)
    same(sweep(ask, cases, 40, tmp_path, client=client), sweep(ask, cases, 40))


def test_a_fault_on_a_worker_is_told_as_here(client):
    broken = {**parts(20), "volume_cm3": np.full(20, 1e6)}
    for where in (None, client):
        with pytest.raises(InputError, match="does not fit in"):
            sweep(Catalogue(), broken, 10, client=where)


# Watch, stop, go on -----------------------------------------------------------------------------------


def test_progress_counts_chunks(capsys):
    seen = []
    sweep(squares, CASES, chunk=4, progress=lambda done, chunks: seen.append((done, chunks)))
    assert seen == [(0, 3), (1, 3), (2, 3), (3, 3)]
    sweep(squares, CASES, chunk=4, progress=print_bar)
    assert capsys.readouterr().out.endswith("[##############################] 3 of 3 chunks\n")


class Counted:
    """`squares` that counts its calls."""

    def __init__(self):
        self.chunks = 0

    def __call__(self, cases):
        self.chunks += 1
        return squares(cases)


def test_a_stopped_sweep_goes_on_where_it_stopped(tmp_path):
    first, done = Counted(), []
    with pytest.raises(Stopped, match="3 of 5 chunks; call again"):
        sweep(first, CASES, 2, tmp_path, progress=lambda n, _: done.append(n), stop=lambda: done[-1] == 3)
    assert first.chunks == 3
    again = Counted()
    same(sweep(again, CASES, 2, tmp_path), sweep(squares, CASES))
    assert again.chunks == 2 + 1  # the two that were missing, and the first once more to see that it is the same


def test_a_stopped_sweep_without_a_folder_says_that_its_chunks_are_gone():
    with pytest.raises(Stopped, match="give a folder"):
        sweep(squares, CASES, 2, stop=lambda: True)


SLOW = """
import sys, time
import numpy as np
from pourprint.decide.sweep import sweep

def slow(cases):
    time.sleep(0.15)
    return np.sin(cases["x"])

sweep(slow, {"x": np.linspace(0, 9, 200)}, chunk=10, folder=sys.argv[1])
"""


def slow(cases):
    return np.sin(cases["x"])


def test_a_killed_sweep_goes_on_and_gives_the_same_numbers(tmp_path):
    folder = tmp_path / "chunks"
    running = subprocess.Popen([sys.executable, "-c", SLOW, str(folder)])
    deadline = time.monotonic() + 60
    while len(list(folder.glob("chunk_*.npz"))) < 4 and time.monotonic() < deadline and running.poll() is None:
        time.sleep(0.02)
    os.kill(running.pid, signal.SIGKILL)
    assert running.wait() == -signal.SIGKILL
    finished = {path: path.stat().st_mtime_ns for path in folder.glob("chunk_*.npz")}
    assert 4 <= len(finished) < 20
    cases = {"x": np.linspace(0, 9, 200)}
    same(sweep(slow, cases, 10, folder), sweep(slow, cases, 10))
    assert all(path.stat().st_mtime_ns == when for path, when in finished.items())


def test_a_half_written_chunk_counts_as_not_there(tmp_path):
    sweep(squares, CASES, 2, tmp_path)
    damaged = tmp_path / "chunk_000003.npz"
    damaged.write_bytes(damaged.read_bytes()[:100])
    (tmp_path / "chunk_000004.1.part").write_bytes(b"killed while writing")
    same(sweep(squares, CASES, 2, tmp_path), sweep(squares, CASES, 2))
    with np.load(damaged) as mended:
        assert mended["square"].tolist() == [36, 49]


# Another study ----------------------------------------------------------------------------------------


def cubes(cases):
    return {"square": cases["x"] ** 3, "text": cases["name"]}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"cases": {**CASES, "x": CASES["x"] + 1e-9}}, "its cases differ"),
        ({"cases": {"x": CASES["x"], "name": CASES["name"], "z": CASES["x"]}}, "its cases differ"),
        ({"function": cubes}, "its function differ"),
        ({"chunk": 5}, "its chunk differ"),
        ({"about": "rates of December"}, "its about differ"),
    ],
)
def test_chunks_of_another_study_are_refused_not_mixed(changes, said, tmp_path):
    given = {"function": squares, "cases": CASES, "chunk": 2, "folder": tmp_path, "about": "rates of November"}
    whole = sweep(**given)
    with pytest.raises(InputError, match=said):
        sweep(**given | changes)
    same(sweep(**given), whole)


def test_other_rates_in_the_same_function_are_found_out(tmp_path):
    cases = parts(20)
    sweep(Catalogue(rates=demo_rates()), cases, 10, tmp_path)
    dearer = demo_rates().replace({"labour.technician": 39.0})
    with pytest.raises(InputError, match="comes out different today"):
        sweep(Catalogue(rates=dearer), cases, 10, tmp_path)


def test_a_folder_with_other_files_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("keep me")
    with pytest.raises(InputError, match="holds other files"):
        sweep(squares, CASES, 2, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]
    with pytest.raises(InputError, match="cannot be used"):
        sweep(squares, CASES, 2, tmp_path / "thesis.txt")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "study.json").write_text("{")
    with pytest.raises(InputError, match="cannot be used"):
        sweep(squares, CASES, 2, tmp_path / "other")


def test_the_study_is_told_in_plain_text(tmp_path):
    sweep(partial(squares), CASES, 2, tmp_path, about="the demo")
    told = json.loads(Path(tmp_path, "study.json").read_text())
    assert (told["function"], told["chunk"], told["about"]) == ("squares", "2", "the demo")


# Refusals ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cases", "said"),
    [
        ({}, "at least one name"),
        ([1, 2], "at least one name"),
        ({"x": [1, 2], "y": [1]}, "one length"),
        ({"x": 1.0}, "one length"),
        ({"x": []}, "one length"),
        ({"x": np.array([{}, None])}, "numbers or text"),
    ],
)
def test_cases_that_are_no_table_are_refused(cases, said):
    with pytest.raises(InputError, match=said):
        sweep(squares, cases)


def test_results_that_are_not_one_a_case_are_refused():
    for wrong in (lambda cases: 1.0, lambda cases: cases["x"][:-1], lambda cases: {}):
        with pytest.raises(InputError, match="one entry a case"):
            sweep(wrong, CASES, 5)
