"""The interlock: the operating state as a table of permits, first matching row wins.

No other place decides whether something may move. The table is small enough to be run through
completely; the tests do so.
"""

PARKED = 0  # nothing may move
READY = 1  # armed, a permit is missing
APPLYING = 2
BENCH = 3  # standing still, with a bench speed or a fixed duty
FAULT = 4
PRIMING = 5  # lifted, with every section shut: the pump holds the line at its pressure
STATE_NAMES = ("parked", "ready", "applying", "bench", "fault", "priming")
SECTIONS_ON = 1 << APPLYING | 1 << BENCH  # the states in which sections may be open, a bit each
OUTPUTS_ON = SECTIONS_ON | 1 << PRIMING  # those in which any output may be on

MASTER = 1
ARMED = 2  # the master switch was proved off since the last lock
IMPLEMENT = 4
SPEED = 8  # valid and above the cut-off
SECTION = 16  # at least one switched on
NO_FAULT = 32  # no blocking fault
TICK = 64  # this tick came in time
BENCH_ASKED = 128  # and confirmed at the machine
STANDSTILL = 256
STORE_IDLE = 512  # no write to the store under way: one would hold up the tick
SETTINGS_WHOLE = 1024  # the settings that were kept are there, or none ever were
SET_UP = 2048  # a person at this machine has taken settings on
PRIME = 4096  # a pressure sensor that answers asks for it, within its time

ALWAYS = MASTER | ARMED | SECTION | NO_FAULT | TICK | STORE_IDLE | SETTINGS_WHOLE
APPLYING_PERMITS = ALWAYS | IMPLEMENT | SPEED | SET_UP
PRIMING_PERMITS = ALWAYS | SPEED | SET_UP | PRIME
BENCH_PERMITS = ALWAYS | BENCH_ASKED | STANDSTILL
ANY = -1

# The master switch is proved off once it has read off in every tick of its debouncing, and never
# by fewer than these ticks and one: two bad samples in a row come by chance every few minutes
# where one sample in a hundred is bad.
OFF_TICKS_MIN = 2

# state before (ANY or one), bits that must be set, bits that must be clear, state after, lock
TABLE = (
    (ANY, 0, NO_FAULT, FAULT, 1),
    (FAULT, MASTER, 0, FAULT, 1),  # a fault is left only by the master switch
    (BENCH, 0, MASTER, PARKED, 1),  # a bench that ends, however it does, does not turn into work
    (ANY, 0, MASTER, PARKED, 0),
    (ANY, 0, TICK, PARKED, 1),
    (ANY, 0, ARMED, PARKED, 0),
    (ANY, BENCH_PERMITS, 0, BENCH, 0),
    (BENCH, 0, 0, PARKED, 1),
    (ANY, APPLYING_PERMITS, 0, APPLYING, 0),
    (ANY, PRIMING_PERMITS, IMPLEMENT, PRIMING, 0),
    (ANY, 0, 0, READY, 0),
)


class Interlock:
    """Holds the state and the lock.

    The lock opens once the master switch has read off for off_ticks ticks and one more, all of
    them after the lock was last asked for.
    """

    def __init__(self) -> None:
        self.state = PARKED
        self.locked = 1  # after power-up the master switch must be proved off, then on
        self.off_ticks = OFF_TICKS_MIN
        self._off_for = 0  # ticks of them so far
        self._permits: int | None = None  # of the tick before, where its row changed nothing
        self._state = PARKED

    def outputs_on(self) -> int:
        """Return whether outputs may be on, 0 or 1."""
        return OUTPUTS_ON >> self.state & 1

    def lock(self) -> None:
        """Ask for the master switch to be proved off before anything moves again."""
        self.locked = 1
        self._off_for = 0

    def update(self, permits: int, master_level: int) -> int:
        """Take the permits of this tick (without ARMED) and return them with ARMED.

        master_level is not 0 while the master switch reads on, before any debouncing.
        """
        if self.locked:
            self._watch_master(permits, master_level)
        if not self.locked:
            permits |= ARMED
        state = self.state
        if permits == self._permits and state == self._state:
            return permits  # the same row as in the tick before, which led nowhere else
        for before, needed, forbidden, after, lock in TABLE:
            if before != ANY and before != state:
                continue
            if permits & needed == needed and not permits & forbidden:
                self._permits = permits if after == state and not lock else None
                self._state = state
                self.state = after
                if lock:
                    self.lock()
                break
        return permits

    def _watch_master(self, permits: int, master_level: int) -> None:
        """Open the lock once the master switch is proved off."""
        if master_level:
            self._off_for = 0
        elif self._off_for < self.off_ticks:
            self._off_for += 1
        elif not permits & MASTER:
            self.locked = 0
