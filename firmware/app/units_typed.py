"""Numbers as a person types them, on the command line and in files; a board needs it never.

Beside the units that are shown (units_text.py) it understands more, by their labels.
"""

from app.units_text import FOOT_UM, GALLON_NL, UNITS
from rate_control.intmath import divide_rounded

_OUTLET_FLOW = (("mL/min", 0, 50, 3), ("fl oz/min", 1, GALLON_NL, 128 * 60 * 10**3))
TYPED = {
    "speed_mm_s": (("m/s", 2, 1000, 1),),
    "width_mm": (("cm", 1, 10, 1), ("mm", 0, 1, 1), ("ft", 2, FOOT_UM, 1000)),
    "distance_m": (("m", 0, 1, 1),),
    "area_m2": (("m2", 0, 1, 1),),
    "volume_ml": (("mL", 0, 1, 1),),
    "catch_ul": (("L", 3, 10**6, 1),),
    "flow_ul_s": _OUTLET_FLOW,
    "outlet_flow_ul_s": _OUTLET_FLOW,
    "pressure_pa": (("kPa", 0, 1000, 1), ("MPa", 3, 1000000, 1)),
    "density_g_l": (("g/L", 0, 1, 1),),
    "mass_g": (("g", 0, 1, 1),),
    "time_ms": (("ms", 0, 1, 1),),
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


def from_text(quantity: str, text: str, us: int) -> int:
    """The nearest integer, in the internal unit, to what was typed.

    `text` is a plain decimal number, with or without a unit. Without one it is
    read in the shown unit of the system that `us` selects; with one, in that
    unit whatever the system. ValueError, with a reason to show, if it is neither.
    """
    numerator, denominator = exact(quantity, text, us)
    return divide_rounded(numerator, denominator)


def exact(quantity: str, text: str, us: int) -> tuple[int, int]:
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


def _decimal(text: str) -> tuple[int, int]:
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


def _row(quantity: str, label: str, us: int) -> tuple:
    """Row of the unit called `label`; the shown unit if the label is empty."""
    rows = UNITS[quantity] + TYPED.get(quantity, ())
    if not label:
        return rows[1 if us else 0]
    wanted = _plain(label)
    wanted = ALIASES.get(wanted, wanted)
    for row in rows:
        if _plain(row[0]) == wanted:
            return row
    raise ValueError("unit '%s' is none of %s" % (label, ", ".join(row[0] for row in rows)))


def _plain(label: str) -> str:
    return label.lower().replace(" ", "")
