"""A pressure sensor behind the filter: its reading, and what the outlets look like with the flow.

Flow through an orifice goes with the square root of the pressure across it (Oklahoma State
University Extension, Calibrating a Low-Pressure Ground Sprayer: four times the pressure for twice
the flow). So the flow that the meter shows, over what new outlets would pass at the pressure that
is there, is one number for any rate, speed and number of sections: 1000 for new outlets, less for
plugged ones, more for worn ones. All in integers that stay small.
"""

from rate_control.intmath import DIVISOR_LIMIT, isqrt, muldiv

NONE, VOLTS, CURRENT = range(3)  # no sensor; 0.5 to 4.5 V; 4 to 20 mA over 150 ohms

# by kind, mV at the terminal: at no pressure, at full pressure, lowest and highest that a whole
# sensor gives. What is beyond them is a cut or shorted wire (common practice, no source).
KINDS = ((0, 1, 0, 0), (500, 4500, 250, 4750), (600, 3000, 540, 3150))

# what the sensor at work says; see SAYS in pressure_watch.py
NOTHING, PLUGGED, WORN, FILTER, PUMP, FILTER_OR_PUMP, NO_SIGNAL = range(7)

BROKEN = -1  # instead of a pressure: the wire is cut or shorted
UNKNOWN = 0  # instead of a share: nothing can be said

PRESSURE_MAX_PA = 10000000  # of a sensor's range; 64 times it is still a small int
ROOT_SHIFT = 6  # the root of 64 p has three bits more than that of p

# A tenth more flow than a new outlet gives is worn out (USGA, The 10-Percent Rule, 2016; Irish
# Farmers Journal, 2016: a main failure of tests); a law asks for 10 % either way (Czech Decree
# 207/2012, 7.9.2). The mean of all outlets is held to the same.
WORN_PERMILLE = 1100
PLUGGED_PERMILLE = 900


def pressure_pa(terminal_mv: int, kind: int, range_pa: int) -> int:
    """Return the pressure for a voltage at the terminal, or BROKEN.

    range_pa is the pressure at full signal, up to PRESSURE_MAX_PA. A little less than no pressure,
    as the offset of a whole sensor shows it, is 0.
    """
    zero_mv, full_mv, low_mv, high_mv = KINDS[kind]
    if terminal_mv < low_mv or terminal_mv > high_mv:
        return BROKEN
    return muldiv(max(terminal_mv - zero_mv, 0), range_pa, full_mv - zero_mv)


def drop_pa(pressure: int, check_pa: int, range_pa: int) -> int:
    """Return the pressure across the outlets, or UNKNOWN where the sensor cannot tell it.

    Their check valves take check_pa of it: forgotten, a clean machine looks half plugged at low
    flow. A tenth of the sensor's range is the least that is told: an error of 1 % of the range is
    then 10 % of the drop and 5 % of the share, half of what is judged (chosen).
    """
    drop = pressure - check_pa
    return drop if drop * 10 >= range_pa else UNKNOWN


def outlet_permille(flow_ul_s: int, drop: int, open_mm: int, all_mm: int,
                    rated_ul_s: int, rated_pa: int) -> int:
    """Return the flow over what new outlets would pass, in per mille, or UNKNOWN.

    rated_ul_s is what all outlets together pass when new, with rated_pa across them, in the liquid
    that is used; open_mm of all_mm of the width are on. It is UNKNOWN without a drop or an open
    section. A leak looks as wear does, a shut section valve or a meter that loses pulses as plugs.
    """
    root = isqrt(drop << ROOT_SHIFT) if drop > 0 else 0
    due = muldiv(muldiv(rated_ul_s, open_mm, all_mm), root, isqrt(rated_pa << ROOT_SHIFT))
    due = min(due, DIVISOR_LIMIT)  # 17 L/s: more than any meter here reads, so plugs stay plugs
    return muldiv(flow_ul_s, 1000, due) if due else UNKNOWN
