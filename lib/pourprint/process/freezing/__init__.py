"""Freezing: voxels, an enthalpy method, section moduli and hot spots."""
