"""Measuring procedures: calibrations and tests as small state machines (see procedure.py).

The states are here, because a board looks at them in every tick and loads the rest when it is
needed.
"""

RUNNING = 0
DONE = 1
STOPPED = 2  # by a person, the master switch or the end of the bench
FAILED = 3  # the measurement makes no sense; reason says why
STATE_NAMES = ("running", "done", "stopped", "failed")
