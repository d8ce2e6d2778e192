"""Panels: controls -> model -> live figure. No model code inside."""

from pourprint.panels.compare import compare_panel

__all__ = ["compare_panel"]
