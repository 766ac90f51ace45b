"""A simulated machine as an FMI 2.0 co-simulation unit, for controllers in other tools.

`simulated_machine` is the unit itself, `packing` makes the file of it.
"""
