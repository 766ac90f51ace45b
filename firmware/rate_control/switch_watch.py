"""Switches that contradict themselves: one that chatters, an implement that is never lifted.

Nobody can see from one switch alone whether it tells the truth. But a person changes switches
seldom, and lifts the implement at every headland.
"""

from rate_control import faults
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Measured
    from rate_control.settings import Settings

CALM_TICKS = 1000 // TICK_MS  # without a change make up for one change
CHATTER_TICKS = 16 * CALM_TICKS  # more than a person makes who sets every switch in one go
CHATTER_MOST_TICKS = CHATTER_TICKS + 3 * CALM_TICKS  # so soon it is forgotten
HEADLANDS = 4  # a master switched off in motion so often counts as the longest pass


class SwitchWatch:
    """Looks at the contacts of all switches, and at the way since the implement was up."""

    def __init__(self, settings: "Settings") -> None:
        self._contacts = 0
        self._unrest_ticks = 0
        self._longest_mm = 1000 * settings.longest_pass_m  # 0: there is no implement switch
        self._pass_mm = 0

    def conditions(self, measured: "Measured") -> int:
        """Return the mask of fault conditions that hold in this tick."""
        mask = 0
        if measured.contacts != self._contacts or self._unrest_ticks:
            mask = self._chatter(measured)
        if not measured.switches & SWITCH_IMPLEMENT:
            self._pass_mm = 0
        elif self._pass_mm < self._longest_mm:
            self._pass_mm += measured.distance_mm
        elif self._longest_mm:
            mask |= faults.NEVER_LIFTED
        return mask

    def _chatter(self, measured: "Measured") -> int:
        """Take a tick in which a contact has changed, or not long after; return the condition."""
        before = self._contacts
        contacts = measured.contacts
        unrest_ticks = self._unrest_ticks
        if contacts == before:
            unrest_ticks -= 1
        else:
            if before & ~contacts & SWITCH_MASTER and measured.moving and not unrest_ticks:
                self._pass_mm += self._longest_mm // HEADLANDS
            unrest_ticks = min(unrest_ticks + CALM_TICKS, CHATTER_MOST_TICKS)
            self._contacts = contacts
        self._unrest_ticks = unrest_ticks
        return faults.SWITCH_CHATTERS if unrest_ticks > CHATTER_TICKS else 0
