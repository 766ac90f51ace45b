"""Make telemetry with the heap locked: a record must allocate nothing. For MicroPython.

Prints `records N bytes N`.
"""

import gc

import micropython

from tests.support.link_rig import WORK, LinkRig

RECORDS = 200


def main():
    """Tick unlocked, make the record of every tick locked."""
    rig = LinkRig()
    rig.ticks(5, 0)
    telemetry = rig.link.telemetry
    telemetry.every = 1
    made = 0
    allocated = 0
    for _ in range(RECORDS):
        rig.ticks(1, WORK, 400, 100, polls=0)
        before = gc.mem_alloc()
        micropython.heap_lock()
        try:
            made += telemetry.poll(True, made)
        finally:
            micropython.heap_unlock()
        allocated += gc.mem_alloc() - before
    print("records %d bytes %d" % (made, allocated))


main()
