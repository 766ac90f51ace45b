"""A bench around a fake chip: every wire is there."""

from tests.contract.bench import Bench
from tests.contract.contract import EDGES_WATCHED, Skip, reading
from tests.fakes.chip import ChipReset, Square, Steady

SWITCHES = 8


class ShiftRegisters:
    """A 74HCT595 and a 74HC165 on one SPI bus with one latch pin."""

    def __init__(self, chip, latch, off):
        self.chip = chip
        self.closed = 0
        self.shown = 0
        self._shifted = 0
        self._loaded = 0
        self._off = off
        chip.spi_device = self
        chip.listeners[latch] = [self._latch]

    def shift(self, out, into):
        into[0] = self._loaded
        self._loaded = 0xFF
        self._shifted = out[0]

    def _latch(self, level):
        if level:
            self.shown = self._shifted
        else:
            self._loaded = 0xFF & ~self.closed

    def outputs(self):
        """What the section valves see; open outputs are pulled down."""
        return 0 if self.chip.level(self._off) else self.shown


class FakeBench(Bench):
    """make_board makes the board on the chip; pins is its pin table."""

    def __init__(self, chip, pins, make_board):
        self.chip = chip
        self.pins = pins
        self._make_board = make_board
        self._switches = {}
        self._start(make_board)

    def _start(self, make_board):
        self.registers = ShiftRegisters(self.chip, self.pins.SECTION_LATCH, self.pins.SECTION_OFF)
        super().__init__(make_board())

    def wait_us(self, us):
        self.chip.advance(us)

    def disturb(self):
        self.chip.advance(5000)

    def pulses(self, channel, hz, count, disturbed=False):
        period = 1_000_000_000 // hz
        self._send(channel, period, count)
        end = self.chip.ns + (count + 2) * period
        while self.chip.ns < end:
            self.chip.advance(20_000)
            reading(self)  # as a tick would
        return count

    def read_twice(self, channel, hz):
        period = 1_000_000_000 // hz
        self._send(channel, period, None)
        readings = []
        for _ in range(2):
            self.chip.advance((EDGES_WATCHED + 2) * period // 1000 + 130)
            readings.append(reading(self))
        return readings

    def _send(self, channel, period, count):
        pin = self.pins.SPEED if channel == "speed" else self.pins.FLOW
        self.chip.connect(pin, Steady(0))
        self.chip.advance(1000)
        reading(self)
        self.chip.connect(pin, Square(self.chip.ns + 100_777, period, period // 2, count))

    def driven(self):
        level = self.chip.level
        pump = self.chip.outputs.get(self.pins.PUMP)
        return {
            "pump": getattr(pump, "high_ns", 0) or getattr(pump, "value", 0),
            "valve open": level(self.pins.VALVE_OPEN),
            "valve close": level(self.pins.VALVE_CLOSE),
            "sections": self.registers.outputs(),
        }

    def switches(self):
        return ["master", "implement"] + ["section %d" % (n + 1) for n in range(SWITCHES)]

    def set_switch(self, name, on):
        if name == "master":
            self.chip.drive(self.pins.MASTER, 1 - on)
        elif name == "implement":
            self.chip.drive(self.pins.IMPLEMENT, 1 - on)
        else:
            bit = 1 << int(name.split()[1]) - 1
            self.registers.closed = self.registers.closed & ~bit | (bit if on else 0)

    def supplies_mv(self):
        for true_mv in (9000, 12600, 14400, 24000):
            # 68 k over 10 k, 3.3 V full scale, 12 bits
            steps = round(true_mv * 10 / 78 / 3300 * 4095)
            self.chip.analog_u16[self.pins.SUPPLY] = steps << 4 | steps >> 8
            yield true_mv

    def duty_permille(self):
        pump = self.chip.outputs[self.pins.PUMP]
        if not isinstance(pump, Square):
            return 1000 * pump.value
        return pump.high_ns * 1000 // pump.period_ns

    def valve_pulse_us(self, record):
        opens = record.valve_pulse_ms > 0
        pin, other = self.pins.VALVE_OPEN, self.pins.VALVE_CLOSE
        if not opens:
            pin, other = other, pin
        self.board.write(record)
        step, high, moved = 10, 0, 0
        for _ in range(10_000):
            self.chip.advance(step)
            high += step * self.chip.level(pin)
            moved |= self.chip.level(other)
        return high, moved

    def sections(self):
        return self.registers.outputs()

    def with_heap_locked(self, board, inputs, record):
        raise Skip("a fake allocates where the chip does not")

    def starve_watchdog(self):
        self.board.start_tick(lambda _: None, 50_000)
        try:
            self.chip.advance(2_000_000)
        except ChipReset:
            # between the reset and boot.py the resistors outside hold the outputs
            for pin in self.pins.OUTPUTS_LOW:
                self.chip.drive(pin, 0)
            for pin in self.pins.OUTPUTS_HIGH:
                self.chip.drive(pin, 1)
            self._start(self._make_board)
            return
        raise AssertionError("no reset within 2 s")
