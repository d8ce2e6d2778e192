"""Time budgets of the pattern route; run with `pytest --benchmark-only -s tests/test_speed_pattern.py`."""

import itertools

import pourprint as pp
from pourprint.panels import one_route
from pourprint.process.shell.clusters import Seat
from pourprint.process.shell.coats import Bend
from scenes import demo_kit, demo_rates


def fastest(benchmark, what, call, *args):
    found = benchmark(call, *args)
    print(f"\n{what}: {1e3 * benchmark.stats['min']:.1f} ms (median {1e3 * benchmark.stats['median']:.1f})")
    return found, benchmark.stats["min"]


def test_a_plan_of_a_mixed_kit_takes_less_than_4_ms(benchmark):
    job = pp.Job(demo_kit(), "AlSi7Mg", 4, 4)
    found, seconds = fastest(benchmark, "pattern route, seven parts", pp.plan, "printed_pattern", job, demo_rates())
    assert found.unit_cost > 0 and seconds < 0.004


def test_a_slider_step_takes_less_than_10_ms_of_model(benchmark):
    """The design's budget for the model's part of a slider: plan, costs, days, and the table beside them."""
    humidity = itertools.cycle(range(40, 61))

    def step():
        rates = demo_rates().replace({"shell.humidity": float(next(humidity))})
        plan = pp.plan("printed_pattern", pp.Job(demo_kit(), "AlSi7Mg", 2), rates)
        return plan.unit_cost, plan.lead_time_days, one_route._pattern_facts(plan)

    _, seconds = fastest(benchmark, "slider step", step)
    assert seconds < 0.01


def test_laying_out_a_hundred_kits_takes_less_than_20_ms(benchmark):
    sizes = pp.ShellSizes(pp.Job(demo_kit(), "AlSi7Mg"), demo_rates())
    clusters, seconds = fastest(benchmark, "100 kits hung", sizes.hang, 100)
    assert sum(ring.count for cluster in clusters for ring in cluster) == 100 * demo_kit().nodes
    assert seconds < 0.02


def test_studies_of_a_fine_mesh_take_less_than_400_ms(benchmark):
    import trimesh

    ball = trimesh.creation.icosphere(6, 30.0)  # 81 920 facets
    _, seconds = fastest(
        benchmark,
        "bend and seat of 82 000 facets",
        lambda: [s.measured(ball.vertices, ball.faces) for s in (Bend, Seat)],
    )
    assert seconds < 0.4
