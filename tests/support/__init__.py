"""Helpers shared by the host tests."""
