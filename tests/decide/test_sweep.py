"""Sweeps: the same numbers in one piece, in chunks and on a cluster; stopped or killed, and taken up again."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from pourprint.decide.sweep import Stopped, sweep
from pourprint.ledger.errors import InputError
from scenes import EachPrinted, catalogue, demo_rates


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
    cases, ask = catalogue(40), EachPrinted(demo_rates())
    found = sweep(ask, cases, chunk=16)
    for i in range(0, 40, 3):
        alone = ask({name: array[i] for name, array in cases.items()})
        assert (found["unit_cost"][i], found["days"][i]) == pytest.approx((alone["unit_cost"], alone["days"]))


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
    cases, ask = catalogue(300), EachPrinted(demo_rates())
    alone = sweep(ask, cases, chunk=50)
    same(alone, sweep(ask, cases, chunk=50, client=client))
    client.cluster.scale(2)
    client.wait_for_workers(2)
    same(alone, sweep(ask, cases, chunk=50, client=client))


def test_a_sweep_begun_alone_goes_on_on_a_cluster(client, tmp_path):
    cases, ask = catalogue(200), EachPrinted(demo_rates())
    seen = []
    with pytest.raises(Stopped):
        sweep(ask, cases, 40, tmp_path, progress=lambda done, _: seen.append(done), stop=lambda: seen[-1] == 2)
    same(sweep(ask, cases, 40, tmp_path, client=client), sweep(ask, cases, 40))


def test_a_fault_on_a_worker_is_told_as_here(client):
    broken = {**catalogue(20), "volume_cm3": np.full(20, 1e6)}
    for where in (None, client):
        with pytest.raises(InputError, match="does not fit in"):
            sweep(EachPrinted(demo_rates()), broken, 10, client=where)


# Watch, stop, go on -----------------------------------------------------------------------------------


def test_progress_counts_chunks():
    seen = []
    sweep(squares, CASES, chunk=4, progress=lambda done, chunks: seen.append((done, chunks)))
    assert seen == [(0, 3), (1, 3), (2, 3), (3, 3)]


@dataclass(frozen=True)
class Noted:
    """`squares` that notes its calls in a file."""

    notes: Path

    def __call__(self, cases):
        with self.notes.open("a") as file:
            file.write("asked\n")
        return squares(cases)

    @property
    def asked(self):
        return len(self.notes.read_text().splitlines())


def test_a_stopped_sweep_goes_on_where_it_stopped(tmp_path):
    noted, done = Noted(tmp_path / "notes"), []
    with pytest.raises(Stopped, match="3 of 5 chunks; call again"):
        sweep(noted, CASES, 2, tmp_path, progress=lambda n, _: done.append(n), stop=lambda: done[-1] == 3)
    assert noted.asked == 3
    same(sweep(noted, CASES, 2, tmp_path), sweep(squares, CASES))
    assert noted.asked == 5  # the two that were missing


def test_a_stopped_sweep_without_a_folder_says_that_its_chunks_are_gone():
    with pytest.raises(Stopped, match="give a folder"):
        sweep(squares, CASES, 2, stop=lambda: True)


SLOW = """
import sys, time
from pathlib import Path
import numpy as np
from pourprint.decide.sweep import sweep

def slow(cases):
    with Path(sys.argv[1], "notes").open("a") as file:
        print(cases["x"][0], file=file)
    time.sleep(0.1)
    return np.sin(cases["x"])

print(sweep(slow, {"x": np.linspace(0, 9, 200)}, chunk=10, folder=sys.argv[1])["result"].sum())
"""


def test_a_killed_sweep_goes_on_and_gives_the_same_numbers(tmp_path):
    command, notes = [sys.executable, "-c", SLOW, str(tmp_path)], tmp_path / "notes"
    running = subprocess.Popen(command)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and running.poll() is None:
        if notes.exists() and len(notes.read_text().splitlines()) > 4:
            break
        time.sleep(0.02)
    os.kill(running.pid, signal.SIGKILL)
    assert running.wait() == -signal.SIGKILL
    before = len(notes.read_text().splitlines())
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert float(done.stdout) == pytest.approx(np.sin(np.linspace(0, 9, 200)).sum(), rel=1e-12)
    # Only the chunk that was under way when it was killed may be asked twice.
    assert 20 <= len(notes.read_text().splitlines()) <= 21 and 5 <= before < 20


def test_a_half_written_chunk_counts_as_not_there(tmp_path):
    sweep(squares, CASES, 2, tmp_path)
    damaged = min(tmp_path.rglob("output.pkl"))
    damaged.write_bytes(damaged.read_bytes()[:40])
    same(sweep(squares, CASES, 2, tmp_path), sweep(squares, CASES, 2))


# Another study ----------------------------------------------------------------------------------------


def cubes(cases):
    return {"square": cases["x"] ** 3, "text": cases["name"]}


@pytest.mark.parametrize("changes", [{"cases": {**CASES, "x": CASES["x"] + 1e-9}}, {"function": cubes}, {"chunk": 5}])
def test_another_study_in_the_same_folder_finds_nothing_of_this_one(changes, tmp_path):
    given = {"function": squares, "cases": CASES, "chunk": 2}
    whole = sweep(**given, folder=tmp_path)
    same(sweep(**given | changes, folder=tmp_path), sweep(**given | changes))
    same(sweep(**given, folder=tmp_path), whole)


def test_other_rates_in_the_same_function_are_another_study(tmp_path):
    cases, dearer = catalogue(20), demo_rates().replace({"labour.technician": 39.0})
    one, other = (sweep(EachPrinted(card), cases, 10, tmp_path) for card in (demo_rates(), dearer))
    same(other, sweep(EachPrinted(dearer), cases))
    assert (other["unit_cost"] >= one["unit_cost"]).all()


@pytest.mark.filterwarnings("ignore:Unable to write")
def test_a_folder_that_cannot_be_used_is_said(tmp_path):
    (tmp_path / "thesis.txt").write_text("keep me")
    with pytest.raises(InputError, match="cannot be used"):
        sweep(squares, CASES, 2, tmp_path / "thesis.txt")
    assert (tmp_path / "thesis.txt").read_text() == "keep me"


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
