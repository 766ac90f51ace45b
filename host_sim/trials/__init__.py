"""Machines and controllers put to the test: set-up, tuning, acceptance, campaigns, faults."""
