"""Step every procedure of the catalogue with the heap locked: a tick must allocate nothing.

    heap_lock_procedures.py TICKS

Prints for each procedure its name, the bytes that its steps allocated, and how many were taken
while it was running. One that drives the pump gets TICKS, enough to come to its end; one in the
hands of a person, a tenth of them. For MicroPython: an allocation under the lock is a MemoryError,
and the script ends there.
"""

import gc
import sys

import micropython

from rate_control.interlock import BENCH
from rate_control.procedures import catalogue
from rate_control.procedures.procedure import ENTER, MARK, RUNNING
from rate_control.records import Decided, Measured
from rate_control.settings import build
from tests.vm.random_machine import Random

BATCH = 50  # ticks between two acts of a person
FLOW_SPREAD_UL_S = 2000


def fill(measured, decided, random, tick):
    """Give the records of a tick on the bench: a flow that follows nothing in particular."""
    measured.speed_pulses = random.below(30)
    measured.flow_pulses = random.below(30)
    measured.flow_ul_s = 40000 + 20 * (tick % 1000) + random.up_to(FLOW_SPREAD_UL_S)
    measured.flow_valid = 1
    measured.flow_readable = 1
    measured.volume_ul = random.up_to(100000)
    measured.supply_mv = 12000 + random.below(500)
    decided.state = BENCH
    decided.section_mask = 7
    decided.demand_u16 = 20000 + random.below(100)


def step_locked(procedure, measured, decided, random, first, count):
    """Step so often with the heap locked; returns (bytes, steps while running)."""
    running = 0
    before = gc.mem_alloc()
    micropython.heap_lock()
    try:
        for tick in range(first, first + count):
            fill(measured, decided, random, tick)
            if procedure.state == RUNNING:
                running += 1
                procedure.step(measured, decided)
    finally:
        micropython.heap_unlock()
    return gc.mem_alloc() - before, running


def act(procedure):
    """Do what a person does next, so that steps fall between marks and outside them."""
    if MARK in procedure.accepts():
        procedure.act(MARK)
    elif ENTER in procedure.accepts():
        procedure.act(ENTER, procedure.suggestion())


def main():
    ticks = int(sys.argv[1])
    settings, _ = build({})
    measured = Measured()
    decided = Decided()
    for row in catalogue.CATALOGUE:
        name = row[catalogue.NAME]
        values = {"meter_ml": 1000000} if name == "tank_check" else {}
        random = Random(7)
        allocated = running = 0
        procedure = None
        for first in range(0, ticks if row[catalogue.NEEDS_BENCH] else ticks // 10, BATCH):
            if procedure is None or procedure.state != RUNNING:
                procedure, problem = catalogue.make(name, values, settings)
                assert not problem, problem
            act(procedure)
            done = step_locked(procedure, measured, decided, random, first, BATCH)
            allocated += done[0]
            running += done[1]
        print(name, allocated, running)


main()
