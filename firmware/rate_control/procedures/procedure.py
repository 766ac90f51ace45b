"""What all measuring procedures share.

A procedure is made by the application, handed to Controller.procedure and stepped once a tick
after the interlock, without allocating. It proposes settings when it is done and changes none:
the application shows the proposal beside the present values and applies it only when a person
confirms. A procedure that NEEDS_BENCH gives the duty while the bench is on; it stops when the
bench ends, so the master switch ends it at any moment.
"""

RUNNING = 0
DONE = 1
STOPPED = 2  # by a person, the master switch or the end of the bench
FAILED = 3  # the measurement makes no sense; reason says why
STATE_NAMES = ("running", "done", "stopped", "failed")


class Procedure:
    """Base of all procedures.

    NAME is the word used by the link and the command line. state is one of the constants above,
    reason a fixed text for a person. duty_u16 and valve_pulse_ms are what it drives.
    """

    NAME = ""
    NEEDS_BENCH = 0

    def __init__(self):
        self.state = RUNNING
        self.reason = ""
        self.duty_u16 = 0
        self.valve_pulse_ms = 0

    def step(self, measured, decided):
        """Take one tick: the records as the controller filled them (see records.py)."""
        raise NotImplementedError

    def stop(self):
        """End it without a result."""
        if self.state == RUNNING:
            self.finish(STOPPED, "stopped")

    def finish(self, state, reason):
        """End in a state, with the outputs of the procedure at rest."""
        self.state = state
        self.reason = reason
        self.duty_u16 = 0
        self.valve_pulse_ms = 0

    def proposal(self):
        """Return the settings it proposes, a dict by name, empty unless done; it allocates."""
        return {}

    def facts(self):
        """Return what was measured as a list of (name, value, unit); it allocates."""
        return []
