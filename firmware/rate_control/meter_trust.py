"""Whether the flow meter has something to say about the machine just now.

It has not while the model of the machine is least right (a start, a large step), while section
valves are on their way, while stored pressure still shows, or, for a regulating valve, while the
flow has not come to rest. A pump's duty is right again a moment after it was wrong; a valve that
was sent the wrong way takes long to come back, so it waits for more.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

AT_REST = 2  # see can_teach()
STORED_TICKS = 5000 // TICK_MS  # that air in the line may go on giving after a start
SURGE_TICKS = 500 // TICK_MS  # of stored pressure after a start
SECTION_TICKS = 1000 // TICK_MS  # a section valve with a motor is on its way for so long
SHIFTING_TICKS_MAX = 5000 // TICK_MS
STEADY_TICKS = 500 // TICK_MS  # longer than the peak of a surge stays level


class MeterTrust:
    """Counts the ticks that each reason to wait still lasts.

    doubt_ticks is for how long a steady meter has contradicted a reckoned valve, or a pump at the
    most of its trim; steady for how long it has been so, and surge how long stored pressure may
    still pass it.
    """

    def __init__(self, settings: "Settings", needs_rest: int) -> None:
        """needs_rest: the meter teaches only while the flow is at rest, as with a valve."""
        self._needs_rest = needs_rest
        self._blind_ticks = (settings.loop_delay_ms + settings.loop_lag_ms) // TICK_MS + 1
        self.middle_ul_s = settings.curve_flow_ul_s[-1] // 2
        self._blind = 0
        self._shifting = 0
        self._patience = 0
        self._seen_ul_s = 0
        self.steady = 0
        self.rest()

    def rest(self) -> None:
        """Begin anew: the machine is off."""
        self.surge = STORED_TICKS
        self.doubt_ticks = 0

    def shift(self, lag_ms: int) -> None:
        """Sections have changed, and the lag is now this.

        The wait ends when the meter has come to rest, which takes a turbine long at a low flow;
        while the speed changes it never does, so patience ends too.
        """
        lags = 2 * lag_ms // TICK_MS if self._needs_rest else 0
        self._shifting = min(SECTION_TICKS + lags, SHIFTING_TICKS_MAX)
        self._patience = SHIFTING_TICKS_MAX

    def follow(self, jump: int, reference_ul_s: int, flow_ul_s: int) -> None:
        """Take what the meter shows; jump where the model is far from where it is going.

        A turbine's lag and the time between its pulses grow as the flow falls, so the wait does
        too, up to ten times.
        """
        seen = self._seen_ul_s
        seen += (flow_ul_s - seen) >> 2
        self._seen_ul_s = seen
        near = flow_ul_s >> 6
        if not -near <= flow_ul_s - seen <= near:
            self.steady = 0
        elif self.steady < STEADY_TICKS:
            self.steady += 1
        if self.surge:
            self.surge -= 1
        if jump:
            slower = muldiv(self.middle_ul_s, 16, max(reference_ul_s, 1))
            self._blind = self._blind_ticks * clamp(slower, 16, 160) >> 4
        elif self._blind:
            self._blind -= 1
        if self._shifting:
            self._patience -= 1
            if self._shifting > 1 or self.steady or self._patience <= 0:
                self._shifting -= 1

    def can_find(self) -> int:
        """Return whether it can tell where a valve stands that nobody knows of."""
        return self.steady == STEADY_TICKS and self.surge <= STORED_TICKS - SURGE_TICKS

    def can_teach(self) -> int:
        """Return whether a difference from the model says something about the machine.

        0, or AT_REST, or 1 where the flow should have come to rest and has not: then only what
        lasts says something.
        """
        if self._blind or self._shifting:
            return 0
        return 1 if self._needs_rest and not self.steady else AT_REST
