"""Finishing: tolerances, gaps, machining."""
