"""Plain data to plotly figures, one topic a module: one message a chart, said in its title."""

from pourprint.figures._look import HATCH, INK, KINDS, LOOKS, Chart
from pourprint.figures.comparison import COMPARISON_IN_WORDS, comparison_data, comparison_figure
from pourprint.figures.part import part_picture, section_chart
from pourprint.figures.stages import stage_matrix

__all__ = [
    "COMPARISON_IN_WORDS",
    "HATCH",
    "INK",
    "KINDS",
    "LOOKS",
    "Chart",
    "comparison_data",
    "comparison_figure",
    "part_picture",
    "section_chart",
    "stage_matrix",
]
