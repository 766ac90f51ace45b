"""The one formula of the trade, both ways: flow = application rate x ground speed x width.

In trade units L/min = L/ha x km/h x m / 600; the extension handbooks print the same identity
as GPM = GPA x mph x inches / 5940. Here all three factors are integers and the constant is
1e7 (see units.py).
"""

from rate_control.intmath import DIVISOR_LIMIT, muldiv
from rate_control.units import AREA_PER_RATE, FLOW_MAX_UL_S


def target_flow_ul_s(rate_ml_ha: int, speed_mm_s: int, width_mm: int) -> int:
    """Return the flow that puts rate_ml_ha on the ground, rounded down, at most FLOW_MAX_UL_S.

    rate_ml_ha up to RATE_MAX_ML_HA, speed_mm_s to SPEED_MAX_MM_S, width_mm to WIDTH_MAX_MM.
    """
    # The product of all three has 53 bits. So rate x width is divided by 1e3, and what belongs to
    # each mm/s by another 1e4, with the remainders kept: no digit is lost.
    millis = width_mm * (rate_ml_ha % 1000)
    per_speed = width_mm * (rate_ml_ha // 1000) + millis // 1000
    rest = speed_mm_s * (per_speed % 10000) + speed_mm_s * (millis % 1000) // 1000
    flow = speed_mm_s * (per_speed // 10000) + rest // 10000
    return flow if flow < FLOW_MAX_UL_S else FLOW_MAX_UL_S


def applied_rate_ml_ha(flow_ul_s: int, speed_mm_s: int, width_mm: int) -> int:
    """Return the rate that a flow puts on the ground; 0 while no ground is covered.

    1e7 is 2**7 x 78125: dividing area and constant by 2**7 keeps a large area a legal divisor.
    """
    area_mm2_s = speed_mm_s * width_mm
    if area_mm2_s == 0:
        return 0
    if area_mm2_s < DIVISOR_LIMIT:
        return muldiv(flow_ul_s, AREA_PER_RATE, area_mm2_s)
    return muldiv(flow_ul_s, AREA_PER_RATE >> 7, area_mm2_s >> 7)
