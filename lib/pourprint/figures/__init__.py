"""Plain data to plotly figures and HTML bars, one topic a module: one message a chart, said in its title."""

from pourprint.figures._look import HATCH, INK, KINDS, LOOKS, Chart
from pourprint.figures.bars import BARS_IN_WORDS, comparison_bars
from pourprint.figures.bars import STYLE as BARS_STYLE
from pourprint.figures.cautions import caution_box
from pourprint.figures.cluster import (
    cluster_picture,
    crack_chart,
    dimension_chart,
    drying_chart,
    firing_chart,
    hot_shell_chart,
    metal_chart,
)
from pourprint.figures.comparison import COMPARISON_IN_WORDS, comparison_data, comparison_figure
from pourprint.figures.part import part_picture, section_chart
from pourprint.figures.plan import plan_costs, plan_timeline
from pourprint.figures.plate import plate_picture
from pourprint.figures.printing import hours_chart, layer_chart, layer_times, orientation_map, roughness_chart
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
    "caution_box",
    "cluster_picture",
    "comparison_bars",
    "comparison_data",
    "comparison_figure",
    "crack_chart",
    "dimension_chart",
    "drying_chart",
    "firing_chart",
    "hot_shell_chart",
    "metal_chart",
    "hours_chart",
    "layer_chart",
    "layer_times",
    "orientation_map",
    "part_picture",
    "plan_costs",
    "plan_timeline",
    "plate_picture",
    "roughness_chart",
    "section_chart",
    "stage_matrix",
]
