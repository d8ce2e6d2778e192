"""Panels: controls → model → picture. No model code inside."""

from pourprint.panels.compare import compare_panel
from pourprint.panels.fit import fit_panel
from pourprint.panels.four_questions import four_questions
from pourprint.panels.lighten import lighten_panel
from pourprint.panels.metal import metal_panel
from pourprint.panels.mould import mould_panel
from pourprint.panels.pattern import pattern_panel
from pourprint.panels.pouring import Film, plan_with, pour_panel
from pourprint.panels.risk import risk_panel

__all__ = [
    "Film",
    "compare_panel",
    "fit_panel",
    "four_questions",
    "lighten_panel",
    "metal_panel",
    "mould_panel",
    "pattern_panel",
    "plan_with",
    "pour_panel",
    "risk_panel",
]
