"""What the controller says in words: states, and what is missing before anything may move.

Each text fits a line of the display, 20 characters. What is wrong stands in the table of faults
(rate_control/faults.py). docs/how_to/find_a_fault.md has a row for each of these texts.
"""

from rate_control import interlock

# permit bit, what is missing; the most telling first
MISSING = (
    (interlock.NO_FAULT, "fault: see faults"),
    (interlock.TICK, "controller held up"),
    (interlock.SETTINGS_WHOLE, "settings lost"),
    (interlock.SET_UP, "not set up"),
    (interlock.MASTER, "master is off"),
    (interlock.ARMED, "master off, then on"),
    (interlock.STORE_IDLE, "saving, one moment"),
    (interlock.SECTION, "all sections are off"),
    (interlock.STANDSTILL, "standstill unproved"),
    (interlock.IMPLEMENT, "implement is up"),
    (interlock.SPEED, "drive: too slow"),
)

# applying by the curve alone: the flow is below the meter's floor, or the meter is far from it
COASTING = "coasting"
COASTING_WHY = "meter is not trusted"

# instead of "set" beside a rate that was kept over a reset, and below it, until it is armed
KEPT = "kept"
CHECK_RATE = "rate kept: check it"

# below the rate while nothing is applied: something was done at the start with what was kept
SEE_NOTES = "note: see faults"


def missing(permits: int, wanted: int) -> list[str]:
    """Return the texts of the permits in wanted that are not in permits, a list."""
    lacking = wanted & ~permits
    return [text for bit, text in MISSING if lacking & bit]


def sections(mask: int, count: int) -> str:
    """Return the sections as digits, with a dash for each that is not in mask."""
    return "".join([str(i + 1) if mask >> i & 1 else "-" for i in range(count)])
