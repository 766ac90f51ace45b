"""The one formula of the trade, both ways: flow = application rate x ground speed x width.

In trade units L/min = L/ha x km/h x m / 600; the extension handbooks print the same identity
as GPM = GPA x mph x inches / 5940. Here all three factors are integers and the constant is
1e7 (see units.py).
"""

from rate_control.intmath import DIVISOR_LIMIT, muldiv
from rate_control.units import AREA_PER_RATE, FLOW_MAX_UL_S


def target_flow_ul_s(rate_ml_ha, speed_mm_s, width_mm):
    """Return the flow that puts rate_ml_ha on the ground, rounded down, at most FLOW_MAX_UL_S.

    speed_mm_s up to SPEED_MAX_MM_S and width_mm up to WIDTH_MAX_MM keep their product small.
    """
    return min(muldiv(speed_mm_s * width_mm, rate_ml_ha, AREA_PER_RATE), FLOW_MAX_UL_S)


def applied_rate_ml_ha(flow_ul_s, speed_mm_s, width_mm):
    """Return the rate that a flow puts on the ground; 0 while no ground is covered.

    1e7 is 2**7 x 78125: dividing area and constant by 2**7 keeps a large area a legal divisor.
    """
    area_mm2_s = speed_mm_s * width_mm
    if area_mm2_s == 0:
        return 0
    if area_mm2_s < DIVISOR_LIMIT:
        return muldiv(flow_ul_s, AREA_PER_RATE, area_mm2_s)
    return muldiv(flow_ul_s, AREA_PER_RATE >> 7, area_mm2_s >> 7)
