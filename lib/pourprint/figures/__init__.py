"""Plain data to plotly figures, HTML bars and tables, one message a chart, said in its title.

A module is named after the route or the model that it draws; `strokes`, `look`, `solids`, `bars`, `tables` are shared.
It may import from every room but panels, lessons and report.
"""

# ruff: noqa: F401  what notebooks and panels ask for as pp.figures.*
from pourprint.figures.bars import comparison_bars
from pourprint.figures.bridge import bridge_chart
from pourprint.figures.carbon import footprint_chart
from pourprint.figures.cautions import caution_box, caution_table
from pourprint.figures.compare import COMPARISON_IN_WORDS, comparison_data, comparison_figure, comparison_range
from pourprint.figures.frame import frame_picture
from pourprint.figures.information import information_chart, sureness_chart
from pourprint.figures.joints import fit_chart, shear_chart
from pourprint.figures.lab_log import belief_chart
from pourprint.figures.learning import die_chart, learning_chart, repeats_chart
from pourprint.figures.lighten import beam_picture, gram_chart, search_chart, stiffness_chart
from pourprint.figures.look import HATCH, LOOKS, Chart, title_of
from pourprint.figures.map import map_chart
from pourprint.figures.mix import assignment_chart, frontier_chart
from pourprint.figures.orders import workshop_chart
from pourprint.figures.part import findings_picture, part_picture, section_chart
from pourprint.figures.plan import plan_costs, plan_timeline
from pourprint.figures.pouring import feeding_slices, filling_slices, look_table, pour_picture, pour_still, pour_table
from pourprint.figures.printed_metal import layer_chart, layer_times, orientation_map, plate_picture, roughness_chart
from pourprint.figures.printed_mould import gating_sketch, job_boxes, mould_table, opened_mould, parting_map, sand_bars
from pourprint.figures.printed_pattern import (
    cluster_picture,
    crack_chart,
    dimension_chart,
    drying_chart,
    firing_chart,
    hot_shell_chart,
    metal_chart,
)
from pourprint.figures.sensitivity import sobol_chart, tornado_chart
from pourprint.figures.simulation import chance_chart, design_error_chart, failures_chart, spread_chart
from pourprint.figures.stages import stage_matrix
from pourprint.figures.tables import table_html
