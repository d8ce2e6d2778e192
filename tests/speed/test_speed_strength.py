"""Time budgets of the frame's models; run with `pytest --benchmark-only tests/speed/test_speed_strength.py`."""

from pourprint.parts.frame import Frame
from pourprint.process.strength.loads import frame_loads
from scenes import DEMO


def test_a_frame_of_18_tubes_in_12_cases_takes_less_than_0_2_s(benchmark):
    frame = Frame.load(DEMO / "rover_frame.toml")
    benchmark.pedantic(frame_loads, (frame,), rounds=5, warmup_rounds=1)
    assert benchmark.stats["median"] < 0.2
