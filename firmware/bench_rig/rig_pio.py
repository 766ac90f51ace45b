"""The PIO programs of the rig: pulses out, duty in, and both shift registers of the section port.

Block 0 has `send_pulses` and `time_high`, block 1 the registers: 20 and 28 of 32 instructions.
"""

import rp2

PULSE_HZ = 1_000_000  # a cycle is a microsecond
PULSE_US = 32  # how long a pulse is high
BEFORE_US = 4  # cycles of a word before its edge, besides those that it says
AFTER_US = PULSE_US + 1  # from the edge to the next word
EDGE = 1 << 31  # in a word: an edge comes after the wait

VALUE_BITS = 30  # of each counter, so that a word is a small int


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW, autopull=True, pull_thresh=32,
             out_shiftdir=rp2.PIO.SHIFT_RIGHT, fifo_join=rp2.PIO.JOIN_TX)
def send_pulses():
    """Each word waits (word & ~EDGE) + BEFORE_US, then gives a pulse where EDGE is set."""
    wrap_target()
    label("next")
    out(x, 31)
    label("wait")
    jmp(x_dec, "wait")
    out(y, 1)
    jmp(not_y, "next")
    set(pins, 1)[31]
    set(pins, 0)
    wrap()


@rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, autopush=True, push_thresh=VALUE_BITS,
             fifo_join=rp2.PIO.JOIN_RX)
def time_high():
    """Count turns in X, and in Y those in which the jmp pin is high; push both at a rising edge.

    They count down and are pushed twice, as count_edges does (boards/rp2_pulse_pio.py). Every way
    from one X-- to the next takes seven cycles, so Y over X between two edges is the exact duty of
    the whole periods between them, whatever the clock.
    """
    wrap_target()
    label("low")
    jmp(x_dec, "low_poll")
    label("low_poll")
    jmp(pin, "rising")
    jmp("low")[4]

    label("rising")
    in_(x, 30)
    in_(y, 30)
    in_(x, 30)
    in_(y, 30)
    label("high")
    jmp(y_dec, "high_turn")
    label("high_turn")
    jmp(x_dec, "high_poll")
    label("high_poll")
    jmp(pin, "high_again")
    nop()[3]
    jmp("low")
    label("high_again")
    nop()[2]
    jmp("high")
    wrap()


@rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, out_shiftdir=rp2.PIO.SHIFT_RIGHT)
def take_register():
    """The register of the section valves: push the last bits shifted in, at each low latch.

    The jmp pin is the latch; the in pins are clock and data. A push would clear what was shifted
    in, so it is kept in X: a latch without new bits shows the same ones again.
    """
    wrap_target()
    label("low")  # the clock is
    jmp(pin, "shifting")
    mov(x, isr)
    push(noblock)
    mov(isr, x)
    label("latched")
    jmp(pin, "shifting")
    jmp("latched")
    label("shifting")
    mov(osr, pins)
    out(y, 1)  # clock
    jmp(not_y, "low")
    in_(osr, 1)  # data, at the rising edge
    label("high")
    mov(osr, pins)
    out(y, 1)
    jmp(not_y, "low")
    jmp("high")
    wrap()


@rp2.asm_pio(out_init=rp2.PIO.OUT_HIGH, in_shiftdir=rp2.PIO.SHIFT_LEFT,
             out_shiftdir=rp2.PIO.SHIFT_LEFT)
def give_register():
    """The register of the section switches: eight bits, the highest first, from each low latch on.

    The jmp pin is the latch, the in pin the clock, the out pin the data. The next bit comes at
    the falling edge, for the controller looks at the rising one. The newest word counts, else X.
    """
    wrap_target()
    label("load")
    pull(noblock)
    mov(x, osr)
    label("bit")
    out(pins, 1)
    label("low")
    jmp(pin, "shifting")
    jmp("load")
    label("shifting")
    mov(isr, null)
    in_(pins, 1)
    mov(y, isr)
    jmp(not_y, "low")
    label("high")
    mov(isr, null)
    in_(pins, 1)
    mov(y, isr)
    jmp(not_y, "bit")
    jmp("high")
    wrap()
