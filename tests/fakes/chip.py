"""The chip behind the fake modules: time, pins, wires, timers, watchdog, DMA, shift registers.

Time moves by advance() alone, and by the sleeps of the code under test. Levels of wired pins are
functions of time, so that a state machine that runs late still sees every edge where it was.
"""

from tests.fakes.pio import StateMachine

TICKS_MASK = (1 << 30) - 1
PULLED_UP = 1
INTERRUPT_NS = 50_000  # from an edge to the handler; no matter for a hard one


class ChipReset(Exception):
    """The watchdog has reset the chip; whatever ran is gone."""


class Square:
    """A square wave as a source of levels: pulses of high_ns in each period, or for ever."""

    def __init__(self, start_ns, period_ns, high_ns, pulses=None):
        self.start_ns = start_ns
        self.period_ns = period_ns
        self.high_ns = high_ns
        self.pulses = pulses

    def level(self, ns):
        since = ns - self.start_ns
        if since < 0 or (self.pulses is not None and since >= self.pulses * self.period_ns):
            return 0
        return 1 if since % self.period_ns < self.high_ns else 0

    def next_change(self, ns):
        since = ns - self.start_ns
        if since < 0:
            return self.start_ns
        turn, phase = divmod(since, self.period_ns)
        if self.pulses is not None and turn >= self.pulses:
            return None
        if not 0 < self.high_ns < self.period_ns:
            return None
        return self.start_ns + turn * self.period_ns + (
            self.high_ns if phase < self.high_ns else self.period_ns)

    def rises(self, ns):
        """How many rising edges there were up to a time."""
        since = ns - self.start_ns
        if since < 0:
            return 0
        turns = since // self.period_ns + 1
        return turns if self.pulses is None else min(turns, self.pulses)


class Steady:
    """A level that stays."""

    def __init__(self, value):
        self.value = value

    def level(self, _):
        return self.value

    def next_change(self, _):
        return None


class Chip:
    """One chip with whatever is wired to it."""

    def __init__(self, start_us=TICKS_MASK - 40_000):
        self.ns = start_us * 1000
        self.sources = {}  # by pin: what drives it from outside
        self.rises_before = {}  # by pin: edges of the sources it had before
        self.analog_u16 = {}
        self.received = b""  # on the UART
        self.registers = {}
        self.reset_by_watchdog = False
        self._forget()

    def _forget(self):
        """What a reset forgets."""
        self.outputs = {}  # by pin: Steady or Square
        self.wires = dict(getattr(self, "wires", {}))  # wires stay: input pin -> output pin
        self.listeners = {}
        self.machines = {}
        self.channels = []
        self.timers = []
        self.interrupts = {}  # by pin: (handler, edges before this time are dealt with)
        self.watchdog_ns = None
        self.watchdog_due = None
        self.history = []  # (ns, pin, level) of every driven change
        self.spi_device = None

    # pins

    def level(self, pin, ns=None):
        """Level of a pin as seen by an input."""
        source = self.source(pin)
        return PULLED_UP if source is None else source.level(self.ns if ns is None else ns)

    def next_change(self, pin, ns):
        source = None if pin is None else self.source(pin)
        return None if source is None else source.next_change(ns)

    def source(self, pin):
        if pin in self.sources:
            return self.sources[pin]
        return self.outputs.get(self.wires.get(pin, pin))

    def drive(self, pin, level, ns=None):
        """An output goes to a level: now, or at ns where a state machine drives it."""
        if ns is None:
            self.sync()
        old = self.outputs.get(pin)
        self.outputs[pin] = Steady(level)
        if not isinstance(old, Steady) or old.value != level:
            self.history.append((self.ns if ns is None else ns, pin, level))
            for listener in self.listeners.get(pin, ()):
                listener(level)
            if pin in self.interrupts:
                self.interrupts[pin][0]()

    def modulate(self, pin, freq, duty_u16):
        """An output carries PWM."""
        self.sync()
        period = 1_000_000_000 // freq
        high = period * duty_u16 // 65535
        self.outputs[pin] = Square(self.ns, period, high) if high else Steady(0)

    def connect(self, pin, source):
        """From now on something else drives a pin from outside."""
        self.sync()
        self.rises_before[pin] = self.rises(pin)
        self.sources[pin] = source

    def rises(self, pin):
        """How many rising edges a pin has seen so far."""
        source = self.source(pin)
        here = source.rises(self.ns) if isinstance(source, Square) else 0
        return self.rises_before.get(pin, 0) + here

    # time

    def ticks_us(self):
        return self.ns // 1000 & TICKS_MASK

    def sync(self):
        """Bring state machines to the present; levels must not change before that."""
        for machine in self.machines.values():
            machine.run_to(self.ns)

    def advance(self, us):
        """Live on; raises ChipReset where the watchdog bites."""
        end = self.ns + us * 1000
        while True:
            due, act = self._next_event()
            if self.watchdog_due is not None and self.watchdog_due <= min(due, end):
                self.ns = self.watchdog_due
                self.bite()
            self.ns = max(self.ns, min(due, end))
            self.sync()
            if due > end:
                return
            act()

    def _next_event(self):
        """When the next timer or interrupt is due, and what to call then."""
        due, act = 1 << 60, None
        for timer in self.timers:
            if timer.due_ns < due:
                due, act = timer.due_ns, timer.fire
        for pin in self.interrupts:
            rise = self._next_rise(pin, self.interrupts[pin][1])
            if rise is not None and rise + INTERRUPT_NS < due:
                due, act = rise + INTERRUPT_NS, self._interrupt(pin)
        return due, act

    def _interrupt(self, pin):
        def act():
            handler = self.interrupts[pin][0]
            self.interrupts[pin] = (handler, self.ns)
            handler()

        return act

    def _next_rise(self, pin, ns):
        """When a square wave rises next after a time."""
        source = self.source(pin)
        if not isinstance(source, Square):
            return None
        change = source.next_change(ns)
        while change is not None and not source.level(change):
            change = source.next_change(change)
        return change

    def bite(self):
        """The watchdog resets the chip: pins float, everything stops, registers remember."""
        self._forget()
        self.reset_by_watchdog = True
        self.registers[0x40058008] = 1
        raise ChipReset

    def carry(self, machine):
        """DMA: move what a machine has pushed while a channel asks for it."""
        while machine.rx:
            channel = next((c for c in self.channels if c.running and c.serves(machine)), None)
            if channel is None:
                return
            channel.take(machine.rx.pop(0))


__all__ = ["Chip", "ChipReset", "Square", "StateMachine", "Steady"]
