"""Measuring procedures: calibrations and tests as small state machines (see procedure.py)."""
