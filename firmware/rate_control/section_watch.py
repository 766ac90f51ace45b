"""Whether the flow follows when sections are switched.

A pump's trim says how far the machine is off its curve. The curve reckons with the open width, so
the trim stays about where it was when a section is switched. Where it jumps, a section valve did
not do what was commanded, or the outlets of that section are not like the others. A displacement
pump gives its flow whatever is open, and a regulating valve is moved until the flow is right: of
those nothing can be seen here.
"""

from rate_control.units import ONE_Q20, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided
    from rate_control.settings import Settings

SETTLED_TICKS = 4000 // TICK_MS  # at one width, with a meter that is believed


class SectionWatch:
    """Compares the trim at one width with that at the next, once both have settled."""

    def __init__(self, settings: "Settings") -> None:
        self._near_q20 = settings.curve_tolerance_permille * ONE_Q20 // 1500  # two thirds of it
        self._width_mm = 0
        self._ticks = 0  # at this width, up to SETTLED_TICKS
        self._known = 0  # the trim had settled at the width before
        self._before_q20 = 0
        self._differ = 0

    def rest(self) -> None:
        """The outputs are off."""
        self._width_mm = 0
        self._ticks = 0

    def differ(self, decided: "Decided") -> int:
        """Take a tick at work; return whether the last change of sections moved the trim."""
        if decided.width_mm != self._width_mm:
            self._width_mm = decided.width_mm
            self._known = self._ticks == SETTLED_TICKS
            self._before_q20 = decided.trim_q20
            self._ticks = 0
            self._differ = 0
        elif self._ticks < SETTLED_TICKS and not decided.coasting:
            self._ticks += 1
            if self._known and self._ticks == SETTLED_TICKS:
                moved_q20 = decided.trim_q20 - self._before_q20
                self._differ = not -self._near_q20 <= moved_q20 <= self._near_q20
        return self._differ
