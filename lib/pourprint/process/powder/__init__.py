"""Powder bed: turning, supports, nesting, exposure."""
