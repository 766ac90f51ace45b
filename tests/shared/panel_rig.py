"""A board in the hands of a test: switches, pulses, keys, and the display read back.

Runs on every interpreter. Time moves 10 ms at a poll and 50 ms at a tick.
"""

from app.application import Application
from app.grid import _BIG, BAR_BOTTOM, BIG_PITCH, BIG_WIDTH, COLUMNS, ROWS
from app.operator import Operator
from boards.board import Board
from rate_control.intmath import LIMIT

MASTER = 1
DOWN = 2
SECTIONS = 4 + 8 + 16
POLL_US = 10000
POLLS_PER_TICK = 5


class HandBoard(Board):
    """Keeps what was written; everything it reads is set by hand."""

    def __init__(self):
        self.time_us = LIMIT - 3000000  # shortly before the wrap
        self.switches = SECTIONS
        self.speed_pulses = 0  # a tick
        self.flow_pulses = 0
        self.quarters = 0
        self.pushed = 0
        self.back = 0
        self.lamp = self.buzzer = 0
        self.fed = 0
        self.safe = 0
        self.cause = "power"
        self.shown = None  # a display, where one is fitted
        self.duty_u16 = 0
        self.section_mask = 0
        self.callback = None
        self._counts = [0, 0]
        self._turning = 0  # speed pulses in this tick
        self._edges = [0, 0]

    def live_tick(self):
        """Let 50 ms of pulses come in; speed is gained as a machine does, 3 m/s in a second."""
        self._turning = min(self._turning + 1, self.speed_pulses)
        for index, pulses in enumerate((self._turning, self.flow_pulses)):
            if pulses:
                self._counts[index] = (self._counts[index] + pulses) & LIMIT
                self._edges[index] = self.time_us

    def now_us(self):
        """See Board."""
        return self.time_us

    def read(self, inputs):
        """See Board."""
        inputs.speed_count, inputs.flow_count = self._counts
        inputs.speed_edge_us, inputs.flow_edge_us = self._edges
        inputs.switches = self.switches
        inputs.supply_mv = 12600

    def write(self, outputs):
        """See Board."""
        self.duty_u16 = outputs.duty_u16
        self.section_mask = outputs.section_mask

    def make_safe(self):
        """See Board."""
        self.safe += 1
        self.duty_u16 = 0
        self.section_mask = 0

    def start_tick(self, callback, period_us):
        """See Board."""
        self.callback = callback

    def feed_watchdog(self):
        """See Board."""
        self.fed += 1

    def reset_cause(self):
        """See Board."""
        return self.cause

    def display(self):
        """See Board."""
        return self.shown

    def read_keys(self, raw):
        """See Board."""
        raw.quarters = self.quarters & LIMIT
        raw.push = self.pushed
        raw.back = self.back

    def signal(self, lamp, buzzer):
        """See Board."""
        self.lamp = lamp
        self.buzzer = buzzer


class PanelRig:
    """Application and operator interface above a HandBoard."""

    def __init__(self, store=None):
        self.board = HandBoard()
        self.app = Application(self.board, store)
        self.operator = Operator(self.app)
        self.app.start()

    def ticks(self, count):
        """Let ticks go by."""
        board = self.board
        for _ in range(count):
            for _ in range(POLLS_PER_TICK):
                board.time_us = (board.time_us + POLL_US) & LIMIT
                self.app.poll()
            board.live_tick()
            board.callback(0)

    def push(self, times=1):
        """Push the encoder."""
        for _ in range(times):
            self.board.pushed = 1
            self.ticks(1)
            self.board.pushed = 0
            self.ticks(1)

    def back(self, times=1):
        """Push the back key."""
        for _ in range(times):
            self.board.back = 1
            self.ticks(1)
            self.board.back = 0
            self.ticks(1)

    def turn(self, notches):
        """Turn the encoder."""
        self.board.quarters += 4 * notches
        self.ticks(1)

    def choose(self, label):
        """Turn to an entry of the list that is shown, and push."""
        self.turn(-80)
        for _ in range(80):
            if any(line.startswith(">" + label) for line in self.lines()):
                self.push()
                return
            self.turn(1)
        raise AssertionError("no entry %s: %s" % (label, self.lines()))

    def home(self):
        """Go back to the work screen."""
        self.back(8)

    def switch(self, switches, ticks=10):
        """Set the hand switches and wait for them to count."""
        self.board.switches = switches
        self.ticks(ticks)

    def arm(self):
        """Switch the master off, then on."""
        self.switch(self.board.switches & ~MASTER)
        self.switch(self.board.switches | MASTER)

    def drive(self, flow_pulses=2):
        """Lower, and drive off at 2.77 m/s (18 pulses a tick at 130 pulses/m), where two suit."""
        self.board.speed_pulses = 18
        self.board.flow_pulses = flow_pulses
        self.switch(self.board.switches | DOWN, 60)

    def stand(self):
        """Brake, the last pulses slow, and wait until the standstill is seen."""
        if self.board.speed_pulses:
            self.board.speed_pulses = 1
            self.ticks(8)
        self.board.speed_pulses = self.board.flow_pulses = 0
        self.ticks(60)

    def lines(self):
        """Return the four lines, bars as asterisks, drawn anew."""
        self.operator.draw()
        return lines_of(self.operator.grid.cells)

    def big(self):
        """Return the number in big digits."""
        self.operator.draw()
        return big_of(self.operator.grid.cells)

    def state(self):
        """Return the operating state."""
        return self.app.controller.decided.state


def lines_of(cells):
    """Return cells as four texts, bars as asterisks."""
    text = "".join([chr(code) if code >= 32 else "*" for code in cells])
    return [text[row * COLUMNS : (row + 1) * COLUMNS] for row in range(ROWS)]


def big_of(cells):
    """Read the big digits back; "?" where a shape is none."""
    text = ""
    for column in range(0, COLUMNS - BIG_WIDTH + 1, BIG_PITCH):
        upper = bytes(cells[column : column + BIG_WIDTH])
        lower = bytes(cells[COLUMNS + column : COLUMNS + column + BIG_WIDTH])
        if upper + lower in _BIG:
            text += str(_BIG.index(upper + lower))
        elif upper == bytes((BAR_BOTTOM,) * BIG_WIDTH):
            text += "-"
        else:
            break
        point = COLUMNS + column + BIG_WIDTH
        if point < 2 * COLUMNS and cells[point] == 46:
            text += "."
    return text
