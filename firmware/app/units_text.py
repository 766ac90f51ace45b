"""The one table of units: numbers as a person reads and writes them.

Inside, every quantity is an integer in the unit that its name ends in
(`rate_ml_ha`, `speed_mm_s`). At the edges (display, link, files, command line)
it is decimal text in metric or US customary units. A displayed step is never
finer than one internal unit, so text -> integer -> text gives the same text.

Integers only, exact to the definitions; not for the tick: products leave the
small-int range.
"""

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

# quantity: rows of (label, decimals shown, numerator, denominator), where one
# labelled unit is numerator/denominator internal units. The first row is metric,
# the second US customary; further rows are only understood when typed.
_OUTLET_FLOW = (("mL/min", 0, 50, 3), ("fl oz/min", 1, GALLON_NL, 128 * 60 * 10**3))
UNITS = {
    "rate_ml_ha": (
        ("L/ha", 1, 1000, 1),
        ("gal/ac", 2, GALLON_NL * 10**5, ACRE_MCM2),
    ),
    "speed_mm_s": (
        ("km/h", 1, 2500, 9),
        ("mph", 1, 44704, 100),
        ("m/s", 2, 1000, 1),
    ),
    "width_mm": (
        ("m", 3, 1000, 1),
        ("in", 1, INCH_UM, 1000),
        ("cm", 1, 10, 1),
        ("mm", 0, 1, 1),
        ("ft", 2, FOOT_UM, 1000),
    ),
    "distance_mm": (("m", 1, 1000, 1), ("ft", 1, FOOT_UM, 1000)),
    "distance_m": (("km", 2, 1000, 1), ("mi", 2, MILE_MM, 1000)),
    "area_m2": (
        ("ha", 2, 10000, 1),
        ("ac", 2, ACRE_MCM2, 10**7),
        ("m2", 0, 1, 1),
    ),
    "volume_ml": (
        ("L", 1, 1000, 1),
        ("gal", 1, GALLON_NL, 10**6),
        ("mL", 0, 1, 1),
    ),
    "catch_ul": (
        ("mL", 0, 1000, 1),
        ("fl oz", 1, GALLON_NL, 128 * 10**3),
        ("L", 3, 10**6, 1),
    ),
    "flow_ul_s": (
        ("L/min", 2, 50000, 3),
        ("gal/min", 2, GALLON_NL, 60 * 10**3),
    )
    + _OUTLET_FLOW,
    "outlet_flow_ul_s": (
        ("L/min", 3, 50000, 3),
        ("gal/min", 3, GALLON_NL, 60 * 10**3),
    )
    + _OUTLET_FLOW,
    "pressure_pa": (
        ("bar", 2, 100000, 1),
        ("psi", 1) + PSI_PA,
        ("kPa", 0, 1000, 1),
        ("MPa", 3, 1000000, 1),
    ),
    "density_g_l": (
        ("kg/L", 3, 1000, 1),
        ("lb/gal", 2, POUND_UG * 10**3, GALLON_NL),
        ("g/L", 0, 1, 1),
    ),
    "mass_g": (("kg", 3, 1000, 1), ("lb", 2, POUND_UG, 10**6), ("g", 0, 1, 1)),
    "pulses_per_hl": (
        ("pulses/L", 2, 100, 1),
        ("pulses/gal", 1, 10**11, GALLON_NL),
    ),
    "pulses_per_km": (
        ("pulses/m", 3, 1000, 1),
        ("pulses/100 ft", 1, 10**7, FOOT_UM),
    ),
    "duty_u16": (("%", 1, 65535, 100), ("%", 1, 65535, 100)),
    "time_ms": (("s", 2, 1000, 1), ("s", 2, 1000, 1), ("ms", 0, 1, 1)),
    "supply_mv": (("V", 1, 1000, 1), ("V", 1, 1000, 1)),
    "share_permille": (("%", 1, 10, 1), ("%", 1, 10, 1)),
    "share_ppm": (("%", 2, 10000, 1), ("%", 2, 10000, 1)),
}

ALIASES = {
    "gpa": "gal/ac",
    "gpm": "gal/min",
    "kph": "km/h",
    "lpm": "l/min",
    "oz": "floz",
    "oz/min": "floz/min",
}

MAX_TEXT = 32


def unit(quantity, us):
    """Label of the unit that `quantity` is shown in, `"L/ha"` or, if `us`, `"gal/ac"`."""
    return UNITS[quantity][1 if us else 0][0]


def to_text(quantity, value, us):
    """`value` (integer, internal unit) as decimal text without its unit."""
    decimals = UNITS[quantity][1 if us else 0][1]
    return pointed(steps_of(quantity, value, us, decimals), decimals)


def short_text(quantity, value, us, digits, decimals=None):
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


def steps_of(quantity, value, us, decimals):
    """`value` as the nearest whole number of steps of the last of `decimals` places."""
    _, _, numerator, denominator = UNITS[quantity][1 if us else 0]
    return divide_rounded(value * denominator * 10**decimals, numerator)


def pointed(steps, decimals):
    """A number of steps as decimal text: `pointed(-1234, 2)` is `"-12.34"`."""
    sign = "-" if steps < 0 else ""
    digits = str(abs(steps))
    if not decimals:
        return sign + digits
    digits = "0" * (decimals + 1 - len(digits)) + digits
    return sign + digits[:-decimals] + "." + digits[-decimals:]


def with_unit(quantity, value, us):
    """`value` (integer, internal unit) as text with its unit: `"100.0 L/ha"`."""
    return to_text(quantity, value, us) + " " + unit(quantity, us)


def from_text(quantity, text, us):
    """The nearest integer, in the internal unit, to what was typed.

    `text` is a plain decimal number, with or without a unit. Without one it is
    read in the shown unit of the system that `us` selects; with one, in that
    unit whatever the system. ValueError, with a reason to show, if it is neither.
    """
    numerator, denominator = exact(quantity, text, us)
    return divide_rounded(numerator, denominator)


def exact(quantity, text, us):
    """As `from_text`, but unrounded: a fraction (numerator, denominator > 0)."""
    if len(text) > MAX_TEXT:
        raise ValueError("longer than %d characters" % MAX_TEXT)
    text = text.strip()
    end = 0
    while end < len(text) and text[end] in "+-.,0123456789":
        end += 1
    mantissa, scale = _decimal(text[:end] or text)
    _, _, numerator, denominator = _row(quantity, text[end:].strip(), us)
    return mantissa * numerator, scale * denominator


def divide_rounded(numerator, denominator):
    """Nearest integer to a fraction (denominator > 0), halves away from zero."""
    if numerator < 0:
        return -divide_rounded(-numerator, denominator)
    return (2 * numerator + denominator) // (2 * denominator)


def _decimal(text):
    """Exact value of `"12.34"` as (1234, 100)."""
    if "," in text:
        raise ValueError("'%s': write the decimal sign as a point" % text)
    sign = -1 if text[:1] == "-" else 1
    unsigned = text[1:] if text[:1] in ("+", "-") else text
    whole, _, fraction = unsigned.partition(".")
    digits = whole + fraction
    if not digits or not digits.isdigit():
        raise ValueError("'%s' is not a number" % text)
    return sign * int(digits), 10 ** len(fraction)


def _row(quantity, label, us):
    """Row of the unit called `label`; the shown unit if the label is empty."""
    rows = UNITS[quantity]
    if not label:
        return rows[1 if us else 0]
    wanted = _plain(label)
    wanted = ALIASES.get(wanted, wanted)
    for row in rows:
        if _plain(row[0]) == wanted:
            return row
    raise ValueError("unit '%s' is none of %s" % (label, ", ".join(row[0] for row in rows)))


def _plain(label):
    return label.lower().replace(" ", "")
