"""A PIO state machine, cycle by cycle, for the instructions that the project's programs use.

Section 3.4 of the RP2040 data sheet. It is held against the PyPI package rp2040-pio-emulator in
tests/host/firmware/test_pulse_pio.py, and skips ahead where
its loop changes nothing but the counters X and Y.
"""

from tests.fakes.asm_pio import encode

MASK = 0xFFFFFFFF
JOINED_DEPTH = 8
DEPTH = 4
SHIFT_RIGHT = 1
Y_DEC = 4  # the condition of a jump


class StateMachine:
    """chip gives level(pin, ns), next_change(pin, ns) and carry(machine); times in ns."""

    def __init__(self, chip, number, program, freq, jmp_pin=None, set_base=None, in_base=None,
                 out_base=None):
        words, options = program
        self.chip = chip
        self.number = number
        self.words = words
        self.cycle_ns = 1_000_000_000 // freq
        self.jmp_pin = jmp_pin
        self.set_pin = set_base
        self.in_pin = in_base
        self.out_pin = out_base
        # the pins whose levels a loop of this program may depend on
        self.looks_at = [pin for pin in (jmp_pin, in_base) if pin is not None]
        if in_base is not None:
            self.looks_at.append(in_base + 1)
        self.counts_in_y = any(word >> 13 == 0 and word >> 5 & 7 == Y_DEC for word in words)
        self.out_right = options.get("out_shiftdir") == SHIFT_RIGHT
        self.pulls = bool(options.get("autopull"))
        self.wrap_target = options["wrap_target"]
        self.wrap = options["wrap"]
        self.push_bits = options.get("push_thresh", 32) if options.get("autopush") else 0
        self.depth = JOINED_DEPTH if options.get("fifo_join") else DEPTH
        self.x = self.y = self.isr = self.osr = 0
        self.isr_bits = 0
        self.osr_bits = 32
        self.rx = []
        self.tx = []
        self.pc = 0
        self.ns = chip.ns
        self.running = False
        self._last_turn = None  # state, X and time at the last backward jump

    def execute(self, text):
        """Run one instruction at once, as StateMachine.exec does."""
        self._one(encode(text), self.chip.ns)

    def run_to(self, ns):
        """Run up to a time, or into a stall."""
        if not self.running:
            self.ns = ns
            return
        while self.ns < ns:
            word = self.words[self.pc]
            before = self.pc
            if not self._one(word, self.ns):
                self.ns = ns  # stalled: the chip carries words only between two calls
                return
            self.ns += self.cycle_ns * (1 + (word >> 8 & 31))
            if self.pc == before:
                self.pc = self.wrap_target if before == self.wrap else before + 1
            if self.pc < 0:
                self.pc = ~self.pc
            if self.pc <= before:
                self._skip(ns)

    def _skip(self, ns):
        """Skip turns of a loop that only counts, up to a time or a change of a pin."""
        state = (self.pc, None if self.counts_in_y else self.y, self.isr, self.osr, self.osr_bits,
                 len(self.tx), len(self.rx))
        last = self._last_turn
        self._last_turn = (state, self.x, self.y, self.ns)
        if last is None or last[0] != state:
            return
        x_step, y_step, took = last[1] - self.x, last[2] - self.y, self.ns - last[3]
        end = ns
        for pin in self.looks_at:
            change = self.chip.next_change(pin, last[3])
            end = end if change is None else min(end, change)
        if end - self.ns <= took or self.x < x_step or self.y < y_step or y_step < 0:
            return
        turns = (end - self.ns) // took
        for value, step in ((self.x, x_step), (self.y, y_step)):
            if step:
                turns = min(turns, value // step)
        if turns > 0:
            self.x -= x_step * turns
            self.y -= y_step * turns
            self.ns += took * turns
            self._last_turn = (state, self.x, self.y, self.ns)

    def _one(self, word, ns):
        """Run one instruction; returns whether it did not stall. A jump leaves ~target in pc."""
        kind = word >> 13
        field = word >> 5 & 7
        low = word & 31
        if kind == 0:
            if self._condition(field, ns):
                self.pc = ~low
        elif kind == 2:
            return self._in(self._source(field, ns), low or 32)
        elif kind == 3:
            return self._out(field, low or 32, ns)
        elif kind == 4:
            return self._pull(field) if word & 0x80 else self._push(field & 1)
        elif kind == 5:
            self._move(field, self._source(word & 7, ns))
        elif kind == 7:
            self._set(field, low)
        else:
            raise NotImplementedError(hex(word))
        return True

    def _condition(self, code, ns):
        if code == 0:
            return True
        if code == 2:
            self.x = (self.x - 1) & MASK
            return self.x != MASK
        if code == 4:
            self.y = (self.y - 1) & MASK
            return self.y != MASK
        if code == 6:
            return self.chip.level(self.jmp_pin, ns)
        return (None, self.x == 0, None, self.y == 0, None, self.x != self.y, None,
                self.osr_bits < 32)[code]

    def _source(self, code, ns):
        if code == 0:
            return self.chip.level(self.in_pin, ns) | self.chip.level(self.in_pin + 1, ns) << 1
        return (0, self.x, self.y, 0, 0, 0, self.isr, self.osr)[code]

    def _in(self, value, bits):
        if self.push_bits and len(self.rx) >= self.depth:
            return False
        self.isr = (self.isr << bits | value & (1 << bits) - 1) & MASK
        self.isr_bits = min(32, self.isr_bits + bits)
        if self.push_bits and self.isr_bits >= self.push_bits:
            self._push(1)
        return True

    def _push(self, block):
        if len(self.rx) < self.depth:
            self.rx.append(self.isr)
        elif block:
            return False
        self.isr = self.isr_bits = 0
        self.chip.carry(self)
        return True

    def _pull(self, field):
        if self.tx:
            self.osr = self.tx.pop(0)
        elif field & 1:
            return False
        else:
            self.osr = self.x
        self.osr_bits = 0
        return True

    def _out(self, destination, bits, ns):
        if self.pulls and self.osr_bits >= 32:
            if not self.tx:
                return False
            self.osr, self.osr_bits = self.tx.pop(0), 0
        if self.out_right:
            value = self.osr & (1 << bits) - 1
            self.osr >>= bits
        else:
            value = self.osr >> 32 - bits
            self.osr = self.osr << bits & MASK
        self.osr_bits = min(32, self.osr_bits + bits)
        if destination == 0:
            self.chip.drive(self.out_pin, value & 1, ns)
        elif destination == 1:
            self.x = value
        elif destination == 2:
            self.y = value
        elif destination != 3:
            raise NotImplementedError
        return True

    def _move(self, destination, value):
        if destination == 1:
            self.x = value
        elif destination == 2:
            self.y = value
        elif destination == 6:
            self.isr, self.isr_bits = value, 0
        elif destination == 7:
            self.osr, self.osr_bits = value, 0

    def _set(self, destination, value):
        if destination == 0:
            self.chip.drive(self.set_pin, value & 1, self.ns)
        elif destination == 1:
            self.x = value
        elif destination == 2:
            self.y = value
