"""The learned pump curve: which demand gives which flow.

Demand is 0..DUTY_FULL towards more flow: the duty of a pump or proportional valve, or the
position of a motorised regulating valve. The curve is learned with all sections on; width_share.py
says how fewer sections move it.
"""

from rate_control import width_share
from rate_control.intmath import HALF, muldiv
from rate_control.units import CURVE_POINTS, DUTY_FULL, FLOW_MAX_UL_S

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings


class PumpCurve:
    """Looks up demand for flow and flow for demand, for any part of the width."""

    def __init__(self, settings: "Settings") -> None:
        self._flow = settings.curve_flow_ul_s
        self._duty = settings.curve_duty_u16
        self._supply_mv = settings.curve_supply_mv
        self._gap_u16 = settings.curve_gap_u16
        share = self._share = width_share.make(settings)
        self._plain_mm = share.plain_mm
        self._piece = 0  # of the curve, looked up last: the next is seldom far
        self._commanded = Turning()
        self._wanted = Turning()
        self._falling_u16 = 0  # what the present branch lies below the rising one

    def follow(self, wanted_ul_s: int, commanded_ul_s: int) -> None:
        """Change the branch where the flow turns; call it once a tick, before the demand is asked.

        A sixteenth of the gap goes by the wanted flow alone. A correction that turns round is
        given a little less than the whole gap, for a little too much would be a surge at every
        turn.
        """
        if not self._gap_u16:
            return
        if commanded_ul_s <= 0:
            self._commanded.rest()
            self._wanted.rest()
            self._falling_u16 = 0
            return
        sixteenths = self._wanted.follow(wanted_ul_s)
        if self._commanded.follow(commanded_ul_s):
            sixteenths += 15
        self._falling_u16 = self._gap_u16 * sixteenths >> 4

    def demand_u16(self, flow_ul_s: int, width_mm: int, supply_mv: int) -> int:
        """Return the demand for a flow through width_mm at a supply voltage (0: not known)."""
        if flow_ul_s <= 0 or width_mm <= 0:
            return 0
        duty = self._rising_u16(flow_ul_s, width_mm) - self._falling_u16
        if supply_mv and self._supply_mv:
            duty = muldiv(duty, self._supply_mv, supply_mv)
        if duty > DUTY_FULL:
            return DUTY_FULL
        return duty if duty > 0 else 0

    def flow_ul_s(self, demand_u16: int, width_mm: int) -> int:
        """Return the flow through width_mm at a demand, at the supply of the curve.

        The pressure part of a pump has no closed inverse: it is found by halving.
        """
        whole = max(interpolate(self._duty, self._flow, demand_u16), 0)
        law = self._share
        high = law.narrow(whole, width_mm) if width_mm < law.total_mm else whole
        if width_mm >= self._plain_mm:
            return high
        extra = law.extra_u16(high, width_mm)
        if not extra:
            return high
        if extra < 0:  # a lighter liquid: more than the curve says
            high = min(2 * high, FLOW_MAX_UL_S)
        low = 0
        while high - low > 16:
            middle = (low + high) >> 1
            if self._rising_u16(middle, width_mm) > demand_u16:
                high = middle
            else:
                low = middle
        return low

    def _rising_u16(self, flow_ul_s: int, width_mm: int) -> int:
        """Return the demand on the rising branch, at the supply of the curve."""
        law = self._share
        whole = law.whole(flow_ul_s, width_mm) if width_mm < law.total_mm else flow_ul_s
        flows = self._flow
        piece = self._piece
        while piece < CURVE_POINTS - 2 and whole > flows[piece + 1]:
            piece += 1
        while piece and whole <= flows[piece]:
            piece -= 1
        self._piece = piece
        duty = on_piece(flows, self._duty, piece, whole)
        if duty < 0:
            duty = 0
        if width_mm >= self._plain_mm:
            return duty
        return duty + law.extra_u16(flow_ul_s, width_mm)


class Turning:
    """Tells whether a flow falls. It has turned once it is a 64th from its end: noise is less."""

    def __init__(self) -> None:
        self.falling = 0
        self._end_ul_s = 0

    def rest(self) -> None:
        """Forget: from rest it rises."""
        self.falling = 0
        self._end_ul_s = 0

    def follow(self, flow_ul_s: int) -> int:
        """Return whether it falls."""
        end = self._end_ul_s
        end = min(end, flow_ul_s) if self.falling else max(end, flow_ul_s)
        if abs(flow_ul_s - end) > flow_ul_s >> 6:
            self.falling = 1 - self.falling
            end = flow_ul_s
        self._end_ul_s = end
        return self.falling


def interpolate(xs: list, ys: list, x: int) -> int:
    """Return y at x on the line through rising points; the end pieces go on beyond the ends.

    xs and ys are lists of CURVE_POINTS ints, xs rising. x within 0..FLOW_MAX_UL_S.
    """
    low = 0
    high = CURVE_POINTS - 1
    while high - low > 1:
        middle = (low + high) >> 1
        if x > xs[middle]:
            low = middle
        else:
            high = middle
    return on_piece(xs, ys, low, x)


def on_piece(xs: list, ys: list, low: int, x: int) -> int:
    """Return y at x on the line through the points low and low + 1."""
    start = xs[low]
    base = ys[low]
    high = low + 1
    rise = muldiv(x - start, ys[high] - base, xs[high] - start)
    if rise > HALF:
        return base + HALF
    return base + (rise if rise > -HALF else -HALF)
