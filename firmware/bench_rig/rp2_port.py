"""The rig's pins on an RP2040/RP2350: real pulses out, what the controller drives in.

No pin drives the controller's switches high: they are pulled to ground or left open. Pulses come
LEAD_US after the moment that they belong to, so that a step which is late delays none.
"""

from array import array
from time import ticks_diff, ticks_us

import machine
import rp2
from machine import PWM, Pin

from bench_rig import rig_pins as pins
from bench_rig.rig import FLOW, SPEED, STEP_US
from bench_rig.rig_pio import (
    AFTER_US,
    BEFORE_US,
    EDGE,
    PULSE_HZ,
    give_register,
    send_pulses,
    take_register,
    time_high,
)
from boards import wiring
from boards.rp2_pulses import RECORD_WORDS, PulseInput
from rate_control.intmath import LIMIT
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

DUTY_MACHINES = (0,)  # block 0
PULSE_MACHINES = (1, 2)  # the same; by channel
TAKE_MACHINES = (4,)  # block 1
GIVE_MACHINES = (5,)
LEAD_US = STEP_US
SUPPLY_HZ = 100_000
NO_EDGE_US = 25_000  # a PWM has an edge more often (boards/wiring.py: 50 Hz or more)


class DutyInput(PulseInput):
    """Duty of a PWM, over whole periods: see time_high."""

    def __init__(self, machine_number, pin):
        self._pin = pin
        self._words = array("I", [0] * RECORD_WORDS)
        self._start_us = 0
        self.count = self.edge_us = 0
        state_machine = rp2.StateMachine(machine_number, time_high, freq=machine.freq(),
                                         jmp_pin=pin)
        state_machine.exec("set(x, 0)")
        state_machine.exec("set(y, 0)")
        self._machine = state_machine
        self._channels = self._start_channels(machine_number)
        state_machine.active(1)
        self._duty = 0.0
        self._seen_us = ticks_us()

    def duty(self):
        """Return the duty, 0 to 1, since the last call."""
        high, turns = self.count, self.edge_us
        self.update()
        passed = (self.edge_us - turns) & LIMIT
        if passed:
            self._duty = ((self.count - high) & LIMIT) / passed
            self._seen_us = ticks_us()
        elif ticks_diff(ticks_us(), self._seen_us) > NO_EDGE_US:
            self._duty = 1.0 * self._pin.value()
        return self._duty


class OnTime:
    """How long a pin was high since the last look, to some 20 us, by an interrupt at each edge."""

    def __init__(self, pin):
        self.on_us = 0
        self.high = 0
        self._pin = pin
        self._since_us = ticks_us()
        self._passed_us = 0
        pin.irq(self._edge, pin.IRQ_RISING | pin.IRQ_FALLING, hard=True)

    def _edge(self, pin):
        now = ticks_us()
        if self.high:
            self._passed_us += ticks_diff(now, self._since_us)
        self.high = pin.value()
        self._since_us = now

    def look(self):
        """Take the time into on_us and begin anew."""
        state = machine.disable_irq()
        self._edge(self._pin)
        self.on_us = min(self._passed_us, STEP_US)
        self._passed_us = 0
        machine.enable_irq(state)


class PulseOutput:
    """Pulses at given moments of each step; the words of a step say its whole time."""

    def __init__(self, machine_number, pin):
        self._machine = rp2.StateMachine(machine_number, send_pulses, freq=PULSE_HZ, set_base=pin)
        self._pin = pin
        self.stop()

    def stop(self):
        """Send nothing more, and forget what was to be sent."""
        state_machine = self._machine
        state_machine.active(0)
        state_machine.init(send_pulses, freq=PULSE_HZ, set_base=self._pin)
        state_machine.active(1)
        self._at_us = -LEAD_US  # where the words so far end, from the beginning of this step

    def send(self, moments):
        """Give the pulses of a step, microseconds from its beginning."""
        for moment_us in moments:
            wait_us = max(moment_us - self._at_us - BEFORE_US, 0)
            self._machine.put(EDGE | wait_us)
            self._at_us += wait_us + BEFORE_US + AFTER_US
        wait_us = STEP_US - self._at_us - BEFORE_US
        if wait_us >= 0:
            self._machine.put(wait_us)
            self._at_us = STEP_US
        self._at_us -= STEP_US


class Rp2Port:
    """All pins of the rig; make only one."""

    def __init__(self):
        self._duty = DutyInput(DUTY_MACHINES[0], Pin(pins.PUMP, Pin.IN, Pin.PULL_DOWN))
        self._opens = OnTime(Pin(pins.VALVE_OPEN, Pin.IN, Pin.PULL_DOWN))
        self._closes = OnTime(Pin(pins.VALVE_CLOSE, Pin.IN, Pin.PULL_DOWN))
        self._off = Pin(pins.SECTION_OFF, Pin.IN, Pin.PULL_UP)
        self._contacts = tuple(Pin(number, Pin.OPEN_DRAIN, value=1)
                               for number in (pins.MASTER, pins.IMPLEMENT))
        self._supply = PWM(Pin(pins.SUPPLY), freq=SUPPLY_HZ, duty_u16=0)
        self._outputs = tuple(
            PulseOutput(PULSE_MACHINES[channel], Pin(number, Pin.OUT, value=0))
            for channel, number in ((SPEED, pins.SPEED), (FLOW, pins.FLOW)))
        self._mask = 0
        self._closed = -1
        self._start_registers()

    def _start_registers(self):
        clock = Pin(pins.SECTION_CLOCK, Pin.IN, Pin.PULL_DOWN)
        Pin(pins.SECTION_DATA, Pin.IN, Pin.PULL_DOWN)
        latch = Pin(pins.SECTION_LATCH, Pin.IN, Pin.PULL_UP)
        self._take = rp2.StateMachine(TAKE_MACHINES[0], take_register, freq=machine.freq(),
                                      in_base=clock, jmp_pin=latch)
        self._give = rp2.StateMachine(GIVE_MACHINES[0], give_register, freq=machine.freq(),
                                      in_base=clock, jmp_pin=latch,
                                      out_base=Pin(pins.SWITCH_DATA, Pin.OUT, value=1))
        self.switches(0)
        self._take.active(1)
        self._give.active(1)

    def read(self, drive):
        """Fill a Drive with what the controller drives."""
        drive.duty = self._duty.duty()
        while self._take.rx_fifo():
            self._mask = self._take.get() & 0xFF
        drive.section_mask = 0 if self._off.value() else self._mask
        opens, closes = self._opens, self._closes
        opens.look()
        closes.look()
        valve = opens if opens.on_us >= closes.on_us else closes
        drive.valve_us = valve.on_us
        drive.valve_goes_on = valve.high
        drive.valve_direction = 0 if not valve.on_us else 1 if valve is opens else -1

    def pulses(self, channel, moments):
        """Send the pulses of a step."""
        self._outputs[channel].send(moments)

    def switches(self, closed):
        """Close the contacts of a mask, open all others."""
        if closed == self._closed:
            return
        self._closed = closed
        for pin, bit in zip(self._contacts, (SWITCH_MASTER, SWITCH_IMPLEMENT)):
            pin.value(0 if closed & bit else 1)
        inputs = (closed >> SWITCH_SECTION_SHIFT & 0xFF) ^ 0xFF  # a closed contact reads low
        self._give.put(inputs << 24)  # the highest bit first

    def supply(self, volts):
        """Show the controller a supply, over the filter at its pin."""
        full_v = wiring.SUPPLY_FULL_MV / 1000
        self._supply.duty_u16(min(int(volts / full_v * 65535), 65535))

    def rest(self):
        """Open all contacts, send no pulses."""
        self.switches(0)
        for output in self._outputs:
            output.stop()
