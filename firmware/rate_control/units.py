"""Scales and limits that the whole core shares.

Suffixes: _mm_s mm/s, _ul_s microlitres/s, _ml_ha mL/ha, _mm mm, _u16 duty of 65535, _q12, _q16
and _q20 a ratio with 4096, 65536 or 1048576 as one, _ms and _us times, _mv millivolts, _hl per
100 litres.
"""

TICK_MS = 50  # the control tick; every time constant of a setting is rounded to whole ticks
TICK_US = 50000
MAX_SECTIONS = 8  # boards/section_port.py must drive them all
CURVE_POINTS = 9

DUTY_FULL = 65535  # full scale of MicroPython's PWM.duty_u16
ONE_Q12 = 4096
ONE_Q16 = 65536
ONE_Q20 = 1048576
SPEED_MAX_MM_S = 20000  # 72 km/h; with WIDTH_MAX_MM it keeps speed x width a small int
WIDTH_MAX_MM = 50000
FLOW_MAX_UL_S = 10000000  # 600 L/min
RATE_MAX_ML_HA = 5000000  # 5,000 L/ha

# Values of the setting speed_source; those up to REPORTING are what reports (see Inputs.report)
BY_PULSES = 0
BY_GNSS = 1
BY_BOTH = 2  # the pulses, and a receiver that tells their slip
REPORTING = 1  # how many of them there are

# Values of the setting actuator
PWM_PUMP = 0
INLINE_VALVE = 1
BYPASS_VALVE = 2

# 1 ha = 1e10 mm2, 1 mL = 1000 uL: flow_ul_s = rate_ml_ha x (speed_mm_s x width_mm) / 1e7
AREA_PER_RATE = 10000000

# Bits of Inputs.switches, 1 where the contact is closed; debounced, 1 means on or down
SWITCH_MASTER = 1
SWITCH_IMPLEMENT = 2
SWITCH_SECTION_SHIFT = 2  # section 0 is bit 2
