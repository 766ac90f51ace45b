"""The CAN chip of the twin for tests on every interpreter, and an application around it."""

import sys

if sys.implementation.name == "micropython":  # host_sim is a package for CPython alone
    sys.path.append("host_sim/twin")
    _chip = __import__("can_chip")
    sys.path.pop()
    CanChip, can_frame = _chip.CanChip, _chip.can_frame
else:
    from host_sim.twin.can_chip import CanChip, can_frame

from app.can_receiver import PERIOD_MS, fit
from rate_control.intmath import LIMIT
from rate_control.records import Inputs
from rate_control.settings import build


class Jobs:
    """Keeps the only job."""

    def __init__(self):
        self.run = None

    def add(self, name, period_ms, run):
        """See app.jobs."""
        assert (name, period_ms) == ("CAN", PERIOD_MS)
        self.run = run


class CanRig:
    """What the receiver needs of an application and its board; time goes on with every poll."""

    def __init__(self, can_use, chip=None, **settings):
        settings["can_use"] = can_use
        self.settings, problems = build(settings)
        assert problems == []
        self.chip = chip or CanChip()
        self.time_us = LIMIT - 3000000
        self.inputs = Inputs()
        self.notes = []
        self.jobs = Jobs()
        self.position = None
        self.controller = self.board = self

    def fit(self):
        """Load the part, and let it start."""
        fit(self)
        return self

    def can_port(self):
        """See Board."""
        return self.chip

    def now_us(self):
        """See Board."""
        return self.time_us

    def poll(self, times=1, period_us=PERIOD_MS * 1000):
        """Let so many periods pass."""
        for _ in range(times):
            self.time_us = (self.time_us + period_us) & LIMIT
            self.jobs.run()

    def hear(self, pgn, data, sender=0x1C):
        """Let a message pass on the bus, and the receiver be polled."""
        self.chip.hear(*can_frame(pgn, data, sender))
        self.poll()

    def told(self):
        """Return count, trust and speed of what was reported."""
        report = self.inputs.reports[0]
        return report.count, report.trusted, report.speed_mm_s
