"""The two programs of the RP2040/RP2350's PIO: one counts and times edges, one ends a pulse.

A state machine runs its program on its own clock, whatever the processor does: a tick, a
collection of garbage, a flash write with interrupts off. What the registers hold can be read
by nobody but the state machine, so both programs are built around how a value gets in or out.
"""

import rp2

# count_edges: one turn of its loop takes LOOP_CYCLES cycles, that is 1 us at COUNT_HZ. The system
# clock (125, 150 or 200 MHz) is a whole multiple of it, so no turn is longer than another.
COUNT_HZ = 25_000_000
LOOP_CYCLES = 25
FILTER_LOOPS = 8  # turns that an input must hold a level; 32 bits of OSR / 4 bits a turn
RECORD_WORDS = 4  # what one edge pushes: time, count, time, count
VALUE_BITS = 30  # of each, so that a word is always a small int and wraps like now_us

# one_shot: one turn of its loop takes SHOT_CYCLES cycles, that is 10 us at SHOT_HZ.
SHOT_HZ = 500_000
SHOT_CYCLES = 5
SHOTS_PER_MS = 100


@rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, autopush=True, push_thresh=VALUE_BITS,
             fifo_join=rp2.PIO.JOIN_RX)
def count_edges() -> None:
    """Count rising edges of the jmp pin; push (time, count) twice after each.

    X is a clock that loses one a turn, Y loses one an edge; both start at 0 and are pushed as
    30 bits. An edge counts once the input has been high for FILTER_LOOPS polls after having
    been low for as many, so the time pushed is FILTER_LOOPS - 1 turns after the first high
    poll. Nothing ever waits for the processor: DMA takes the words out (see rp2_pulses.py).

    Cycle by cycle: every way from one X-- to the next takes LOOP_CYCLES, of which X-- and its
    delay are 21 and the branch below it is 4. The push makes its turn 6 longer, and the X-- after
    it makes the next one 6 shorter.
    """
    label("high")
    mov(osr, null)[1]  # start the filter anew
    label("high_again")
    nop()
    jmp(x_dec, "high_poll")[20]
    wrap_target()
    label("high_poll")
    jmp(pin, "high")
    out(null, 4)  # low: one step of the filter
    jmp(not_osre, "high_again")
    mov(osr, null)  # low for FILTER_LOOPS polls

    label("low_turn")
    jmp(x_dec, "low_poll")[20]
    label("low_poll")
    jmp(pin, "rising")
    mov(osr, null)[1]
    jmp("low_turn")
    label("rising")
    out(null, 4)
    jmp(not_osre, "low_turn")[1]

    jmp(y_dec, "counted")  # high for FILTER_LOOPS polls: an edge
    label("counted")
    in_(x, 30)
    in_(y, 30)
    in_(x, 30)
    in_(y, 30)
    mov(osr, null)
    jmp(x_dec, "high_poll")[14]  # X == 0 falls through to the same place
    wrap()


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def one_shot() -> None:
    """Hold the set pin high for as many turns as the newest word says, then low, by itself.

    A new word replaces what is left of the one before; 0 ends it within a turn. With nothing
    new, "pull(noblock)" takes X, the turns that are left.
    """
    label("off")
    set(pins, 0)
    wrap_target()
    label("turn")
    pull(noblock)
    mov(x, osr)
    jmp(not_x, "off")
    set(pins, 1)
    jmp(x_dec, "turn")  # X is not 0 here
    wrap()
