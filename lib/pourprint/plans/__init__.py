"""Plans: steps and the work in them, jobs, the plan that costs and dates them, orders in a workshop, cautions.

May import from ledger, parts and process.
"""
