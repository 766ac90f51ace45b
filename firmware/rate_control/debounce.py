"""Debouncing: a switch counts as moved when its level has held for a set time.

Until a switch has proved its level it counts as what is least dangerous to believe: the master
as on, because seeing it off is what arms, and all others as off or up.
"""

from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

ON_TICKS_MIN = 1  # one bad sample switches nothing on, however short the debouncing is set


class Debounce:
    """Follows a bit mask of switches; each bit has its own delay for on and for off.

    stable holds the levels that are believed: 1 is on, or down.
    """

    def __init__(self, width: int, delay_ms: int, opening: int = 0) -> None:
        """width: number of switches; delay_ms: for each of them, both ways.

        opening: mask of the switches whose contacts open when they are on, or down.
        """
        self.stable = SWITCH_MASTER
        self._opening = opening
        ticks = delay_ms // TICK_MS
        self._on_ticks = [max(ticks, ON_TICKS_MIN)] * width
        self._off_ticks = [ticks] * width
        self._waited = [0] * width
        self._width = width
        self._calm = -1  # the contacts that say what is believed, while no switch is waited for

    def set_delays(self, mask: int, on_ms: int, off_ms: int) -> None:
        """Give the switches in mask further delays on top of the debouncing."""
        for index in range(self._width):
            if mask >> index & 1:
                on_ticks = self._off_ticks[index] + on_ms // TICK_MS
                self._on_ticks[index] = max(on_ticks, ON_TICKS_MIN)
                self._off_ticks[index] += off_ms // TICK_MS

    def update(self, contacts: int) -> int:
        """Take the contacts of this tick, 1 is closed, and return the stable levels."""
        if contacts == self._calm:
            return self.stable
        raw = contacts ^ self._opening
        changed = raw ^ self.stable
        self._calm = -1 if changed else contacts
        for index in range(self._width):
            bit = 1 << index
            if not changed & bit:
                self._waited[index] = 0
                continue
            need = self._on_ticks[index] if raw & bit else self._off_ticks[index]
            if self._waited[index] >= need:
                self.stable ^= bit
                self._waited[index] = 0
            else:
                self._waited[index] += 1
        return self.stable


def make_debounce(settings: "Settings") -> Debounce:
    """Return the debouncer of master, implement and section switches."""
    opening = SWITCH_IMPLEMENT if settings.implement_open_is_down else 0
    debounce = Debounce(2 + settings.section_count, settings.switch_debounce_ms, opening)
    debounce.set_delays(SWITCH_IMPLEMENT, settings.implement_start_delay_ms,
                        settings.implement_stop_delay_ms)
    return debounce
