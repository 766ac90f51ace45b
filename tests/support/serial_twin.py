"""A twin at the other end of a serial line, in real time: what a board on a cable is."""

from __future__ import annotations

import os
import pty
import threading
import time
import tty
from contextlib import contextmanager

from host_sim.panel.live_twin import LiveTwin
from host_sim.twin.operated import STEP_US


class PtyStream:
    """The board's end of the line, a stream as app/link.py wants it."""

    def __init__(self, descriptor):
        self._descriptor = descriptor
        os.set_blocking(descriptor, False)

    def read(self, limit):
        try:
            return os.read(self._descriptor, limit)
        except BlockingIOError:
            return None

    def write(self, data):
        try:
            return os.write(self._descriptor, data)
        except BlockingIOError:
            return None


@contextmanager
def serial_twin(scenario):
    """A twin that lives in a thread, and the name of the serial port that it is at."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    twin = LiveTwin(scenario)
    twin.wire_link(PtyStream(ours))
    over = threading.Event()

    def live():
        began_s = time.monotonic()
        while not over.is_set():
            while twin.now_s < time.monotonic() - began_s:
                twin.step()
            over.wait(STEP_US * 1e-6)

    thread = threading.Thread(target=live, daemon=True)
    thread.start()
    try:
        yield twin, os.ttyname(theirs)
    finally:
        over.set()
        thread.join()
        os.close(ours)
        os.close(theirs)
