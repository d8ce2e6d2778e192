"""Ceramic shells: coats, clusters, burn-out, hot shells."""
