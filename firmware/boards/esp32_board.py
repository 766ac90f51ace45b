"""ESP32 boards: the promises of board.py as far as this chip's MicroPython keeps them.

What is weaker than on an RP2040: the tick is a soft timer interrupt, so a collection of garbage
holds it up (up to about 20 ms with the usual heap; a tick that is late by three drops the
outputs), and edge times are later (see esp32_pulses.py). A watchdog reset takes up to
WATCHDOG_MS. Not one line of it has run on hardware yet: docs/reference/untested.md.
"""

from time import sleep_ms, ticks_us  # type: ignore[attr-defined]  # a board has them

import machine
from machine import ADC, I2C, PWM, SPI, WDT, Pin, Timer

from boards import esp32_pins as pins
from boards import wiring
from boards.esp32_pulses import PulseInput, TimedOutput
from boards.front_panel import FrontPanel
from boards.pin_board import PinBoard
from boards.safe_outputs import outputs_off
from boards.section_port import SectionPort
from rate_control.intmath import LIMIT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

WATCHDOG_MS = 500
WATCHDOG_RELEASED_MS = 3_600_000
IDLE_MS = 2
TIMER = 0
CAUSES = {machine.PWRON_RESET: "power", machine.WDT_RESET: "watchdog"}


class Esp32Board(PinBoard):
    """One board; make only one. Raises ValueError where wiring.py holds bad values."""

    def __init__(self) -> None:
        outputs_off(pins)
        super().__init__()
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

    def pressure_input(self) -> None:
        """See Board. Every pin of the converter that works beside wireless is taken."""

    def now_us(self) -> int:
        """See Board. This chip's ticks_us wraps at 2**30 too."""
        return ticks_us() & LIMIT

    def start_tick(self, callback: "Callable[[int], None]", period_us: int) -> None:
        """See Board. The watchdog runs from here on."""
        self._callback = callback
        self._timer = Timer(TIMER, mode=Timer.PERIODIC, period=period_us, tick_hz=1_000_000,
                            callback=self._on_timer)
        self._watchdog = WDT(timeout=WATCHDOG_MS)

    def reset_cause(self) -> str:
        """See Board."""
        return CAUSES.get(machine.reset_cause(), "soft")

    def idle(self) -> None:
        """See Board."""
        sleep_ms(IDLE_MS)

    def release(self) -> None:
        """See Board. This chip's watchdog cannot be stopped, so it is put off for an hour."""
        self.make_safe()
        if self._timer:
            self._timer.deinit()
            self._timer = None
        self._watchdog = WDT(timeout=WATCHDOG_RELEASED_MS)
