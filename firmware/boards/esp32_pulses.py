"""Pulse inputs and timed outputs of the ESP32, on its pulse counter and its RMT.

The pulse counter counts every edge in hardware, so no pulse is lost. It has no clock, and this
chip's pin interrupts reach Python only when the interpreter comes round to them, so the time of
an edge is known less well than on an RP2040:

- up to BUSY_EDGES a tick (1280 Hz) each edge asks for an interrupt, which takes count and time
  together. The time is late by the interpreter's delay, about 20 to 100 us, and while garbage is
  collected by up to 20 ms; but never by more than one period of the pulses, because a later edge
  is then in the count as well.
- above, count and time are taken when the board is read: late by up to one period, that is at
  most 1/BUSY_EDGES of what passed since the last tick.

These delays are expected from the interpreter's sources, not measured (docs/reference/untested.md).
"""

from time import ticks_us  # type: ignore[attr-defined]  # a board has it

from esp32 import PCNT, RMT

from rate_control.intmath import LIMIT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from machine import Pin

COUNT_TOP = 32767  # the counter goes to 0 there
FILTER_TICKS = 1000  # of 80 MHz: a level must hold for 12.5 us
BUSY_EDGES = 64
RMT_HZ = 1_000_000
RMT_LONGEST_US = 32767  # one item; a longer pulse takes two


class PulseInput:
    """Counts the rising edges of one pin; update() takes count and edge_us, both 0..LIMIT."""

    def __init__(self, unit: int, pin: "Pin") -> None:
        self.count = 0
        self.edge_us = ticks_us() & LIMIT
        self._pin = pin
        self._seen = 0  # of the hardware's counter
        self._at_read = 0  # count at the last update()
        self._listening = True
        self._counter = PCNT(unit, pin=pin, rising=PCNT.INCREMENT, max=COUNT_TOP,
                             filter=FILTER_TICKS)
        self._counter.start()
        self._on_edge = self._take_and_listen
        pin.irq(self._on_edge, pin.IRQ_RISING)

    def _take(self) -> None:
        """Take count and time together; the hardware's counter goes round at COUNT_TOP."""
        value = self._counter.value()
        new = (value - self._seen) % COUNT_TOP
        if new:
            self._seen = value
            self.count = (self.count + new) & LIMIT
            self.edge_us = ticks_us() & LIMIT

    def _take_and_listen(self, pin: "Pin") -> None:
        self._take()
        if (self.count - self._at_read) & LIMIT > BUSY_EDGES:
            pin.irq(None)  # too many to follow; update() looks from now on
            self._listening = False

    def update(self) -> None:
        """Bring count and edge_us up to date. Call it at least 3 times a second at 10 kHz."""
        before = self._at_read
        if not self._listening:
            self._take()
            if (self.count - before) & LIMIT < BUSY_EDGES // 2:
                self._listening = True
                self._pin.irq(self._on_edge, self._pin.IRQ_RISING)
        self._at_read = self.count


class TimedOutput:
    """An output pin that goes low by itself, whatever becomes of the processor.

    The RMT plays one pulse. A new one has to wait for the end of the one before.
    """

    def __init__(self, pin: "Pin") -> None:
        self._pin = pin
        self._rmt = RMT(pin=pin, resolution_hz=RMT_HZ)

    def hold_ms(self, length_ms: int) -> None:
        """Hold the pin high for this long from now on; 0 lets it go at once."""
        rmt = self._rmt
        if not rmt.wait_done():
            rmt.active(False)  # stops the pulse; the pin goes to its idle level, low
        if length_ms:
            rest_us = length_ms * 1000
            if rest_us <= RMT_LONGEST_US:
                rmt.write_pulses((rest_us,), 1)
            else:
                rmt.write_pulses((RMT_LONGEST_US, rest_us - RMT_LONGEST_US), (1, 1))
