"""Run the controller on a random machine with the heap locked: a tick must allocate nothing.

    heap_lock.py CONFIGURATIONS TICKS

Prints, one a line: whether the lock bites on this interpreter, the bytes that all ticks
together allocated, and how many ticks were spent in each state and under each fault. For
MicroPython: an allocation under the lock is a MemoryError, and the script ends there. On a
32-bit machine this also proves that no value leaves the small ints.
"""

import gc
import sys

import micropython

from rate_control import faults, interlock
from rate_control.controller import Controller
from rate_control.settings import build
from tests.vm.random_machine import Random, RandomMachine, random_settings

fraction = 0.5


def lock_bites():
    """Return whether adding two floats, which makes a new one, fails under the lock."""
    micropython.heap_lock()
    try:
        return fraction + fraction is None
    except MemoryError:
        return True
    finally:
        micropython.heap_unlock()


class Seen:
    """What the ticks went through: ticks in each state and under each fault."""

    def __init__(self):
        self.states = [0] * len(interlock.STATE_NAMES)
        self.bits = [row[0] for row in faults.TABLE]
        self.faults = [0] * len(faults.TABLE)

    def add(self, decided):
        self.states[decided.state] += 1
        index = 0
        for bit in self.bits:
            if decided.faults & bit:
                self.faults[index] += 1
            index += 1

    def print(self):
        for name, ticks in zip(interlock.STATE_NAMES, self.states):
            print("state", name, ticks)
        for row, ticks in zip(faults.TABLE, self.faults):
            print("fault", row[1], ticks)


def run_locked(controller, machine, ticks, seen):
    """Run ticks with the heap locked; returns the bytes they allocated."""
    before = gc.mem_alloc()
    micropython.heap_lock()
    try:
        for _ in range(ticks):
            machine.advance(controller.request, controller.decided.target_ul_s)
            controller.step(machine.inputs, machine.now_us)
            seen.add(controller.decided)
    finally:
        micropython.heap_unlock()
    return gc.mem_alloc() - before


def main():
    configurations, ticks = int(sys.argv[1]), int(sys.argv[2])
    print("lock bites", lock_bites())
    seen = Seen()
    allocated = 0
    for seed in range(configurations):
        values = random_settings(Random(seed)) if seed else {}
        settings, problems = build(values)
        assert not problems, problems
        machine = RandomMachine(seed, settings)
        try:
            allocated += run_locked(Controller(settings), machine, ticks, seen)
        except MemoryError:
            print("seed", seed, "settings", values)
            raise
    print("bytes", allocated)
    seen.print()


main()
