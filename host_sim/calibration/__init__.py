"""Calibrations that are worked out at the desk."""
