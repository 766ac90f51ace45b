"""RP2040 and RP2350 boards of the Pico shape: the promises of board.py kept by hardware.

Pulses are counted by PIO and carried by DMA, the regulating valve's pulse is ended by PIO, PWM
runs by itself, and the tick is a hard timer interrupt, which the collector of garbage does not
hold up. What stops the tick for longer, an erase of the flash, is left to the application: it
writes only while outputs are off. If the tick dies for good, the watchdog resets the chip and
the resistors outside keep the outputs off until boot.py has driven them there.
"""

from time import sleep_ms, ticks_us  # type: ignore[attr-defined]  # a board has them

import machine
import rp2
from machine import ADC, I2C, PWM, SPI, UART, WDT, Pin, Timer

from boards import rp2_pins as pins
from boards import wiring
from boards.front_panel import FrontPanel
from boards.pin_board import PinBoard
from boards.rp2_pulses import PulseInput, TimedOutput
from boards.safe_outputs import outputs_off
from boards.section_port import SectionPort

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from boards.can_port import SharedCanPort
    from boards.card_port import SharedCardPort
    from boards.pressure_input import PressureInput

COUNT_MACHINES = (0, 1)  # both in PIO block 0, so that they share one program
VALVE_MACHINES = (4, 5)  # block 1

# An erase of a flash sector takes 45 ms, 400 ms at the worst (W25Q16JV data sheet, table 9.6;
# from memory), and happens with outputs off. A tick that is late by three drops them long before.
WATCHDOG_MS = 500
IDLE_MS = 2
GNSS_BUFFER = 512  # half a second at 9600 bauds: the loop is seldom away for longer

# Watchdog registers (RP2040 data sheet, 4.7.6; RP2350 data sheet, 12.9.7): the same offsets.
WATCHDOG_RP2040 = 0x40058000
WATCHDOG_RP2350 = 0x400D8000
REASON = 0x08
SCRATCH = 0x0C
REASON_TIMER = 1
REASON_FORCE = 2
RUNNING_MARK = 0x1A7E5EED  # in SCRATCH: this program has run since power-up
CLEAR_ALIAS = 0x3000
CTRL_ENABLE = 1 << 30


def watchdog_base() -> int:
    """Return the address of this chip's watchdog; only the RP2350 has a third PIO block."""
    try:
        rp2.PIO(2)
    except ValueError:
        return WATCHDOG_RP2040
    return WATCHDOG_RP2350


def has(name: str) -> bool:
    """Return whether this board's table has a pin that a board may do without."""
    return hasattr(pins, name)


class Rp2Board(PinBoard):
    """One board; make only one. Raises ValueError where wiring.py holds bad values."""

    def __init__(self) -> None:
        outputs_off(pins)
        super().__init__()
        problems = wiring.problems()
        if problems:
            raise ValueError(problems[0])
        self._cause = self._take_reset_cause()
        self._speed = PulseInput(COUNT_MACHINES[0], Pin(pins.SPEED, Pin.IN, Pin.PULL_UP))
        self._flow = PulseInput(COUNT_MACHINES[1], Pin(pins.FLOW, Pin.IN, Pin.PULL_UP))
        self._master = Pin(pins.MASTER, Pin.IN, Pin.PULL_UP)
        self._implement = Pin(pins.IMPLEMENT, Pin.IN, Pin.PULL_UP)
        self._supply = ADC(pins.SUPPLY)
        self._pump = PWM(Pin(pins.PUMP), freq=wiring.PUMP_HZ, duty_u16=0)
        self._valve_open = TimedOutput(VALVE_MACHINES[0], Pin(pins.VALVE_OPEN))
        self._valve_close = TimedOutput(VALVE_MACHINES[1], Pin(pins.VALVE_CLOSE))
        self._spi = spi = SPI(
            0, baudrate=1_000_000, sck=Pin(pins.SECTION_CLOCK), mosi=Pin(pins.SECTION_DATA),
            miso=Pin(pins.SWITCH_DATA, Pin.IN, Pin.PULL_UP))
        self._sections = SectionPort(spi, Pin(pins.SECTION_LATCH, Pin.OUT, value=1),
                                     Pin(pins.SECTION_OFF, Pin.OUT, value=1))
        i2c = I2C(0, sda=Pin(pins.I2C_DATA), scl=Pin(pins.I2C_CLOCK), freq=100_000)
        self._panel = FrontPanel(pins, i2c, hard=True)

    def _take_reset_cause(self) -> str:
        """Return why the program starts, and leave the mark for the next time."""
        base = watchdog_base()
        reason = machine.mem32[base + REASON]
        ran_before = machine.mem32[base + SCRATCH] == RUNNING_MARK
        machine.mem32[base + SCRATCH] = RUNNING_MARK
        if reason & REASON_TIMER:
            return "watchdog"
        return "soft" if ran_before or reason & REASON_FORCE else "power"

    def gnss_stream(self) -> "UART | None":
        """See Board."""
        if not wiring.GNSS_BAUD or not (has("GNSS_RX") and has("CARD_SELECT")):
            return None
        receive = Pin(pins.GNSS_RX, Pin.IN, Pin.PULL_UP)  # quiet where nothing is wired
        stream = UART(0, baudrate=wiring.GNSS_BAUD, tx=Pin(pins.CARD_SELECT), rx=receive,
                      rxbuf=GNSS_BUFFER, timeout=0)
        # nothing is sent to a receiver: the pin that a UART has to have is the card's again
        Pin(pins.CARD_SELECT, Pin.OUT, value=1)
        return stream

    def can_port(self) -> "SharedCanPort | None":
        """See Board."""
        if not wiring.CAN_MHZ or not has("CAN_SELECT"):
            return None
        from boards.can_port import SharedCanPort
        select = Pin(pins.CAN_SELECT, Pin.OUT, value=1)
        return SharedCanPort(self._spi, select, self._sections, wiring.CAN_MHZ)

    def card_port(self) -> "SharedCardPort | None":
        """See Board."""
        if not wiring.SD_CARD or not has("CARD_SELECT"):
            return None
        from boards.card_port import SharedCardPort
        return SharedCardPort(self._spi, Pin(pins.CARD_SELECT, Pin.OUT, value=1), self._sections)

    def pressure_input(self) -> "PressureInput | None":
        """See Board."""
        if not has("PRESSURE"):
            return None
        from boards.pressure_input import PressureInput
        return PressureInput(pins.PRESSURE)

    def now_us(self) -> int:
        """See Board."""
        return ticks_us()

    def start_tick(self, callback: "Callable[[int], None]", period_us: int) -> None:
        """See Board. The watchdog runs from here on."""
        self._callback = callback
        self._timer = Timer(-1, period=period_us, tick_hz=1_000_000, hard=True,
                            callback=self._on_timer)
        self._watchdog = WDT(timeout=WATCHDOG_MS)

    def reset_cause(self) -> str:
        """See Board. A reset that the program asked for is "soft" too."""
        return self._cause

    def idle(self) -> None:
        """See Board."""
        sleep_ms(IDLE_MS)

    def release(self) -> None:
        """See Board."""
        self.make_safe()
        if self._timer:
            self._timer.deinit()
            self._timer = None
        machine.mem32[watchdog_base() + CLEAR_ALIAS] = CTRL_ENABLE
