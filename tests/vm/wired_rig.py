"""The bench rig's program on a VM whose pins are lines of text: see tests/support/rig_pair.py.

A line in is a step: duty in ppm, sections, valve microseconds, direction, whether it goes on, and
what the host has sent, in hex. A line out: closed contacts, supply in mV, moments of the speed
pulses and of the meter's, and what was told to the host.
"""

import sys
from binascii import hexlify, unhexlify

from bench_rig.program import RigProgram


class WirePort:
    """The pins."""

    def __init__(self):
        self.seen = [0, 0, 0, 0, 0]
        self.closed = 0
        self.supply_mv = 0
        self.moments = [[], []]

    def read(self, drive):
        ppm, drive.section_mask, drive.valve_us, drive.valve_direction, drive.valve_goes_on = (
            self.seen)
        drive.duty = ppm / 1e6

    def pulses(self, channel, moments):
        self.moments[channel] = moments

    def switches(self, closed):
        self.closed = closed

    def supply(self, volts):
        self.supply_mv = int(volts * 1000)

    def rest(self):
        self.closed = 0
        self.moments = [[], []]


class Console:
    """The stream to the host."""

    def __init__(self):
        self.arrived = b""
        self.sent = b""

    def read(self, limit):
        data, self.arrived = self.arrived[:limit], self.arrived[limit:]
        return data or None

    def write(self, data):
        self.sent += bytes(data)
        return len(data)


def commas(numbers):
    """Whole numbers as one word."""
    return ",".join(str(number) for number in numbers) or "-"


def main():
    """Serve until the line ends."""
    port, console = WirePort(), Console()
    program = RigProgram(port, console)
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        words = line.split()
        port.seen = [int(word) for word in words[:5]]
        if words[5] != "-":
            console.arrived += unhexlify(words[5])
        program.poll()
        port.moments = [[], []]
        if program.running:
            program.step(0)
        told, console.sent = console.sent, b""
        print(port.closed, port.supply_mv, commas(port.moments[0]), commas(port.moments[1]),
              hexlify(told).decode() or "-")


main()
