"""Two fake chips joined pin to pin: the controller's own board code on one, the rig's on the other.

State machines run their programs on both, cycle by cycle; what one drives the other sees at that
very time. Both clocks are the same. See tests/fakes.
"""

from bench_rig import rig_pins
from boards import rp2_pins
from tests.fakes.chip import Chip, Square
from tests.fakes.modules import Installed

BIT_NS = 1000  # of the controller's SPI
LATCH_NS = 2000  # how long the latch takes from level to level
STEP_US = 10_000


class Levels:
    """What a pin was driven to, and when."""

    def __init__(self, level):
        self.changes = [(0, level)]

    def drive(self, ns, level):
        if self.changes[-1][1] != level:
            self.changes.append((ns, level))

    def _at(self, ns):
        index = len(self.changes) - 1
        while index and self.changes[index][0] > ns:
            index -= 1
        return index

    def level(self, ns):
        return self.changes[self._at(ns)][1]

    def next_change(self, ns):
        after = self._at(ns) + 1
        return self.changes[after][0] if after < len(self.changes) else None


class Other:
    """The same pin of another chip, whatever that drives it with now."""

    def __init__(self, chip, pin):
        self.chip = chip
        self.pin = pin

    def level(self, ns):
        source = self.chip.source(self.pin)
        return 1 if source is None else source.level(ns)

    def next_change(self, ns):
        source = self.chip.source(self.pin)
        return None if source is None else source.next_change(ns)


class History:
    """The same pin of another chip whose state machine drives it: what that has done so far."""

    def __init__(self, chip, pin):
        self._levels = Levels(0)
        self._chip = chip
        self._pin = pin
        self._seen = 0

    def _follow(self):
        history = self._chip.history
        for ns, pin, level in history[self._seen:]:
            if pin == self._pin:
                self._levels.drive(ns, level)
        self._seen = len(history)

    def level(self, ns):
        self._follow()
        return self._levels.level(ns)

    def next_change(self, ns):
        self._follow()
        return self._levels.next_change(ns)


class SectionWires:
    """Clock, data, latch and output enable from the controller; the switches' bits back.

    The controller's SPI speaks in whole bytes at one moment; here they become waves, and the rig's
    state machines run ahead to see them.
    """

    def __init__(self, controller, rig):
        self._controller = controller
        self._rig = rig
        self._now_ns = 0
        self.waves = {pin: Levels(level) for pin, level in (
            (rp2_pins.SECTION_CLOCK, 0), (rp2_pins.SECTION_DATA, 0), (rp2_pins.SECTION_LATCH, 1))}
        for pin, wave in self.waves.items():
            rig.sources[pin] = wave
        controller.spi_device = self
        controller.listeners[rp2_pins.SECTION_LATCH] = [self._latch]

    def _begin(self):
        self._now_ns = max(self._now_ns, self._controller.ns)

    def _latch(self, level):
        self._begin()
        self.waves[rp2_pins.SECTION_LATCH].drive(self._now_ns, level)
        self._now_ns += LATCH_NS
        self._run_rig()

    def shift(self, out, into):
        self._begin()
        into[0] = 0
        for bit in range(7, -1, -1):
            self.waves[rp2_pins.SECTION_DATA].drive(self._now_ns, out[0] >> bit & 1)
            self._now_ns += BIT_NS // 2
            self._run_rig()
            into[0] = into[0] << 1 | self._rig.level(rig_pins.SWITCH_DATA, self._now_ns)
            self.waves[rp2_pins.SECTION_CLOCK].drive(self._now_ns, 1)
            self._now_ns += BIT_NS // 2
            self.waves[rp2_pins.SECTION_CLOCK].drive(self._now_ns, 0)
        self._now_ns += BIT_NS
        self._run_rig()

    def _run_rig(self):
        for machine in self._rig.machines.values():
            if machine.in_pin is not None:  # both registers
                machine.run_to(self._now_ns)


class ChipPair:
    """`make_board` and `make_port` make what runs on them. `step` lets both live for 10 ms."""

    def __init__(self, make_board, make_port):
        self.controller, self.rig = Chip(), Chip()
        self._wire()
        with Installed(self.rig):
            self.port = make_port()
        self.sections = SectionWires(self.controller, self.rig)
        with Installed(self.controller):
            self.board = make_board()
        for pin in (rp2_pins.SPEED, rp2_pins.FLOW):
            self.controller.sources[pin] = History(self.rig, pin)

    def _wire(self):
        for pin in (rp2_pins.MASTER, rp2_pins.IMPLEMENT):
            self.controller.sources[pin] = Other(self.rig, pin)
        for pin in (rp2_pins.PUMP, rp2_pins.SECTION_OFF):
            self.rig.sources[pin] = Other(self.controller, pin)

    def step(self):
        """The rig lives first: what it sends has to be there when the controller looks."""
        self.rig.advance(STEP_US)
        supply = self.rig.outputs.get(rig_pins.SUPPLY)
        share = supply.high_ns / supply.period_ns if isinstance(supply, Square) else 0
        self.controller.analog_u16[rp2_pins.SUPPLY] = int(share * 65535)
        self.controller.advance(STEP_US)
