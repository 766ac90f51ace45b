"""What the host asks of the rig, and what it is told: lines of JSON over the console.

| line from the host | answer |
| --- | --- |
| `{"do": "hello"}` | `{"rig": VERSION, "step_us": ...}` |
| `{"do": "load", "plant": ..., "speed": ..., "switches": ...}` | `{"ok": "load"}` |
| `{"do": "start"}` | `{"ok": "start"}`, rows of truth, at the end `{"over": ...}` |
| `{"do": "rest"}` | `{"ok": "rest"}`; all contacts open, no pulses |

A row is a list; `Rig._row` says what it holds. With `over`, the milliseconds of the run, come the
longest that a step was late, `late_us`, and how many rows were lost to a host that did not read.
What cannot be done is `{"error": ...}`.
"""

import json

from bench_rig.rig import STEP_US, Rig

VERSION = 1
READ_BYTES = 256
LONGEST = 16_384  # of a line
WAITING_MOST = 8192  # bytes for a host that does not read: then rows are lost, and counted


class RigProgram:
    """port as in rig.py, with rest() besides; stream has read() and write() that never wait."""

    def __init__(self, port, stream):
        self.rig = None
        self.running = False
        self.late_us = 0
        self._port = port
        self._stream = stream
        self._task = None
        self._line = bytearray()
        self._leaving = bytearray()
        self._lost = 0
        port.rest()

    def poll(self):
        """Take what the host has sent, and send what waits."""
        self._send()
        data = self._stream.read(READ_BYTES)
        if not data:
            return
        self._line.extend(bytes(data))
        while True:
            end = self._line.find(b"\n")
            if end < 0:
                break
            line = bytes(self._line[:end])
            self._line = bytearray(self._line[end + 1:])
            if line.strip():
                self.tell(self._answer(line))
        if len(self._line) > LONGEST:
            self._line = bytearray()
            self.tell({"error": "a line is longer than %d" % LONGEST})

    def _answer(self, line):
        try:
            asked = json.loads(line)
            do = asked["do"]
        except (ValueError, KeyError, TypeError):
            return {"error": "no request: a line of JSON with do"}
        if do == "hello":
            return {"rig": VERSION, "step_us": STEP_US}
        if do == "load":
            return self._load(asked)
        if do == "start":
            return self._start()
        if do == "rest":
            self.rest()
            return {"ok": do}
        return {"error": "no such request: %s" % str(do)[:40]}

    def _load(self, asked):
        self.rest()
        try:
            self.rig = Rig(self._port, asked)
        except (KeyError, IndexError, ValueError, TypeError, ZeroDivisionError) as error:
            self._task = self.rig = None
            return {"error": "load: %s %s" % (type(error).__name__, error)}
        self._task = asked
        return {"ok": "load"}

    def _start(self):
        if self._task is None:
            return {"error": "start: nothing is loaded"}
        self.rig = Rig(self._port, self._task)
        self.late_us = self._lost = 0
        self.running = True
        return {"ok": "start"}

    def step(self, late_us):
        """Run one step, which was due so long ago; at the end of the course all contacts open."""
        self.late_us = max(self.late_us, late_us)
        row = self.rig.step()
        if row and len(self._leaving) > WAITING_MOST:
            self._lost += 1
        elif row:
            self.tell(row)
        if self.rig.over:
            self.rest()
            self.tell({"over": self.rig.time_us // 1000, "late_us": self.late_us,
                       "lost": self._lost})

    def rest(self):
        """Open all contacts and send no more pulses."""
        self.running = False
        self._port.rest()

    def tell(self, body):
        """Send a line, as soon as the stream takes it."""
        self._leaving.extend((json.dumps(body) + "\n").encode())
        self._send()

    def _send(self):
        if self._leaving:
            sent = self._stream.write(self._leaving) or 0
            if sent:
                self._leaving = self._leaving[sent:]
