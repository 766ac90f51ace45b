"""Pulse inputs and timed outputs of the RP2040/RP2350, on PIO and DMA.

A state machine pushes (time, count) twice after each edge (see rp2_pulse_pio.py). Two chained
DMA channels carry the words into a ring of four in memory, for ever: each starts the other when
its own count runs out. So the ring always holds the newest edge, nothing is lost however long
the processor looks away, and no interrupt is needed.
"""

from array import array
from time import ticks_us  # type: ignore[attr-defined]  # a board has it

import rp2
from uctypes import addressof

from boards.rp2_pulse_pio import (
    COUNT_HZ,
    FILTER_LOOPS,
    RECORD_WORDS,
    SHOT_HZ,
    SHOTS_PER_MS,
    count_edges,
    one_shot,
)
from rate_control.intmath import LIMIT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from machine import Pin

MACHINES_A_BLOCK = 4
RECEIVE_REQUEST = 4  # of a block's machine 0; 8 requests a block (RP2040 data sheet, 2.5.3.1)
RING_BITS = 4  # a ring of 16 bytes
WORDS_A_LAP = 0x0FFFFFFC  # whole records; the RP2350 counts transfers in 28 bits
FILTER_US = FILTER_LOOPS - 1  # from the edge to the time that is pushed
READ_TRIES = 8  # edges come 16 us apart at the least, a try takes about as long


class PulseInput:
    """Counts the rising edges of one pin; update() takes count and edge_us, both 0..LIMIT."""

    def __init__(self, machine_number: int, pin: "Pin") -> None:
        self.count = 0
        self.edge_us = 0
        self._words = array("I", [0] * RECORD_WORDS)
        if addressof(self._words) & (1 << RING_BITS) - 1:
            raise RuntimeError("the ring is not aligned")  # the heap's blocks are, so never
        machine = rp2.StateMachine(machine_number, count_edges, freq=COUNT_HZ, jmp_pin=pin)
        machine.exec("set(x, 0)")
        machine.exec("set(y, 0)")
        self._machine = machine
        self._channels = self._start_channels(machine_number)
        # X starts after this, so an edge never seems to come later than it did
        self._start_us = ticks_us() - FILTER_US
        machine.active(1)
        self.update()

    def _start_channels(self, machine_number: int) -> "tuple[rp2.DMA, rp2.DMA]":
        block, machine = divmod(machine_number, MACHINES_A_BLOCK)
        request = block * 2 * MACHINES_A_BLOCK + RECEIVE_REQUEST + machine
        first, second = rp2.DMA(), rp2.DMA()
        for channel, other in ((first, second), (second, first)):
            control = channel.pack_ctrl(inc_read=False, ring_size=RING_BITS, ring_sel=True,
                                        treq_sel=request, chain_to=other.channel)
            channel.config(read=self._machine, write=self._words, count=WORDS_A_LAP,
                           ctrl=control)
        first.active(1)
        return first, second

    def update(self) -> None:
        """Take count and time of the newest edge; they belong together.

        The words come in the order time, count, time. Read in the opposite order, equal times
        prove that the count between them is of the same edge: the second time was written
        before the first was read, and the next edge's first time was not.
        """
        words = self._words
        tries = READ_TRIES
        while True:
            time = words[2]
            count = words[1]
            tries -= 1
            if words[0] == time or not tries:
                break
        # both registers count down from 0
        self.count = -count & LIMIT
        self.edge_us = (self._start_us - time) & LIMIT


class TimedOutput:
    """An output pin that goes low by itself, whatever becomes of the processor."""

    def __init__(self, machine_number: int, pin: "Pin") -> None:
        self._machine = rp2.StateMachine(machine_number, one_shot, freq=SHOT_HZ, set_base=pin)
        self._machine.put(0)
        self._machine.active(1)

    def hold_ms(self, length_ms: int) -> None:
        """Hold the pin high for this long from now on; 0 lets it go within 10 us."""
        self._machine.put(length_ms * SHOTS_PER_MS)
