"""Plain data to plotly figures and HTML bars, one topic a module: one message a chart, said in its title."""

from pourprint.figures.bars import BARS_IN_WORDS, comparison_bars
from pourprint.figures.bars import STYLE as BARS_STYLE
from pourprint.figures.carbon import footprint_chart
from pourprint.figures.cautions import caution_box, caution_table
from pourprint.figures.cluster import cluster_picture
from pourprint.figures.comparison import COMPARISON_IN_WORDS, comparison_data, comparison_figure, comparison_range
from pourprint.figures.decide import map_chart, sureness_chart
from pourprint.figures.freezing import freezing_curves, freezing_picture, freezing_slices
from pourprint.figures.gating import gating_sketch
from pourprint.figures.lab import belief_chart, die_chart, learning_chart, repeats_chart, workshop_chart
from pourprint.figures.look import HATCH, INK, KINDS, LOOKS, Chart
from pourprint.figures.mix import assignment_chart, frontier_chart
from pourprint.figures.mould import job_boxes, mould_table, opened_mould, parting_map, sand_bars
from pourprint.figures.part import part_picture, section_chart
from pourprint.figures.plan import plan_costs, plan_timeline
from pourprint.figures.plate import plate_picture
from pourprint.figures.printing import hours_chart, layer_chart, layer_times, orientation_map, roughness_chart
from pourprint.figures.risk import chance_chart, design_error_chart, failures_chart, spread_chart
from pourprint.figures.sensitivity import information_chart, sobol_chart, tornado_chart
from pourprint.figures.shelling import (
    crack_chart,
    dimension_chart,
    drying_chart,
    firing_chart,
    hot_shell_chart,
    metal_chart,
)
from pourprint.figures.stages import stage_matrix

__all__ = [
    "BARS_IN_WORDS",
    "BARS_STYLE",
    "COMPARISON_IN_WORDS",
    "HATCH",
    "INK",
    "KINDS",
    "LOOKS",
    "Chart",
    "assignment_chart",
    "belief_chart",
    "caution_box",
    "caution_table",
    "chance_chart",
    "cluster_picture",
    "comparison_bars",
    "comparison_data",
    "comparison_figure",
    "comparison_range",
    "crack_chart",
    "design_error_chart",
    "die_chart",
    "dimension_chart",
    "drying_chart",
    "failures_chart",
    "firing_chart",
    "footprint_chart",
    "freezing_curves",
    "freezing_picture",
    "freezing_slices",
    "frontier_chart",
    "gating_sketch",
    "hot_shell_chart",
    "hours_chart",
    "information_chart",
    "job_boxes",
    "layer_chart",
    "layer_times",
    "learning_chart",
    "map_chart",
    "metal_chart",
    "mould_table",
    "opened_mould",
    "orientation_map",
    "part_picture",
    "parting_map",
    "plan_costs",
    "plan_timeline",
    "plate_picture",
    "repeats_chart",
    "roughness_chart",
    "sand_bars",
    "section_chart",
    "sobol_chart",
    "spread_chart",
    "stage_matrix",
    "sureness_chart",
    "tornado_chart",
    "workshop_chart",
]
