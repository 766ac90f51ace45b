"""Encoder, keys, lamp, buzzer and display: the same on every board with a front panel."""

from time import sleep_ms  # type: ignore[attr-defined]  # a board has it

from machine import Pin

from rate_control.intmath import LIMIT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from types import ModuleType

    from machine import I2C

    from app.displays.display import Display
    from app.keys import RawKeys

# Quarter steps by (levels before) * 4 + (levels now), A in bit 1. Two bits at once tell nothing.
QUARTER_STEPS = (0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0)


class FrontPanel:
    """pins is a pin table; hard tells whether this chip has interrupts that the collector
    of garbage does not hold up.
    """

    def __init__(self, pins: "ModuleType", i2c: "I2C", hard: bool) -> None:
        self._i2c = i2c
        self._display: "Display | None" = None
        self._probed = False
        self._a = Pin(pins.ENCODER_A, Pin.IN, Pin.PULL_UP)
        self._b = Pin(pins.ENCODER_B, Pin.IN, Pin.PULL_UP)
        # an input that has no pull-up of its own ignores this one; the wiring has another
        self._push = Pin(pins.PUSH, Pin.IN, Pin.PULL_UP)
        self._back = Pin(pins.BACK, Pin.IN, Pin.PULL_UP)
        self._lamp = Pin(pins.LAMP, Pin.OUT, value=0)
        self._buzzer = Pin(pins.BUZZER, Pin.OUT, value=0)
        self._quarters = 0
        self._levels = self._encoder_levels()
        edges = Pin.IRQ_RISING | Pin.IRQ_FALLING
        options = {"hard": True} if hard else {}
        for pin in (self._a, self._b):
            pin.irq(self._turned, edges, **options)

    def _encoder_levels(self) -> int:
        return self._a.value() << 1 | self._b.value()

    def _turned(self, _: "Pin") -> None:
        """Count a quarter step. Bounce counts forth and back again, so it comes to nothing."""
        levels = self._encoder_levels()
        step = QUARTER_STEPS[self._levels << 2 | levels]
        self._levels = levels
        self._quarters = (self._quarters + step) & LIMIT

    def read_keys(self, raw: "RawKeys") -> None:
        """Fill an app.keys.RawKeys."""
        raw.quarters = self._quarters
        raw.push = 1 - self._push.value()
        raw.back = 1 - self._back.value()

    def signal(self, lamp: int, buzzer: int) -> None:
        """Switch lamp and buzzer on (1) or off (0)."""
        self._lamp.value(lamp)
        self._buzzer.value(buzzer)

    def display(self) -> "Display | None":
        """Return the display that answers, None where none does; looked for once."""
        if not self._probed:
            self._display = self._find()
            self._probed = True
        return self._display

    def _find(self) -> "Display | None":
        addresses = self._i2c.scan()
        if 0x3C in addresses:
            from app.displays.ssd1306 import Ssd1306

            return Ssd1306(self._i2c, 0x3C)
        for address in (0x27, 0x3F):
            if address in addresses:
                from app.displays.hd44780 import Hd44780

                return Hd44780(self._i2c, sleep_ms, address)
        return None
