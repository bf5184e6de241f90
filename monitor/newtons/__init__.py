"""Counts to newtons: calibrations, load curves on disk, load blocks."""
