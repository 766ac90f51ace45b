"""A person at a simulated machine: drives, catches in jugs, and works the display by its keys.

Everything goes through the firmware as main.py puts it together; the person sees the display
and the jugs, never the simulated truth that a test compares with.
"""

from app.grid import COLUMNS, ROWS
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.operated import OperatedRun
from host_sim.twin.virtual_board import MemoryFiles
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_US

TICK_S = TICK_US * 1e-6
BRAKING_M_S2 = 1.0
LABEL_SHOWN = 12  # letters of a label that are there, however long its value is


class Person(OperatedRun):
    """`seen` keeps every line that the display has shown."""

    def __init__(self, spec, orifice_factors, seed=1):
        clock = VirtualClock()
        machine = Machine(spec, seed, clock.total_us)
        machine.faults.orifice_factor[:] = orifice_factors
        self.seen = set()
        super().__init__(machine, clock, MemoryFiles())
        self.board.switches = ((1 << spec.sections.count) - 1) << SWITCH_SECTION_SHIFT
        self.live(1.0)
        self.take_settings_on()  # right or wrong, the machine has worked with them

    def live(self, seconds):
        """Let time pass, a tick at a time."""
        for _ in range(round(seconds / TICK_S)):
            self.step(TICK_US)

    # Driving.

    def drive(self, distance_m, speed_m_s):
        """Drive so far; speed up and slow down within a few metres before and after it."""
        self._change_speed(speed_m_s)
        end_m = self.machine.distance_m + distance_m
        while self.machine.distance_m < end_m:
            self.step()

    def stop(self):
        """Brake and stand."""
        self._change_speed(0.0)
        self.live(3.0)

    def _change_speed(self, speed_m_s):
        while abs(self.speed_m_s - speed_m_s) > 1e-9:
            most = BRAKING_M_S2 * TICK_S
            self.speed_m_s += min(max(speed_m_s - self.speed_m_s, -most), most)
            self.step(TICK_US)

    # Switches.

    def switch(self, mask, on):
        """Close or open hand switches and wait until they count."""
        self.board.switches = self.board.switches | mask if on else self.board.switches & ~mask
        self.live(1.0)

    def arm(self):
        """Master off, then on."""
        self.switch(SWITCH_MASTER, False)
        self.switch(SWITCH_MASTER, True)

    def lower(self, down):
        """Lower or lift the implement."""
        self.switch(SWITCH_IMPLEMENT, down)

    # The display and its keys.

    def lines(self):
        """The four lines as the display shows them now."""
        self.step()
        text = "".join(chr(code) if 32 <= code < 127 else "*" for code in self.panel.display.cells)
        lines = [text[row * COLUMNS : (row + 1) * COLUMNS].rstrip() for row in range(ROWS)]
        self.seen.update(line.lstrip("> ") for line in lines)
        return lines

    def _finish_keys(self):
        while self.panel.busy:
            self.step()
        self.step()
        self.lines()

    def push(self):
        """Push the encoder."""
        self.panel.push()
        self._finish_keys()

    def turn(self, notches):
        """Turn the encoder."""
        self.panel.turn(notches)
        self._finish_keys()

    def back(self):
        """Press back once."""
        self.panel.back()
        self._finish_keys()

    def home(self):
        """Press back until the work screen shows."""
        for _ in range(6):
            self.back()

    def choose(self, label):
        """Turn to an entry or an action that begins with the label, and push."""
        self.point_at(label)
        self.push()

    def point_at(self, label):
        """Turn to an entry or an action with this label, which may be cut off on the display."""
        label = label[:LABEL_SHOWN]
        self.turn(-40)
        for _ in range(40):
            if any(line.startswith(">" + label) for line in self.lines()):
                return
            self.turn(1)
        raise AssertionError(f"no entry {label}: {self.lines()}")

    def type_number(self, number):
        """Set the number on the display digit by digit, from the caret to the last."""
        while True:
            lines = self.lines()
            token = lines[1].split()[0]
            end = lines[1].index(token) + len(token)
            place = sum(char.isdigit() for char in lines[1][lines[2].index("^") + 1 : end])
            decimals = len(token.partition(".")[2])
            left = round(float(number) * 10**decimals) - int(token.replace(".", ""))
            notches = int(left / 10**place)
            if notches:
                self.turn(notches)
            self.push()
            if not place:
                return

    def menu(self, *labels):
        """Open the menu from the work screen and go down the labels."""
        self.home()
        self.push()
        for label in labels:
            self.choose(label)

    def has_seen(self, label):
        """Whether a line of the display has begun with the label."""
        return any(line.startswith(label) for line in self.seen)
