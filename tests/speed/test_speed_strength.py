"""Time budgets of the frame's models; run with `pytest --benchmark-only tests/speed/test_speed_strength.py`."""

import time

import pytest

from pourprint.parts.frame import Frame
from pourprint.process.strength.beam_lesson import lighten_beam
from pourprint.process.strength.lighten import Task, lighten
from pourprint.process.strength.loads import frame_loads
from scenes import DEMO


def test_a_frame_of_18_tubes_in_12_cases_takes_less_than_0_2_s(benchmark):
    frame = Frame.load(DEMO / "rover_frame.toml")
    benchmark.pedantic(frame_loads, (frame,), rounds=5, warmup_rounds=1)
    assert benchmark.stats["median"] < 0.2


def test_the_beam_of_60_by_20_cells_takes_less_than_2_s(benchmark):
    benchmark.pedantic(lambda: list(lighten_beam(60, 20)), rounds=2, warmup_rounds=1)
    assert benchmark.stats["min"] < 2


@pytest.mark.benchmark
def test_a_node_of_18_000_cells_is_lightened_in_less_than_120_s(benchmark):
    frame = Frame.load(DEMO / "rover_frame.toml")
    task = Task.of(frame, frame_loads(frame), "rocker_pivot")

    def search():
        begun = time.process_time()
        *_, last = lighten(task, 0.75, 2.0, iterations=50)
        return time.process_time() - begun, last

    spent, last = benchmark.pedantic(search, rounds=1)
    assert last.volume_cm3 < 55
    assert spent < 120
