"""The learned pump curve: which duty gives which flow, and how section count moves it.

A displacement pump behind orifices needs duty = a + b Q + c P, where the pressure is that of
the whole boom at the flow Q / share: closing sections raises the pressure that the rest must
be fed with. The curve is learned with all sections on; curve_pressure_u16 is the pressure part
c P of its topmost point, so that the duty for a share of the width follows without learning
every combination of sections.
"""

from rate_control.intmath import HALF, clamp, muldiv
from rate_control.units import CURVE_POINTS, DUTY_FULL

ONE_Q12 = 4096


class PumpCurve:
    """Looks up duty for flow and flow for duty."""

    def __init__(self, settings):
        self._flow = settings.curve_flow_ul_s
        self._duty = settings.curve_duty_u16
        self._pressure_u16 = settings.curve_pressure_u16
        self._supply_mv = settings.curve_supply_mv
        self.top_flow_ul_s = self.flow_ul_s(DUTY_FULL)

    def duty_u16(self, flow_ul_s, width_mm, total_width_mm, supply_mv):
        """Return the duty for a flow through width_mm of total_width_mm at a supply voltage."""
        if flow_ul_s <= 0 or width_mm <= 0:
            return 0
        duty = max(interpolate(self._flow, self._duty, flow_ul_s), 0)
        if width_mm < total_width_mm and self._pressure_u16:
            duty += self._narrow_u16(flow_ul_s, width_mm, total_width_mm)
        if supply_mv and self._supply_mv:
            duty = muldiv(duty, self._supply_mv, supply_mv)
        return clamp(duty, 0, DUTY_FULL)

    def _narrow_u16(self, flow_ul_s, width_mm, total_width_mm):
        """Return the extra duty for the pressure of fewer open sections."""
        part = muldiv(flow_ul_s, ONE_Q12, self._flow[CURVE_POINTS - 1])
        part = min(part, 4 * ONE_Q12)
        narrow = min(muldiv(part, total_width_mm, width_mm), 4 * ONE_Q12)
        return muldiv(self._pressure_u16, (narrow * narrow - part * part) >> 12, ONE_Q12)

    def flow_ul_s(self, duty_u16):
        """Return the flow at a duty with all sections on, at the supply of the curve."""
        return max(interpolate(self._duty, self._flow, duty_u16), 0)


def interpolate(xs, ys, x):
    """Return y at x on the line through rising points; the end pieces go on beyond the ends.

    xs and ys are lists of CURVE_POINTS ints, xs rising. x within 0..FLOW_MAX_UL_S.
    """
    high = 1
    while high < CURVE_POINTS - 1 and x > xs[high]:
        high += 1
    low = high - 1
    run = xs[high] - xs[low]
    rise = ys[high] - ys[low]
    if x >= xs[low]:
        return ys[low] + min(muldiv(x - xs[low], rise, run), HALF)
    return ys[low] - min(muldiv(xs[low] - x, rise, run), HALF)
