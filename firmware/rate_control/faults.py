"""Faults and warnings: how long a condition must last, and what it does.

A blocking fault drops the outputs and stays until the master switch is proved off; a warning is
shown while its condition lasts.
"""

from rate_control.interlock import OFF_TICKS_MIN
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

FLOW_MISSING = 1
TICK_LATE = 2
SPEED_LOST = 4
RATE_OFF = 8
AT_LIMIT = 16
FLOW_WHILE_OFF = 32
SUPPLY_LOW = 64
PROGRAM_FAILED = 128
OFF_CURVE = 256
SPEED_DIFFERS = 512
SPEED_JUMPED = 1024
SWITCH_CHATTERS = 2048
NEVER_LIFTED = 4096
SECTIONS_DIFFER = 8192
TOO_MUCH_FLOW = 16384
METER_NOISE = 32768

# bit, name, blocking, name of the setting with its delay or the delay in ms, in words: what is
# wrong, in one line of the display, a colon, what to look at. find_a_fault.md has a row for each.
TABLE = (
    (FLOW_MISSING, "flow_missing", 1, "flow_missing_ms", "no flow at the meter: tank, pump, meter"),
    (TICK_LATE, "tick_late", 1, 0, "controller held up: report it"),
    (SPEED_LOST, "speed_lost", 0, 0, "speed signal lost: sensor, cable"),
    (SPEED_JUMPED, "speed_jumped", 0, 250, "speed not believed: sensor, noise"),
    (RATE_OFF, "rate_off", 0, "rate_off_ms", "rate off target: outlets, filter, supply"),
    (AT_LIMIT, "at_limit", 0, "rate_off_ms", "machine at its limit: change speed"),
    (FLOW_WHILE_OFF, "flow_while_off", 0, 3000, "flow while off: leak, valve, meter noise"),
    (METER_NOISE, "meter_noise", 0, 0, "meter noise: its cable, screen, earth"),
    (SUPPLY_LOW, "supply_low", 0, 2000, "supply low: battery, cable"),
    (OFF_CURVE, "off_curve", 0, "rate_off_ms", "off its pump curve: outlets, filter, valve"),
    (SECTIONS_DIFFER, "sections_differ", 0, 500, "sections differ: valve, outlets, switch"),
    (SPEED_DIFFERS, "speed_differs", 0, 5000, "speed differs: slip, calibration"),
    (SWITCH_CHATTERS, "switch_chatters", 0, 500, "a switch chatters: contact, cable"),
    (NEVER_LIFTED, "never_lifted", 0, 500, "never lifted: implement switch, cable"),
    (TOO_MUCH_FLOW, "too_much_flow", 1, 2000, "too much flow: valve, driver, meter noise"),
    (PROGRAM_FAILED, "program_failed", 1, 0, "program failed: report it"),
)
BLOCKING = FLOW_MISSING | TICK_LATE | TOO_MUCH_FLOW | PROGRAM_FAILED


def names(mask: int) -> list[str]:
    """Return the names of the faults in mask, for logs and tests; it allocates."""
    return [row[1] for row in TABLE if row[0] & mask]


class Faults:
    """Turns the conditions of each tick into the active faults."""

    def __init__(self, settings: "Settings") -> None:
        self.active = 0
        self._held = 0  # conditions of the tick before
        self._off_for = 0  # samples of the master off, since a blocking condition was there
        self._waited = {}  # ticks, by bit
        self._delays = {}
        for row in TABLE:
            self._waited[row[0]] = 0
            self._delays[row[0]] = delay_ticks(row[3], settings)

    def take_over(self, before: "Faults") -> None:
        """Keep the blocking faults that were active before new settings: those cure nothing."""
        self.active = before.active & BLOCKING

    def update(self, conditions: int, master_on: int, master_level: int) -> int:
        """Take the conditions of this tick; return the mask of active faults.

        master_on and master_level are not 0 while the master switch reads on, after and before
        debouncing. It is off when both say so, for as many samples as it takes to arm at least.
        """
        if conditions == self._held and conditions == self.active:
            return conditions  # nothing begins, ends or is waited for
        concerned = conditions | self._held | self.active
        self._held = conditions
        if master_level or conditions & BLOCKING:
            self._off_for = 0
        elif self._off_for <= OFF_TICKS_MIN:
            self._off_for += 1
        proved_off = not master_on and self._off_for > OFF_TICKS_MIN
        while concerned:
            bit = concerned & -concerned  # the lowest
            concerned ^= bit
            if not conditions & bit:
                self._waited[bit] = 0
                if not bit & BLOCKING or proved_off:
                    self.active &= ~bit
            elif self._waited[bit] < self._delays[bit]:
                self._waited[bit] += 1
            else:
                self.active |= bit
        return self.active


def delay_ticks(delay: int | str, settings: "Settings") -> int:
    """Return the ticks that a condition must last: delay is ms or the name of a setting."""
    delay_ms = delay if isinstance(delay, int) else getattr(settings, delay)
    return delay_ms // TICK_MS
