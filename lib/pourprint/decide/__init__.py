"""Decide: which route, when, and what turns the answer: comparison, map, sensitivity, mixes, carbon.

May import from all rooms from ledger to risk.
"""
