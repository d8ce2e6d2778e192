"""Panels: controls → model → picture. No model code inside."""

# ruff: noqa: F401  what pp.panels offers

from pourprint.panels.compare import compare_panel
from pourprint.panels.fit import fit_panel
from pourprint.panels.four_questions import four_questions
from pourprint.panels.lighten import lighten_panel
from pourprint.panels.one_route import metal_panel, mould_panel, pattern_panel
from pourprint.panels.pouring import Film, pour_panel
from pourprint.panels.risk import risk_panel
