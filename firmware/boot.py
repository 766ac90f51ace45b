"""Runs first after every reset: every output to its safe level, before anything else."""

from boards.safe_outputs import outputs_off, pins_of

outputs_off(pins_of())

import micropython  # noqa: E402  nothing comes before the outputs

micropython.alloc_emergency_exception_buf(100)  # an interrupt cannot allocate its traceback
