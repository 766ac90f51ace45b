"""Draws the circuit table as KiCad files, and reads back what KiCad makes of them."""
