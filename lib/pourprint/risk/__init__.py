"""Risk: yields, the legs of rework, runs with failures, and the same in closed form.

May import from all rooms from ledger to routes.
"""
