"""Strength: beams and loads of a frame, solid elements, material put where it is needed.

Results are estimates for teaching; none of them approves a joint. Qualified persons verify.
"""
