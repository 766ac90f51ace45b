"""Run the application's tick with the heap locked, the jobs in between with the heap open.

Prints the ticks that were run under the lock and the states they were in. For MicroPython: an
allocation under the lock is a MemoryError; the application takes it for a failure of the tick,
so that none may be noted.
"""

import micropython

from rate_control.interlock import STATE_NAMES
from rate_control.records import Request
from tests.shared.panel_rig import DOWN, MASTER, SECTIONS, PanelRig

PHASES = (  # switches, speed pulses, flow pulses, ticks
    (SECTIONS, 0, 0, 20),
    (SECTIONS | MASTER, 0, 0, 20),
    (SECTIONS | MASTER, 14, 0, 60),
    (SECTIONS | MASTER | DOWN, 14, 2, 200),
    (SECTIONS | MASTER | DOWN, 14, 0, 120),
    (SECTIONS, 1, 0, 20),  # braking: a sensor that fell silent at speed proves no standstill
    (SECTIONS, 0, 0, 40),
    (SECTIONS | MASTER, 0, 0, 40),
)

rig = PanelRig()
board = rig.board
locked_tick = rig.app.tick
seen = [0] * len(STATE_NAMES)


def tick(_):
    """What the board's timer calls."""
    micropython.heap_lock()
    try:
        locked_tick(0)
    finally:
        micropython.heap_unlock()
    seen[rig.state()] += 1


board.callback = tick
for switches, speed, flow, ticks in PHASES:
    # lifted: as a pressure sensor would ask
    rig.app.controller.request.prime_u16 = -1 if switches & DOWN else 20000
    board.switches, board.speed_pulses, board.flow_pulses = switches, speed, flow
    rig.ticks(ticks)
rig.app.set_regulation(Request.FIXED_DUTY)
rig.stand()
assert rig.app.enter_bench(confirmed_at_machine=True) == ""
rig.ticks(40)
assert rig.app.failure == "", rig.app.failure
assert board.safe == 0
print(" ".join(["%s %d" % pair for pair in zip(STATE_NAMES, seen)]))


def greedy_read(inputs):
    """A board that makes a list in the tick."""
    inputs.switches = len([inputs, board])


board.read = greedy_read
rig.ticks(1)
rig.ticks(1)
assert "MemoryError" in rig.app.failure, "an allocation under the lock went unnoticed"
