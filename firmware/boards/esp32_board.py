"""ESP32 boards: the promises of board.py as far as this chip's MicroPython keeps them.

What is weaker than on an RP2040: the tick is a soft timer interrupt, so a collection of garbage
holds it up (up to about 20 ms with the usual heap; a tick that is late by three drops the
outputs), and edge times are later (see esp32_pulses.py). A watchdog reset takes up to
WATCHDOG_MS. Not one line of it has run on hardware yet: docs/reference/untested.md.
"""

from time import sleep_ms, ticks_us

import machine
from machine import ADC, I2C, PWM, SPI, WDT, Pin, Timer

from boards import esp32_pins as pins
from boards import wiring
from boards.board import Board
from boards.console_port import ConsolePort
from boards.esp32_pulses import PulseInput, TimedOutput
from boards.front_panel import FrontPanel
from boards.safe_outputs import outputs_off
from boards.section_port import SectionPort
from rate_control.intmath import LIMIT
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

WATCHDOG_MS = 500
WATCHDOG_RELEASED_MS = 3_600_000
IDLE_MS = 2
TIMER = 0
CAUSES = {machine.PWRON_RESET: "power", machine.WDT_RESET: "watchdog"}


class Esp32Board(Board):
    """One board; make only one. Raises ValueError where wiring.py holds bad values."""

    def __init__(self):
        outputs_off(pins)
        problems = wiring.problems()
        if problems:
            raise ValueError(problems[0])
        self._speed = PulseInput(0, Pin(pins.SPEED, Pin.IN))
        self._flow = PulseInput(1, Pin(pins.FLOW, Pin.IN))
        self._master = Pin(pins.MASTER, Pin.IN, Pin.PULL_UP)
        self._implement = Pin(pins.IMPLEMENT, Pin.IN, Pin.PULL_UP)
        self._supply = ADC(Pin(pins.SUPPLY), atten=ADC.ATTN_11DB)
        self._pump = PWM(Pin(pins.PUMP), freq=wiring.PUMP_HZ, duty_u16=0)
        self._valve_open = TimedOutput(Pin(pins.VALVE_OPEN))
        self._valve_close = TimedOutput(Pin(pins.VALVE_CLOSE))
        spi = SPI(2, baudrate=1_000_000, sck=Pin(pins.SECTION_CLOCK),
                  mosi=Pin(pins.SECTION_DATA), miso=Pin(pins.SWITCH_DATA))
        self._sections = SectionPort(spi, Pin(pins.SECTION_LATCH, Pin.OUT, value=1),
                                     Pin(pins.SECTION_OFF, Pin.OUT, value=1))
        i2c = I2C(0, sda=Pin(pins.I2C_DATA), scl=Pin(pins.I2C_CLOCK), freq=100_000)
        self._panel = FrontPanel(pins, i2c, hard=False)
        self._timer = None
        self._watchdog = None
        self._callback = None
        self._on_timer = self._run_callback

    def now_us(self):
        """See Board. This chip's ticks_us wraps at 2**30 too."""
        return ticks_us() & LIMIT

    def read(self, inputs):
        """See Board."""
        speed = self._speed
        speed.update()
        inputs.speed_count = speed.count
        inputs.speed_edge_us = speed.edge_us & LIMIT
        flow = self._flow
        flow.update()
        inputs.flow_count = flow.count
        inputs.flow_edge_us = flow.edge_us & LIMIT
        switches = self._sections.read() << SWITCH_SECTION_SHIFT
        if not self._master.value():
            switches |= SWITCH_MASTER
        if self._implement.value() != wiring.IMPLEMENT_CLOSED_IS_DOWN:
            switches |= SWITCH_IMPLEMENT
        inputs.switches = switches
        inputs.supply_mv = wiring.supply_mv(self._supply.read_u16())

    def write(self, outputs):
        """See Board."""
        self._pump.duty_u16(outputs.duty_u16)
        pulse_ms = outputs.valve_pulse_ms
        if pulse_ms > 0:
            self._valve_close.hold_ms(0)
            self._valve_open.hold_ms(pulse_ms)
        else:
            self._valve_open.hold_ms(0)
            self._valve_close.hold_ms(-pulse_ms)
        self._sections.write(outputs.section_mask)

    def make_safe(self):
        """See Board."""
        self._sections.off()
        self._pump.duty_u16(0)
        self._valve_open.hold_ms(0)
        self._valve_close.hold_ms(0)

    def start_tick(self, callback, period_us):
        """See Board. The watchdog runs from here on."""
        self._callback = callback
        self._timer = Timer(TIMER, mode=Timer.PERIODIC, period=period_us, tick_hz=1_000_000,
                            callback=self._on_timer)
        self._watchdog = WDT(timeout=WATCHDOG_MS)

    def _run_callback(self, _):
        self._callback(0)

    def feed_watchdog(self):
        """See Board."""
        self._watchdog.feed()

    def reset_cause(self):
        """See Board."""
        return CAUSES.get(machine.reset_cause(), "soft")

    def idle(self):
        """See Board."""
        sleep_ms(IDLE_MS)

    def link_stream(self):
        """See Board."""
        return ConsolePort()

    def display(self):
        """See Board."""
        return self._panel.display()

    def read_keys(self, raw):
        """See Board."""
        self._panel.read_keys(raw)

    def signal(self, lamp, buzzer):
        """See Board."""
        self._panel.signal(lamp, buzzer)

    def release(self):
        """See Board. This chip's watchdog cannot be stopped, so it is put off for an hour."""
        self.make_safe()
        if self._timer:
            self._timer.deinit()
            self._timer = None
        self._watchdog = WDT(timeout=WATCHDOG_RELEASED_MS)
