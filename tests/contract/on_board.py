"""The contract on a real board: run there, it prints a line a check.

    mpremote mount ROOT run tests/contract/on_board.py

Wires, all optional, none in the field: TEST to SPEED and TEST to FLOW (pins in
boards/*_pins.py); for the sections a plug that leads each 74HCT595 output to the 74HC165 input of
the same number. What is not wired is skipped. The switches need a person and the watchdog ends
the program: `python -m host_sim board check` sees to both.
"""

import gc
import os
import sys
from time import sleep_us, ticks_diff, ticks_us

import machine

# boot.py has imported part of the firmware by names relative to the root, so that must stay the
# place to import from; this repository is where mpremote mounts it.
os.chdir("/")
sys.path.append("/remote")

import boards
from boards.safe_outputs import pins_of
from tests.contract.bench import Bench
from tests.contract.contract import EDGES_WATCHED, Skip, reading, run_all

ALL_CLOSED = 0xFF << 2
SAMPLES = 2000


class HardwareBench(Bench):
    """Sends pulses from the TEST pin and looks at the board's own pins."""

    CLOCK_ERROR_US = 200
    EDGE_ERROR_US = 2
    VALVE_ERROR_US = 200  # the pins are looked at about every 50 us
    TICK_ERROR_US = 300
    DUTY_ERROR_PERMILLE = 30  # of 2000 samples

    def __init__(self, board, sender):
        super().__init__(board)
        self._sender = sender
        pins = pins_of()
        self._pump = machine.Pin(pins.PUMP)
        self._open = machine.Pin(pins.VALVE_OPEN)
        self._close = machine.Pin(pins.VALVE_CLOSE)
        self._off = machine.Pin(pins.SECTION_OFF)
        # with the plug, sections that are off look like closed switches
        self._plug = reading(self).switches >= ALL_CLOSED

    def wait_us(self, us):
        sleep_us(us)

    def disturb(self):
        garbage = [bytearray(16) for _ in range(200)]
        garbage.clear()
        gc.collect()

    def pulses(self, channel, hz, count, disturbed=False):
        self._sender.start(hz, count)
        end = ticks_us()
        while ticks_diff(ticks_us(), end) < count * 1_000_000 // hz + 2000:
            if disturbed:
                self.disturb()
        return count

    def read_twice(self, channel, hz):
        self._sender.start(hz, 3 * EDGES_WATCHED + 5)
        readings = []
        for _ in range(2):
            sleep_us((EDGES_WATCHED + 2) * 1_000_000 // hz)
            readings.append(reading(self))
        sleep_us(20 * 1_000_000 // hz)
        return readings

    def unwired(self, channel, count):
        if count:
            raise AssertionError("%s: 3 pulses sent, %d counted" % (channel, count))
        self.missing.append(channel)

    def driven(self):
        return {
            "pump": self._high_samples(self._pump, 500),
            "valve open": self._open.value(),
            "valve close": self._close.value(),
            "sections": 1 - self._off.value(),
        }

    def _high_samples(self, pin, samples):
        high = 0
        for _ in range(samples):
            high += pin.value()
        return high

    def duty_permille(self):
        sleep_us(20_000)
        return self._high_samples(self._pump, SAMPLES) * 1000 // SAMPLES

    def valve_pulse_us(self, record):
        pin, other = self._open, self._close
        if record.valve_pulse_ms < 0:
            pin, other = other, pin
        self.board.write(record)
        start = ticks_us()
        while not pin.value():
            assert ticks_diff(ticks_us(), start) < 20_000, "the output does not go on"
        start = ticks_us()
        moved = 0
        while pin.value():
            moved |= other.value()
            assert ticks_diff(ticks_us(), start) < 500_000, "the pulse does not end"
        return ticks_diff(ticks_us(), start), moved

    def sections(self):
        if not self._plug:
            raise Skip("no plug between section outputs and section switches")
        return reading(self).switches >> 2 ^ 0xFF

    def with_heap_locked(self, board, inputs, record):
        import micropython

        board.read(inputs)
        micropython.heap_lock()
        try:
            board.read(inputs)
            board.write(record)
            board.now_us()
            board.make_safe()
        except MemoryError as error:
            raise AssertionError("something allocates: %s" % error)  # noqa: B904
        finally:
            micropython.heap_unlock()


class Rp2Sender:
    """Sends exact numbers of pulses from the TEST pin, on PIO."""

    CYCLES = 50  # of its loop

    def __init__(self):
        import rp2

        @rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
        def send():
            pull(block)  # noqa: F821
            mov(x, osr)  # noqa: F821
            label("pulse")  # noqa: F821
            set(pins, 1)[24]  # noqa: F821
            set(pins, 0)[23]  # noqa: F821
            jmp(x_dec, "pulse")  # noqa: F821

        self._program = send
        self._machine = rp2.StateMachine(6)

    def start(self, hz, count):
        """Send count pulses; what was being sent ends."""
        machine_ = self._machine
        machine_.active(0)
        machine_.init(self._program, freq=hz * self.CYCLES, set_base=machine.Pin(pins_of().TEST))
        machine_.active(1)
        machine_.put(count - 1)


class Esp32Sender:
    """The same on the ESP32's RMT."""

    def __init__(self):
        import esp32

        self._rmt = esp32.RMT(pin=machine.Pin(pins_of().TEST), resolution_hz=1_000_000)

    def start(self, hz, count):
        """Send count pulses, after what was being sent."""
        self._rmt.write_pulses([500_000 // hz] * (2 * count), 1)


def main(clock_ppm=0):
    """Run everything that can be run without a person; clock_ppm as in bench.py."""
    board = boards.chosen()
    try:
        rp2 = sys.platform == "rp2"
        bench = HardwareBench(board, Rp2Sender() if rp2 else Esp32Sender())
        bench.CLOCK_ERROR_PPM = clock_ppm
        if not rp2:
            bench.EDGE_ERROR_US = 10_000
            bench.TICK_ERROR_US = 25_000
        run_all(bench)
    finally:
        board.release()


if __name__ == "__main__":
    main()
