"""Panels: controls -> model -> live figure. No model code inside."""
