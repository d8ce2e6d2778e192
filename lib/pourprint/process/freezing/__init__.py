"""Freezing: voxels, an enthalpy method, section moduli."""
