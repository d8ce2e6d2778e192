"""The ledger: every number with its range, unit, pedigree and source; alloys, rate card, calendar.

Imports nothing of the other rooms.
"""
