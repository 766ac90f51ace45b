"""How a part of the width moves the pump curve, one law for each kind of actuator.

The law of a pump is here, those of the regulating valves are in valve_share.py. Each has one
number, which the pump curve procedure learns by closing sections. whole() is the flow with all
sections on at the same demand, narrow() its inverse, extra_u16() a demand to add where less than
plain_mm of the width is open. r is the share of the width that is open, Q the flow through it.
"""

from rate_control.intmath import LIMIT, muldiv
from rate_control.units import CURVE_POINTS, INLINE_VALVE, ONE_Q12, PWM_PUMP

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings
    from rate_control.valve_share import BypassShare, InlineShare

ONE_Q11 = 2048


class PumpShare:
    """A displacement pump: demand = a + b Q + c P, and P is that of all sections at Q / r.

    pressure_u16 is c P at the topmost point of the curve. P grows with the density: a liquid
    of another density than the one that the curve was taken with changes P, and nothing else.
    """

    def __init__(self, settings: "Settings") -> None:
        self.total_mm = settings.total_width_mm()
        self._pressure_u16 = settings.curve_pressure_u16
        self._top_ul_s = settings.curve_flow_ul_s[CURVE_POINTS - 1]
        self._denser_q11 = settings.liquid_density_g_l * ONE_Q11 // settings.curve_density_g_l
        self.plain_mm = 0
        if self._pressure_u16:
            self.plain_mm = self.total_mm if self._denser_q11 == ONE_Q11 else LIMIT

    def whole(self, flow_ul_s: int, width_mm: int) -> int:
        """Return the flow: its part of the demand does not depend on the sections."""
        return flow_ul_s

    def narrow(self, flow_ul_s: int, width_mm: int) -> int:
        """Return the flow, as whole() does."""
        return flow_ul_s

    def extra_u16(self, flow_ul_s: int, width_mm: int) -> int:
        """Return the demand for the pressure that fewer sections and the density add."""
        if width_mm <= 0:
            return 0
        part = min(muldiv(flow_ul_s, ONE_Q12, self._top_ul_s), 4 * ONE_Q12)
        narrow = part
        if width_mm < self.total_mm:
            narrow = min(muldiv(part, self.total_mm, width_mm), 4 * ONE_Q12)
        pressure = (narrow * narrow >> 12) * self._denser_q11 >> 11  # at most 16 x 5
        return muldiv(pressure - (part * part >> 12), self._pressure_u16, ONE_Q12)


def make(settings: "Settings") -> "PumpShare | InlineShare | BypassShare":
    """Return the law for the actuator of the settings; a board loads no other one."""
    if settings.actuator == PWM_PUMP:
        return PumpShare(settings)
    from rate_control.valve_share import BypassShare, InlineShare
    return InlineShare(settings) if settings.actuator == INLINE_VALVE else BypassShare(settings)
