"""What is wrong before the pressure sensor: a clogged filter, or a pump that gives less.

Both take more duty than the pump curve says for the flow that is there. How much more, at two
flows apart, tells one from the other: a filter takes pressure by the square of the flow, while a
worn pump, worn brushes or a bad wire need their share more at any flow (the laws that
`host_sim/plant` is made of). At one flow alone nobody can tell them apart. Only where a pump is
driven: the position of a regulating valve is no measure of the pump.
"""

from app.pressure import FILTER, FILTER_OR_PUMP, NOTHING, PUMP
from rate_control.intmath import muldiv
from rate_control.units import PWM_PUMP

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.controller import Controller

WEAK_PERMILLE = 100  # more duty than the curve says (chosen)
BINS = 12  # by flow, each three halves of the one before
FIRST_UL_S = 4000
FRESH_LOOKS = 300  # five minutes of steady work
APART_PERMILLE = 120  # by which the two laws have to differ, to tell which one it is (chosen)


class WeakSupply:
    """Remembers what each flow took of late, whether or not anything was wrong there."""

    def __init__(self) -> None:
        self._looks = 0
        self._at = [0] * BINS  # number of the look, 0: never
        self._flow_ul_s = [0] * BINS
        self._due_u16 = [0] * BINS
        self._more_u16 = [0] * BINS

    def look(self, controller: "Controller", flow_ul_s: int, demand_u16: int) -> int:
        """Take the means of a window with sound outlets; return what is wrong, or NOTHING."""
        if controller.settings.actuator != PWM_PUMP:
            return NOTHING
        due = controller.curve.demand_u16(
            flow_ul_s, controller.decided.width_mm, controller.measured.supply_mv)
        if not due:
            return NOTHING
        self._remember(place_of(flow_ul_s), flow_ul_s, due, demand_u16 - due)
        place = self._weakest()
        if place < 0:
            return NOTHING
        other = self._furthest(place)
        if other < 0:
            return FILTER_OR_PUMP
        return self._which(min(place, other), max(place, other))

    def _remember(self, place: int, flow_ul_s: int, due_u16: int, more_u16: int) -> None:
        """Take a window into its bin, where it counts for a quarter."""
        fresh = self._is_fresh(place)
        self._looks += 1
        self._at[place] = self._looks
        if not fresh:
            self._flow_ul_s[place] = flow_ul_s
            self._due_u16[place] = due_u16
            self._more_u16[place] = more_u16
            return
        self._flow_ul_s[place] += (flow_ul_s - self._flow_ul_s[place]) >> 2
        self._due_u16[place] += (due_u16 - self._due_u16[place]) >> 2
        self._more_u16[place] += (more_u16 - self._more_u16[place]) >> 2

    def _is_fresh(self, place: int) -> bool:
        return self._at[place] > 0 and self._looks - self._at[place] < FRESH_LOOKS

    def _weakest(self) -> int:
        """Return the fresh bin that takes most more than its due, or -1 where none takes much."""
        found = -1
        most = WEAK_PERMILLE
        for place in range(BINS):
            if self._is_fresh(place):
                more = self._more_u16[place] * 1000 // self._due_u16[place]
                if more >= most:
                    most = more
                    found = place
        return found

    def _furthest(self, place: int) -> int:
        """Return the bin furthest from this one that is fresh, or -1: the next one is too near."""
        found = -1
        for other in range(BINS):
            apart = abs(other - place)
            if self._is_fresh(other) and apart > 1 and (found < 0 or apart > abs(found - place)):
                found = other
        return found

    def _which(self, slow: int, fast: int) -> int:
        """Return which of both it is, by what two bins had."""
        if self._more_u16[fast] <= 0:
            return FILTER_OR_PUMP  # weak at little flow alone: no law of the two
        share = muldiv(1000, self._flow_ul_s[slow], self._flow_ul_s[fast])
        of_filter = share * share // 1000
        of_pump = self._due_u16[slow] * 1000 // self._due_u16[fast]
        if of_pump < of_filter + APART_PERMILLE:
            return FILTER_OR_PUMP
        seen = self._more_u16[slow] * 1000 // self._more_u16[fast]
        return FILTER if seen * 2 < of_filter + of_pump else PUMP


def place_of(flow_ul_s: int) -> int:
    """Return the bin of a flow."""
    place = 0
    limit = FIRST_UL_S
    while flow_ul_s > limit and place < BINS - 1:
        limit += limit >> 1
        place += 1
    return place
