"""Run ticks of an eight-section controller, or turns of a reference loop: for the cost of a tick.

    tick_cost.py parked|applying|warning|learned|inputs TICKS ACTUATOR
    tick_cost.py reference TURNS

The machine drives at 3 m/s with 390 pulses a second. Its meter gives 108 pulses a second, which
is right for the rate, or, for `warning` and `learned`, a fifth more than their open sections
should get, so that the loop corrects as far as it can and warnings are on their way. For `learned`
one of the eight sections is off, and every number that a procedure can learn about a machine is
there to be reckoned with. `inputs` does all but the controller's step. The reference loop is an
integer multiply, add and modulo, so that a tick can be told in units of something that every
processor does.
"""

import sys

from rate_control.controller import Controller
from rate_control.interlock import STATE_NAMES
from rate_control.intmath import LIMIT
from rate_control.records import Inputs
from rate_control.settings import build
from rate_control.units import MAX_SECTIONS, SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_US

START_US = LIMIT - 2000000  # two seconds before the clock wraps
SPEED_PULSE_US = 2564
FLOW_PULSE_US = {"warning": 7600, "learned": 8700}
RIGHT_FLOW_PULSE_US = 9259
STARTED_TICK = 30
LEARNED = {
    "curve_supply_mv": 13000,
    "curve_pressure_u16": 8000,
    "curve_gap_u16": 1500,
    "curve_share_ul_s": 400000,
    "meter_droop_ul_s": 4000,
    "liquid_density_g_l": 1280,
    "look_ahead_ms": 150,
}
ALL_SECTIONS = (1 << MAX_SECTIONS) - 1 << 2


class Drive:
    """Inputs of a steady drive; nothing is allocated."""

    def __init__(self, flow_pulse_us):
        self.inputs = Inputs()
        self.inputs.supply_mv = 12600
        self.now_us = START_US
        self._flow_pulse_us = flow_pulse_us
        self._elapsed_us = 0

    def next_tick(self, switches):
        """Live one tick on."""
        self._elapsed_us += TICK_US
        self.now_us = (START_US + self._elapsed_us) & LIMIT
        inputs = self.inputs
        inputs.switches = switches
        inputs.speed_count = self._elapsed_us // SPEED_PULSE_US
        inputs.speed_edge_us = (START_US + inputs.speed_count * SPEED_PULSE_US) & LIMIT
        inputs.flow_count = self._elapsed_us // self._flow_pulse_us
        inputs.flow_edge_us = (START_US + inputs.flow_count * self._flow_pulse_us) & LIMIT


def ticks(work, count, actuator):
    """Run ticks from the start on; all but the first few are in the wanted state."""
    values = {"section_count": MAX_SECTIONS, "actuator": actuator}
    switches = SWITCH_IMPLEMENT | ALL_SECTIONS
    if work == "learned":
        values.update(LEARNED)
        switches = SWITCH_IMPLEMENT | ALL_SECTIONS >> 1 & ALL_SECTIONS
    settings, problems = build(values)
    assert not problems, problems
    controller = Controller(settings)
    drive = Drive(FLOW_PULSE_US.get(work, RIGHT_FLOW_PULSE_US))
    for number in range(count):
        if work != "parked" and number == STARTED_TICK:
            switches |= SWITCH_MASTER
        drive.next_tick(switches)
        if work != "inputs":
            controller.step(drive.inputs, drive.now_us)
    wanted = "parked" if work in ("parked", "inputs") else "applying"
    assert STATE_NAMES[controller.decided.state] == wanted


def reference(turns):
    """The reference loop."""
    total = 1
    for turn in range(turns):
        total = (total * 5 + turn) % 65521
    return total


def main():
    """Do what the command line says."""
    work, count = sys.argv[1], int(sys.argv[2])
    if work == "reference":
        reference(count)
    else:
        ticks(work, count, int(sys.argv[3]))


main()
