"""What every board made of pins has in common; the chips' own files say how each pin is made."""

from boards import wiring
from boards.board import Board
from boards.console_port import ConsolePort
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    from machine import ADC, PWM, WDT, Pin, Timer

    from app.displays.display import Display
    from app.keys import RawKeys
    from boards.front_panel import FrontPanel
    from boards.section_port import SectionPort
    from rate_control.records import Inputs, Outputs

    class Pulses(Protocol):
        """What a chip's PulseInput has."""

        count: int
        edge_us: int

        def update(self) -> None:
            """Bring count and edge_us up to date."""

    class Timed(Protocol):
        """What a chip's TimedOutput has."""

        def hold_ms(self, length_ms: int) -> None:
            """Hold the pin high for this long from now on."""


class PinBoard(Board):
    """Reads and drives what the chip's board has made: two pulse inputs, pins, ports, a panel.

    The chip's __init__ sets what is named here; start_tick() sets callback, timer and watchdog.
    """

    _speed: "Pulses"
    _flow: "Pulses"
    _master: "Pin"
    _implement: "Pin"
    _supply: "ADC"
    _pump: "PWM"
    _valve_open: "Timed"
    _valve_close: "Timed"
    _sections: "SectionPort"
    _panel: "FrontPanel"
    _callback: "Callable[[int], None]"
    _watchdog: "WDT"

    def __init__(self) -> None:
        self._timer: "Timer | None" = None
        self._pulsed_ms = 0
        self._on_timer = self._run_callback  # a bound method made once, not in the interrupt

    def read(self, inputs: "Inputs") -> None:
        """See Board. Allocates nothing."""
        speed = self._speed
        speed.update()
        inputs.speed_count = speed.count
        inputs.speed_edge_us = speed.edge_us
        flow = self._flow
        flow.update()
        inputs.flow_count = flow.count
        inputs.flow_edge_us = flow.edge_us
        switches = self._sections.read() << SWITCH_SECTION_SHIFT
        if not self._master.value():
            switches |= SWITCH_MASTER
        if not self._implement.value():
            switches |= SWITCH_IMPLEMENT
        inputs.switches = switches
        inputs.supply_mv = wiring.supply_mv(self._supply.read_u16())

    def write(self, outputs: "Outputs") -> None:
        """See Board. Allocates nothing."""
        self._pump.duty_u16(outputs.duty_u16)
        pulse_ms = outputs.valve_pulse_ms
        if pulse_ms or self._pulsed_ms:
            self._hold_valve(pulse_ms)
        self._sections.write(outputs.section_mask)

    def _hold_valve(self, pulse_ms: int) -> None:
        self._pulsed_ms = pulse_ms
        # the one that stops goes first, so that never both are on
        if pulse_ms > 0:
            self._valve_close.hold_ms(0)
            self._valve_open.hold_ms(pulse_ms)
        else:
            self._valve_open.hold_ms(0)
            self._valve_close.hold_ms(-pulse_ms)

    def make_safe(self) -> None:
        """See Board. The pump's pin follows within one period of its PWM."""
        self._sections.off()
        self._pump.duty_u16(0)
        self._hold_valve(0)

    def _run_callback(self, _: "Timer") -> None:
        self._callback(0)

    def feed_watchdog(self) -> None:
        """See Board."""
        self._watchdog.feed()

    def link_stream(self) -> ConsolePort:
        """See Board."""
        return ConsolePort()

    def display(self) -> "Display | None":
        """See Board."""
        return self._panel.display()

    def read_keys(self, raw: "RawKeys") -> None:
        """See Board."""
        self._panel.read_keys(raw)

    def signal(self, lamp: int, buzzer: int) -> None:
        """See Board."""
        self._panel.signal(lamp, buzzer)
