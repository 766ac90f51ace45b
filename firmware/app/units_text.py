"""The one table of units: numbers as a person reads them (as a person types: units_typed.py).

Inside, every quantity is an integer in the unit that its name ends in
(`rate_ml_ha`, `speed_mm_s`). At the edges (display, link, files, command line)
it is decimal text in metric or US customary units. A displayed step is never
finer than one internal unit, so text -> integer -> text gives the same text.

Integers only, exact to the definitions; not for the tick: products leave the
small-int range.
"""

from rate_control.intmath import divide_rounded

# Exact definitions: international yard and pound (1959), US gallon of 231 in3,
# standard gravity 9.80665 m/s2. Source: NIST Handbook 44 appendix C, NIST SP 811
# appendix B (quoted from memory; the tests rebuild each from inch, pound, gravity).
INCH_UM = 25400
FOOT_UM = 12 * INCH_UM
MILE_MM = 1609344
GALLON_NL = 3785411784
ACRE_MCM2 = 40468564224  # thousandths of a square centimetre: 4046.8564224 m2
POUND_UG = 453592370
PSI_PA = (45359237 * 980665, 64516 * 10**5)  # pound force over square inch

# quantity: its rows, metric and US customary, of (label, decimals shown, numerator,
# denominator), where one labelled unit is numerator/denominator internal units
UNITS = {
    "rate_ml_ha": (("L/ha", 1, 1000, 1), ("gal/ac", 2, GALLON_NL * 10**5, ACRE_MCM2)),
    "speed_mm_s": (("km/h", 1, 2500, 9), ("mph", 1, 44704, 100)),
    "width_mm": (("m", 3, 1000, 1), ("in", 1, INCH_UM, 1000)),
    "distance_mm": (("m", 1, 1000, 1), ("ft", 1, FOOT_UM, 1000)),
    "distance_m": (("km", 2, 1000, 1), ("mi", 2, MILE_MM, 1000)),
    "area_m2": (("ha", 2, 10000, 1), ("ac", 2, ACRE_MCM2, 10**7)),
    "volume_ml": (("L", 1, 1000, 1), ("gal", 1, GALLON_NL, 10**6)),
    "catch_ul": (("mL", 0, 1000, 1), ("fl oz", 1, GALLON_NL, 128 * 10**3)),
    "flow_ul_s": (("L/min", 2, 50000, 3), ("gal/min", 2, GALLON_NL, 60 * 10**3)),
    "outlet_flow_ul_s": (("L/min", 3, 50000, 3), ("gal/min", 3, GALLON_NL, 60 * 10**3)),
    "pressure_pa": (("bar", 2, 100000, 1), ("psi", 1) + PSI_PA),
    "density_g_l": (("kg/L", 3, 1000, 1), ("lb/gal", 2, POUND_UG * 10**3, GALLON_NL)),
    "mass_g": (("kg", 3, 1000, 1), ("lb", 2, POUND_UG, 10**6)),
    "pulses_per_hl": (("pulses/L", 2, 100, 1), ("pulses/gal", 1, 10**11, GALLON_NL)),
    "pulses_per_km": (("pulses/m", 3, 1000, 1), ("pulses/ft", 3, 10**9, FOOT_UM)),
    "duty_u16": (("%", 1, 65535, 100),) * 2,
    "time_ms": (("s", 2, 1000, 1),) * 2,
    "supply_mv": (("V", 1, 1000, 1),) * 2,
    "share_permille": (("%", 1, 10, 1),) * 2,
    "share_ppm": (("%", 2, 10000, 1),) * 2,
}


def unit(quantity: str, us: int) -> str:
    """Label of the unit that `quantity` is shown in, `"L/ha"` or, if `us`, `"gal/ac"`."""
    return UNITS[quantity][1 if us else 0][0]


def to_text(quantity: str, value: int, us: int) -> str:
    """`value` (integer, internal unit) as decimal text without its unit."""
    decimals = UNITS[quantity][1 if us else 0][1]
    return pointed(steps_of(quantity, value, us, decimals), decimals)


def short_text(quantity: str, value: int, us: int, digits: int, decimals: int | None = None) -> str:
    """As `to_text`, with as many decimals less as it takes to need at most `digits` digits.

    What has more digits before the point keeps them all. `decimals`, where given, is how many
    there are at most.
    """
    if decimals is None:
        decimals = UNITS[quantity][1 if us else 0][1]
    while True:
        steps = steps_of(quantity, value, us, decimals)
        if not decimals or abs(steps) < 10**digits:
            return pointed(steps, decimals)
        decimals -= 1


def steps_of(quantity: str, value: int, us: int, decimals: int) -> int:
    """`value` as the nearest whole number of steps of the last of `decimals` places."""
    _, _, numerator, denominator = UNITS[quantity][1 if us else 0]
    return divide_rounded(value * denominator * 10**decimals, numerator)


def pointed(steps: int, decimals: int) -> str:
    """A number of steps as decimal text: `pointed(-1234, 2)` is `"-12.34"`."""
    sign = "-" if steps < 0 else ""
    digits = str(abs(steps))
    if not decimals:
        return sign + digits
    digits = "0" * (decimals + 1 - len(digits)) + digits
    return sign + digits[:-decimals] + "." + digits[-decimals:]


def with_unit(quantity: str, value: int, us: int) -> str:
    """`value` (integer, internal unit) as text with its unit: `"100.0 L/ha"`."""
    return to_text(quantity, value, us) + " " + unit(quantity, us)
