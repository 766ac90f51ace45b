"""What every board made of pins has in common; the chips' own files say how each pin is made."""

from boards import wiring
from boards.board import Board
from boards.console_port import ConsolePort
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT


class PinBoard(Board):
    """Reads and drives what the chip's board has made: two pulse inputs, pins, ports, a panel.

    The chip's __init__ sets _speed, _flow (with update(), count, edge_us), _master, _implement
    (pins), _supply (ADC), _pump (PWM), _valve_open, _valve_close (with hold_ms()), _sections
    (SectionPort), _panel (FrontPanel); start_tick() sets _callback, _timer and _watchdog.
    """

    def __init__(self):
        self._timer = None
        self._watchdog = None
        self._callback = None
        self._pulsed_ms = 0
        self._on_timer = self._run_callback  # a bound method made once, not in the interrupt

    def read(self, inputs):
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

    def write(self, outputs):
        """See Board. Allocates nothing."""
        self._pump.duty_u16(outputs.duty_u16)
        pulse_ms = outputs.valve_pulse_ms
        if pulse_ms or self._pulsed_ms:
            self._hold_valve(pulse_ms)
        self._sections.write(outputs.section_mask)

    def _hold_valve(self, pulse_ms):
        self._pulsed_ms = pulse_ms
        # the one that stops goes first, so that never both are on
        if pulse_ms > 0:
            self._valve_close.hold_ms(0)
            self._valve_open.hold_ms(pulse_ms)
        else:
            self._valve_open.hold_ms(0)
            self._valve_close.hold_ms(-pulse_ms)

    def make_safe(self):
        """See Board. The pump's pin follows within one period of its PWM."""
        self._sections.off()
        self._pump.duty_u16(0)
        self._hold_valve(0)

    def _run_callback(self, _):
        self._callback(0)

    def feed_watchdog(self):
        """See Board."""
        self._watchdog.feed()

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
