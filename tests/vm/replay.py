"""Replay a recording a number of times, with or without the controller: for the cost of a tick.

    replay.py FILE TIMES step|idle

Prints the number of ticks.
"""

import sys

from rate_control.controller import Controller
from rate_control.settings import build
from tests.vm.recorded_inputs import RecordedInputs


def replay(path, with_step):
    """Replay once; returns the number of ticks."""
    recording = RecordedInputs(path)
    settings, problems = build(recording.settings)
    assert not problems, problems
    controller = Controller(settings)
    ticks = 0
    while recording.next_tick():
        recording.fill(controller.request)
        if with_step:
            controller.step(recording.inputs, recording.now_us)
        ticks += 1
    recording.close()
    return ticks


def main():
    """Replay as the command line says."""
    path, times, mode = sys.argv[1:]
    print(sum([replay(path, mode == "step") for _ in range(int(times))]))


main()
