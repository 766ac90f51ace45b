"""Run the controller over a recording of inputs and print the digest of its trace.

    digest.py FILE [TICK FIELD CHANGE]

With TICK, FIELD and CHANGE, the number CHANGE is added to that field of that tick before the
controller sees it. Prints `ticks N applying N sha256 HEX`.
"""

import binascii
import hashlib
import sys
from array import array

from rate_control.controller import Controller
from rate_control.interlock import STATE_NAMES
from rate_control.settings import build
from tests.vm.recorded_inputs import RecordedInputs


def make_controller(values):
    """Return a controller with these settings, which must be permitted."""
    settings, problems = build(values)
    if problems:
        raise ValueError("; ".join(problems))
    return Controller(settings)


def digest(recording, changed_tick, field, change):
    """Return the number of ticks, of applying ticks, and the SHA-256 of all trace lines."""
    controller = make_controller(recording.settings)
    line = array("i", [0] * len(controller.trace))
    sha256 = hashlib.sha256()
    ticks = applying = 0
    while recording.next_tick():
        if ticks == changed_tick:
            recording.numbers[recording.fields.index(field)] += change
        recording.fill(controller.request)
        controller.step(recording.inputs, recording.now_us)
        for index in range(len(line)):
            line[index] = controller.trace[index]
        sha256.update(line)
        ticks += 1
        applying += STATE_NAMES[controller.decided.state] == "applying"
    return ticks, applying, binascii.hexlify(sha256.digest()).decode()


def main():
    """Print the digest of the recording that the command line names."""
    recording = RecordedInputs(sys.argv[1])
    tick, field, change = sys.argv[2:] or (-1, "", 0)
    print("ticks %d applying %d sha256 %s" % digest(recording, int(tick), field, int(change)))
    recording.close()


main()
