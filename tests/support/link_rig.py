"""An application on a board driven by hand, with a link on a pipe in memory; MicroPython-safe."""

import json

from app.application import Application
from app.link import Link
from app.link_frame import SEQUENCE_MASK, parse, record
from boards.board import Board
from rate_control.intmath import LIMIT
from rate_control.units import TICK_US

MASTER = 1
DOWN = 2
ALL = 4 + 8 + 16
WORK = MASTER | DOWN | ALL


class RigBoard(Board):
    """Steady pulse trains and switches, set by the test; the clock starts before its wrap."""

    def __init__(self):
        self.time_us = LIMIT - 500000
        self.switches = 0
        self.speed_count = 0
        self.flow_count = 0
        self.speed_edge_us = 0
        self.flow_edge_us = 0
        self.duty_u16 = 0
        self.section_mask = 0

    def now_us(self):
        return self.time_us

    def read(self, inputs):
        inputs.switches = self.switches
        inputs.speed_count = self.speed_count
        inputs.flow_count = self.flow_count
        inputs.speed_edge_us = self.speed_edge_us
        inputs.flow_edge_us = self.flow_edge_us
        inputs.supply_mv = 13000

    def write(self, outputs):
        self.duty_u16 = outputs.duty_u16
        self.section_mask = outputs.section_mask

    def make_safe(self):
        self.duty_u16 = self.section_mask = 0

    def start_tick(self, callback, period_us):
        self.callback = callback

    def feed_watchdog(self):
        pass

    def reset_cause(self):
        return "power"


class Pipe:
    """The board's end of a line: what arrived, and what was sent while there was room."""

    def __init__(self):
        self.arrived = bytearray()
        self.sent = bytearray()
        self.room = -1  # bytes that can still be sent, -1 for any number

    def read(self, limit):
        data = bytes(self.arrived[:limit])
        self.arrived[: len(data)] = b""
        return data or None

    def write(self, data):
        data = bytes(data)
        if self.room >= 0:
            data = data[: self.room]
            self.room -= len(data)
        self.sent.extend(data)
        return len(data) or None

    def take_lines(self):
        """All whole lines sent so far, without their ends."""
        end = self.sent.rfind(b"\n") + 1
        whole = bytes(self.sent[:end])
        self.sent[:end] = b""
        return whole.split(b"\n")[:-1]


class LinkRig:
    """The whole of it."""

    def __init__(self, store=None, run_log=None):
        self.board = RigBoard()
        self.application = Application(self.board, store)
        self.pipe = Pipe()
        self.link = Link(self.pipe, self.application, run_log)
        self.sequence = 0
        self.application.start()

    @property
    def state(self):
        return self.application.controller.interlock.state

    def ticks(self, count, switches, speed_hz=0, flow_hz=0, polls=1):
        """Run ticks, each with whole numbers of pulses, and poll the link after each."""
        board = self.board
        for _ in range(count):
            board.time_us = (board.time_us + TICK_US) & LIMIT
            board.switches = switches
            board.speed_count = (board.speed_count + speed_hz // 20) & LIMIT
            board.flow_count = (board.flow_count + flow_hz // 20) & LIMIT
            if speed_hz:
                board.speed_edge_us = board.time_us
            if flow_hz:
                board.flow_edge_us = board.time_us
            board.callback(0)
            for _ in range(polls):
                self.application.poll()
                self.link.poll()

    def apply(self):
        """Arm and drive until outputs are on; speed is gained as a machine does."""
        self.ticks(5, 0)
        for speed_hz in range(20, 400, 20):
            self.ticks(1, WORK, speed_hz, 40)
        self.ticks(40, WORK, 400, 40)

    def bench(self):
        """Arm, stand still and confirm the bench at the machine."""
        self.ticks(60, 0)
        self.ticks(5, MASTER | ALL)
        assert self.application.enter_bench(confirmed_at_machine=True) == ""
        self.ticks(2, MASTER | ALL)

    def send(self, line):
        """Put bytes on the line and poll until the link has dealt with them."""
        self.pipe.arrived.extend(line)
        for _ in range(len(line) // 100 + 8):
            self.link.poll()

    def bodies(self):
        """The bodies of all records sent so far."""
        return [json.loads(parse(line)[1]) for line in self.pipe.take_lines()]

    def ask(self, name, **arguments):
        """Ask and return the answer, which must be the only record with its number."""
        self.sequence = (self.sequence + 1) & SEQUENCE_MASK
        request = {"do": name}
        request.update(arguments)
        self.send(record(self.sequence, json.dumps(request).encode()))
        answers = [body for body in self.bodies() if body.get("to") == self.sequence]
        assert len(answers) == 1, answers
        return answers[0]
