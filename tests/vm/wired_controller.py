"""The whole application on a VM whose pins are lines of text: see tests/support/rig_pair.py.

The first line in is the settings that are kept on the board, as JSON. Each further one is STEP_US:
closed contacts, supply in mV, count and time of the last edge of both pulse inputs, and what the
host has sent, in hex. A line out: duty, sections, valve pulse in ms (of this step alone), what
was sent to the host.
"""

import json
import sys
from binascii import hexlify, unhexlify

from app.start_up import build
from app.store import SETTINGS_STATE, Store
from boards.board import Board
from rate_control.controller import Controller
from rate_control.intmath import LIMIT
from rate_control.settings import build as build_settings

STEP_US = 10_000
POLLS = 4  # of the loop in a step


class KeptFiles:
    """The board's flash."""

    def __init__(self):
        self.slots = {}

    def read(self, name, offset=0, length=None):
        data = self.slots.get(name, b"")
        return data[offset:] if length is None else data[offset:][:length]

    def write(self, name, data):
        self.slots[name] = bytes(data)

    def append(self, name, data):
        self.slots[name] = self.read(name) + bytes(data)


class WiredBoard(Board):
    """The pins, and a clock that moves with the lines."""

    def __init__(self, files):
        self.time_us = 0
        self.seen = (0, 12000, 0, 0, 0, 0)
        self.duty_u16 = self.section_mask = self.valve_pulse_ms = 0
        self.arrived = b""
        self.sent = b""
        self.callback = None
        self._files = files
        self._due_us = 0

    def files(self):
        return self._files

    def now_us(self):
        return self.time_us & LIMIT

    def read(self, inputs):
        (inputs.switches, inputs.supply_mv, inputs.speed_count, inputs.speed_edge_us,
         inputs.flow_count, inputs.flow_edge_us) = self.seen

    def write(self, outputs):
        self.duty_u16 = outputs.duty_u16
        self.section_mask = outputs.section_mask
        self.valve_pulse_ms = outputs.valve_pulse_ms

    def make_safe(self):
        self.duty_u16 = self.section_mask = self.valve_pulse_ms = 0

    def start_tick(self, callback, period_us):
        self.callback = callback
        self._period_us = period_us
        self._due_us = self.time_us + period_us

    def feed_watchdog(self):
        pass

    def reset_cause(self):
        return "power"

    def link_stream(self):
        return Line(self)

    def display(self):
        return None

    def read_keys(self, raw):
        pass

    def signal(self, lamp, buzzer):
        pass

    def live(self):
        """One step; a tick where it is due."""
        self.time_us += STEP_US
        ticks = self.time_us >= self._due_us
        if ticks:
            self._due_us += self._period_us
            self.callback(0)
        return ticks


class Line:
    """The stream of the link."""

    def __init__(self, board):
        self.board = board

    def read(self, limit):
        board = self.board
        data, board.arrived = board.arrived[:limit], board.arrived[limit:]
        return data or None

    def write(self, data):
        self.board.sent += bytes(data)
        return len(data)


def flashed(values):
    """Files with settings that a person has taken on; with settings_state 1 nobody has."""
    state = values.pop(SETTINGS_STATE, 0)
    files = KeptFiles()
    settings, problems = build_settings(values)
    assert not problems, problems
    store = Store(files)
    store.attach(Controller(settings))
    kept = settings.as_dict()
    if state:
        kept[SETTINGS_STATE] = state
    assert not store.save_settings(kept)
    return files


def main():
    """Serve until the line ends."""
    board = WiredBoard(flashed(json.loads(sys.stdin.readline())))
    application = build(board)
    application.start()
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        words = line.split()
        board.seen = tuple(int(word) for word in words[:6])
        if words[6] != "-":
            board.arrived += unhexlify(words[6])
        ticked = board.live()
        for _ in range(POLLS):
            application.poll()
            board.time_us += STEP_US // POLLS // 4  # a little, so that jobs come due
        board.time_us -= POLLS * (STEP_US // POLLS // 4)
        told, board.sent = board.sent, b""
        print(board.duty_u16, board.section_mask, board.valve_pulse_ms if ticked else 0,
              hexlify(told).decode() or "-")


main()
