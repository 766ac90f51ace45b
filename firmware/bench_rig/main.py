"""main.py of the rig's board: steps on time, and lines from the host in between."""

from time import ticks_add, ticks_diff, ticks_us

from bench_rig.program import RigProgram
from bench_rig.rig import STEP_US
from bench_rig.rp2_port import Rp2Port
from boards.console_port import ConsolePort


def run():
    """Never return; whatever ends it, all contacts are open and no pulses go out."""
    program = RigProgram(Rp2Port(), ConsolePort())
    due = ticks_us()
    try:
        while True:
            program.poll()
            now = ticks_us()
            if not program.running:
                due = ticks_add(now, STEP_US)
            elif ticks_diff(now, due) >= 0:
                program.step(ticks_diff(now, due))
                due = ticks_add(due, STEP_US)
    finally:
        program.rest()


if __name__ == "__main__":
    run()
