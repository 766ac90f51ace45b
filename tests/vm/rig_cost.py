"""Run steps of the bench rig with eight sections: for the cost of a step, and its garbage.

    rig_cost.py STEPS PLANT_AS_JSON

Prints how many bytes of heap a step takes; the collector is off on this machine.
"""

import gc
import json
import sys

from bench_rig.rig import Rig

SETTLED = 20


class SteadyPort:
    """A controller that drives steadily, three short valve pulses in a row of steps."""

    def __init__(self):
        self.steps = 0

    def read(self, drive):
        self.steps += 1
        drive.duty = 0.6
        drive.section_mask = 0xFF
        drive.valve_us = 10_000 if self.steps % 10 < 3 else 0
        drive.valve_direction = 1
        drive.valve_goes_on = int(self.steps % 10 < 2)

    def pulses(self, channel, moments):
        pass

    def switches(self, closed):
        pass

    def supply(self, volts):
        pass


def main(steps, plant):
    """Run them."""
    rig = Rig(SteadyPort(), {"plant": json.loads(plant), "speed": [[0, 2.5], [1000, 2.5]],
                             "switches": [[0, 0x3FF]]})
    for _ in range(SETTLED):
        rig.step()
    before = gc.mem_alloc()
    for _ in range(steps):
        rig.step()
    print((gc.mem_alloc() - before) // max(steps, 1))


main(int(sys.argv[1]), sys.argv[2])
