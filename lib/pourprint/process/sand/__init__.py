"""Printed sand: parting and cores, blocks, gating, feeders."""
