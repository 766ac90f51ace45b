"""The modules machine, rp2, esp32, uctypes and time as a board's code imports them."""

import sys
import time as real_time

from tests.fakes.asm_pio import OUT_LOW, asm_pio
from tests.fakes.chip import TICKS_MASK
from tests.fakes.pio import StateMachine as PioMachine

NAMES = ("machine", "rp2", "esp32", "uctypes", "time")
BOARD_MODULES = ("boards.", "bench_rig.rp2_port", "bench_rig.rig_pio")


class Namespace:
    """A module made of attributes."""

    def __init__(self, **attributes):
        for name in attributes:
            setattr(self, name, attributes[name])


class Registers:
    """machine.mem32; the clear alias of a register clears bits, as on the chip."""

    WATCHDOG = 0x40058000
    CLEAR = 0x3000

    def __init__(self, chip):
        self.chip = chip

    def __getitem__(self, address):
        return self.chip.registers.get(address, 0)

    def __setitem__(self, address, value):
        if address == self.WATCHDOG + self.CLEAR:
            self.chip.watchdog_due = None
        self.chip.registers[address] = value


def machine_module(chip):
    """The fake of machine."""
    sends = set()  # pins that a UART has: what is written to them does nothing

    class Pin:
        IN, OUT, OPEN_DRAIN, PULL_UP, PULL_DOWN = 0, 1, 2, 1, 2
        IRQ_RISING, IRQ_FALLING = 1, 2

        def __init__(self, number, mode=None, pull=None, value=None):
            self.number = number.number if isinstance(number, Pin) else number
            if mode is not None:
                sends.discard(self.number)
            if value is not None:
                chip.drive(self.number, value)

        def value(self, level=None):
            if level is None:
                return chip.level(self.number)
            if self.number not in sends:
                chip.drive(self.number, level)
            return None

        def irq(self, handler=None, trigger=3, hard=False):
            chip.interrupts.pop(self.number, None)
            if handler:
                chip.interrupts[self.number] = (lambda: handler(self), chip.ns)

    class PWM:
        def __init__(self, pin, freq, duty_u16):
            self.pin = pin.number
            self.freq = freq
            self.duty = None
            self.duty_u16(duty_u16)

        def duty_u16(self, duty):
            if duty != self.duty:
                self.duty = duty
                chip.modulate(self.pin, self.freq, duty)

    class ADC:
        ATTN_11DB = 3

        def __init__(self, pin, atten=None):
            self.pin = getattr(pin, "number", pin)

        def read_u16(self):
            return chip.analog_u16.get(self.pin, 0)

    class SPI:
        def __init__(self, *_, **__):
            pass

        def init(self, baudrate):
            chip.spi_hertz = baudrate

        def write_readinto(self, out, into):
            if chip.spi_device:
                chip.spi_device.shift(out, into)
            else:
                into[0] = 0xFF

    class UART:
        """What the chip receives is put into chip.received; it is never sent anything."""

        def __init__(self, number, baudrate, tx, rx, rxbuf, timeout):
            self.baudrate = baudrate
            self.pins = (tx.number, rx.number)
            sends.add(tx.number)

        def any(self):
            return len(chip.received)

        def readinto(self, buffer):
            length = min(len(buffer), len(chip.received))
            buffer[:length] = chip.received[:length]
            chip.received = chip.received[length:]
            return length or None

    class I2C:
        def __init__(self, *_, **__):
            pass

        def scan(self):
            return []

    class Timer:
        PERIODIC = 1

        def __init__(self, _, period, tick_hz, callback, hard=False, mode=1):
            self.period_ns = period * (1_000_000_000 // tick_hz)
            self.callback = callback
            self.due_ns = chip.ns + self.period_ns
            chip.timers.append(self)

        def fire(self):
            self.due_ns += self.period_ns
            self.callback(self)

        def deinit(self):
            if self in chip.timers:
                chip.timers.remove(self)

    class WDT:
        def __init__(self, timeout):
            chip.watchdog_ns = timeout * 1_000_000
            self.feed()

        def feed(self):
            chip.watchdog_due = chip.ns + chip.watchdog_ns

    return Namespace(freq=lambda: 125_000_000, disable_irq=lambda: 0, enable_irq=lambda _: None,
                     Pin=Pin, PWM=PWM, ADC=ADC, SPI=SPI, UART=UART, I2C=I2C, Timer=Timer, WDT=WDT,
                     PWRON_RESET=1, WDT_RESET=3, mem32=Registers(chip),
                     reset_cause=lambda: 3 if chip.reset_by_watchdog else 1)


def rp2_module(chip):
    """The fake of rp2."""

    class StateMachine:
        def __init__(self, number, program, freq, **bases):
            self._number = number
            self.init(program, freq, **bases)

        def init(self, program, freq, **bases):
            chip.sync()
            pins = {name: bases[name].number for name in bases}
            self._machine = PioMachine(chip, self._number, program, freq, **pins)
            chip.machines[self._number] = self._machine
            if program[1].get("set_init") == OUT_LOW:
                chip.drive(pins["set_base"], 0)

        def rx_fifo(self):
            chip.sync()
            return len(self._machine.rx)

        def get(self):
            return self._machine.rx.pop(0)

        def exec(self, text):
            self._machine.execute(text)

        def put(self, value):
            chip.sync()
            self._machine.tx.append(value)

        def active(self, on):
            chip.sync()
            self._machine.running = bool(on)

        def number(self):
            return self._machine.number

    class DMA:
        def __init__(self):
            self.channel = len(chip.channels)
            self.running = False
            self.count = 0
            chip.channels.append(self)

        def pack_ctrl(self, **fields):
            return fields

        def config(self, read, write, count, ctrl):
            self._request_of = read.number()
            self._memory = write
            self._reload = count
            self._fields = ctrl
            self._index = 0
            self._ring = (1 << ctrl["ring_size"]) // 4
            if ctrl["treq_sel"] != self._request_of // 4 * 8 + 4 + self._request_of % 4:
                raise ValueError("request of another machine")

        def active(self, on):
            self.running = bool(on)
            if on:
                self.count = self._reload

        def serves(self, machine):
            return machine.number == self._request_of

        def take(self, word):
            self._memory[self._index] = word
            self._index = (self._index + 1) % self._ring
            self.count -= 1
            if not self.count:
                self.running = False
                chip.channels[self._fields["chain_to"]].active(1)

    class PIO:
        SHIFT_LEFT, SHIFT_RIGHT = 0, 1
        JOIN_TX, JOIN_RX = 1, 2
        OUT_LOW, OUT_HIGH = OUT_LOW, 3

        def __init__(self, block):
            if block > 1:
                raise ValueError("an RP2040 has two")

    return Namespace(asm_pio=asm_pio, PIO=PIO, StateMachine=StateMachine, DMA=DMA)


def esp32_module(chip):
    """The fake of esp32: a counter without a clock, and one timed pulse after another."""

    class PCNT:
        INCREMENT = 1

        def __init__(self, unit, pin, rising, max, filter):
            self.pin = pin.number
            self.top = max
            self.start_count = 0

        def start(self):
            self.start_count = chip.rises(self.pin)

        def value(self):
            return (chip.rises(self.pin) - self.start_count) % self.top

    class RMT:
        def __init__(self, pin, resolution_hz):
            self.pin = pin.number
            self.tick_ns = 1_000_000_000 // resolution_hz
            self.end_ns = 0
            chip.drive(self.pin, 0)

        def wait_done(self):
            return chip.ns >= self.end_ns

        def active(self, on):
            assert not on
            self.end_ns = 0
            chip.drive(self.pin, 0)

        def write_pulses(self, lengths, levels):
            assert self.wait_done()
            length = sum(lengths) * self.tick_ns
            chip.outputs[self.pin] = Square(chip.ns, length, length, 1)
            self.end_ns = chip.ns + length

    from tests.fakes.chip import Square

    return Namespace(PCNT=PCNT, RMT=RMT)


def time_module(chip):
    """The fake of time: sleeping moves the chip on."""
    return Namespace(
        ticks_us=chip.ticks_us,
        sleep_ms=lambda ms: chip.advance(ms * 1000),
        ticks_add=lambda a, b: (a + b) & TICKS_MASK,
        ticks_diff=lambda a, b: ((a - b + (TICKS_MASK + 1) // 2) & TICKS_MASK)
        - (TICKS_MASK + 1) // 2,
        time=real_time.time,
    )


def addressof(_):
    """Every array of the fakes starts where a ring may."""
    return 0


class Installed:
    """Puts the modules in place for a block of code, and the real ones back afterwards."""

    def __init__(self, chip):
        self._modules = {
            "machine": machine_module(chip),
            "rp2": rp2_module(chip),
            "esp32": esp32_module(chip),
            "uctypes": Namespace(addressof=addressof),
            "time": time_module(chip),
        }
        self._hidden = {}

    def __enter__(self):
        self._forget_boards()
        for name in NAMES:
            if name in sys.modules:
                self._hidden[name] = sys.modules[name]
            sys.modules[name] = self._modules[name]
        return self

    def __exit__(self, *_):
        for name in NAMES:
            if name in self._hidden:
                sys.modules[name] = self._hidden[name]
            else:
                del sys.modules[name]
        self._forget_boards()

    @staticmethod
    def _forget_boards():
        """Boards are imported anew for each chip: they hold on to the modules they found."""
        for name in list(sys.modules):
            if name.startswith(BOARD_MODULES):
                del sys.modules[name]
