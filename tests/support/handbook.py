"""The arithmetic of the extension handbooks, as pure functions in their own units: an oracle.

US customary: gal/ac, mph, in, ft, gal/min, fl oz, lb/gal, US liquid measure.
Metric: L/ha, km/h, m, L/min. The constants are exact: 5940 = 43560 x 12 / 88
(one acre in ft2, inches per foot, ft/min per mph) and 600 = 10000 x 60 / 1000.
The published sources and their worked examples stand in tests/host/sizing.
"""

from __future__ import annotations

from host_sim.sizing import handbook

FT2_PER_ACRE = 43560
FT_MIN_PER_MPH = 88
FL_OZ_PER_GAL = 128
BOOM_CONSTANT_US = 5940
BOOM_CONSTANT_METRIC = 600
OUNCE_PLOT_FT2 = FT2_PER_ACRE / FL_OZ_PER_GAL  # 1/128 acre: one ounce on it is 1 gal/ac
WATER_LB_GAL = 8.34  # as UNL CropWatch (2016) and most handbooks round it


def flow_gal_min(rate_gal_ac: float, speed_mph: float, width_in: float) -> float:
    """Flow that puts a rate on a width at a speed."""
    return rate_gal_ac * speed_mph * width_in / BOOM_CONSTANT_US


def rate_gal_ac(flow_gal_min: float, speed_mph: float, width_in: float) -> float:
    """Rate that a flow puts on a width at a speed."""
    return BOOM_CONSTANT_US * flow_gal_min / (speed_mph * width_in)


def flow_l_min(rate_l_ha: float, speed_km_h: float, width_m: float) -> float:
    """Flow that puts a rate on a width at a speed."""
    return rate_l_ha * speed_km_h * width_m / BOOM_CONSTANT_METRIC


def rate_l_ha(flow_l_min: float, speed_km_h: float, width_m: float) -> float:
    """Rate that a flow puts on a width at a speed."""
    return BOOM_CONSTANT_METRIC * flow_l_min / (speed_km_h * width_m)


def plot_rate_gal_ac(catch_gal: float, distance_ft: float, width_ft: float) -> float:
    """Rate from what was used or caught over a measured plot."""
    return catch_gal * FT2_PER_ACRE / (distance_ft * width_ft)


def plot_rate_l_ha(catch_ml: float, distance_m: float, width_m: float) -> float:
    """Rate from what was used or caught over a measured plot."""
    return 10 * catch_ml / (distance_m * width_m)


def catch_flow_gal_min(catch_fl_oz: float, time_s: float) -> float:
    """Flow from an amount caught in a time."""
    return catch_fl_oz / FL_OZ_PER_GAL * 60 / time_s


def ounce_course_ft(width_in: float) -> float:
    """Course on which ounces caught from one outlet are its gal/ac (1/128-acre method)."""
    return OUNCE_PLOT_FT2 * 12 / width_in


def speed_km_h(distance_m: float, time_s: float) -> float:
    """Speed over a measured course."""
    return 3.6 * distance_m / time_s


def speed_mph(distance_ft: float, time_s: float) -> float:
    """Speed over a measured course."""
    return distance_ft * 60 / (time_s * FT_MIN_PER_MPH)


def course_time_s(distance_ft: float, speed_mph: float) -> float:
    """Time that a measured course takes."""
    return distance_ft * 60 / (speed_mph * FT_MIN_PER_MPH)


def spray_volume(area: float, rate: float) -> float:
    """Volume for an area, in the volume unit of the rate (area in the rate's area unit)."""
    return area * rate


def rate_error_pct(true_width: float, entered_width: float) -> float:
    """Error of the applied rate if a flow is worked out for a width that is not the true one."""
    return 100 * (entered_width / true_width - 1)


def specific_gravity(density_lb_gal: float, water_lb_gal: float = WATER_LB_GAL) -> float:
    """Density relative to water."""
    return density_lb_gal / water_lb_gal


def solution_gal_ac(nutrient_lb_ac: float, nutrient_pct: float, density_lb_gal: float) -> float:
    """Rate of a fertilizer solution that carries a rate of one nutrient."""
    return nutrient_lb_ac / nutrient_lb_gal(nutrient_pct, density_lb_gal)


def nutrient_lb_gal(nutrient_pct: float, density_lb_gal: float) -> float:
    """Nutrient in a gallon of solution (percent by weight)."""
    return nutrient_pct / 100 * density_lb_gal


def size_nominal_l_min(size: str) -> float:
    """Flow of a size at 3 bar in the rounded metric series (size 03: 1.2 L/min).

    1.3 % above the size's gal/min at 40 psi taken to 3 bar.
    """
    return 0.4 * handbook.size_tenths(size)
