"""Run ticks of an eight-section controller, or turns of a reference loop: for the cost of a tick.

    tick_cost.py parked|applying|reference COUNT

The machine drives at 3 m/s with 390 pulses a second, its meter gives 150. The reference loop is
an integer multiply, add and modulo, so that a tick can be told in units of something that every
processor does.
"""

import sys

from rate_control.controller import Controller
from rate_control.interlock import APPLYING, PARKED
from rate_control.intmath import LIMIT
from rate_control.records import Inputs
from rate_control.settings import build
from rate_control.units import MAX_SECTIONS, SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_US

START_US = LIMIT - 2000000  # two seconds before the clock wraps
SPEED_PULSE_US = 2564
FLOW_PULSE_US = 6667
SETTLED_TICKS = 60
ALL_SECTIONS = (1 << MAX_SECTIONS) - 1 << 2


class Drive:
    """Inputs of a steady drive; nothing is allocated."""

    def __init__(self):
        self.inputs = Inputs()
        self.inputs.supply_mv = 12600
        self.now_us = START_US
        self._elapsed_us = 0

    def next_tick(self, switches):
        """Live one tick on."""
        self._elapsed_us += TICK_US
        self.now_us = (START_US + self._elapsed_us) & LIMIT
        inputs = self.inputs
        inputs.switches = switches
        inputs.speed_count = self._elapsed_us // SPEED_PULSE_US
        inputs.speed_edge_us = (START_US + inputs.speed_count * SPEED_PULSE_US) & LIMIT
        inputs.flow_count = self._elapsed_us // FLOW_PULSE_US
        inputs.flow_edge_us = (START_US + inputs.flow_count * FLOW_PULSE_US) & LIMIT


def ticks(wanted, count):
    """Bring a controller into a state, then run ticks there."""
    settings, problems = build({"section_count": MAX_SECTIONS})
    assert not problems, problems
    controller = Controller(settings)
    drive = Drive()
    switches = SWITCH_IMPLEMENT | ALL_SECTIONS
    for number in range(SETTLED_TICKS + count):
        if wanted == APPLYING and number == SETTLED_TICKS // 2:
            switches |= SWITCH_MASTER
        drive.next_tick(switches)
        controller.step(drive.inputs, drive.now_us)
    assert controller.decided.state == wanted, controller.decided.state


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
        ticks({"parked": PARKED, "applying": APPLYING}[work], count)


main()
