"""Unit texts on the host: SI floats inside, the firmware's table of units at the edge.

`app.units_text` holds the only table; this module adds what one of its integer
internal units is in SI, so that a device and the host print the same digits.
Quantities are named as there: `"rate_ml_ha"`, `"speed_mm_s"` ...
"""

from __future__ import annotations

from fractions import Fraction

from app import units_text, units_typed
from rate_control.intmath import divide_rounded

# The systems of units, by the names that files and options have for them.
SYSTEMS = METRIC, US = "metric", "us"

# One internal unit in SI (m, s, kg, Pa, m3; an application rate is m3/m2 = m).
SI_PER_INTERNAL = {
    "rate_ml_ha": Fraction(1, 10**10),
    "speed_mm_s": Fraction(1, 1000),
    "width_mm": Fraction(1, 1000),
    "distance_mm": Fraction(1, 1000),
    "distance_m": Fraction(1),
    "area_m2": Fraction(1),
    "volume_ml": Fraction(1, 10**6),
    "catch_ul": Fraction(1, 10**9),
    "flow_ul_s": Fraction(1, 10**9),
    "outlet_flow_ul_s": Fraction(1, 10**9),
    "pressure_pa": Fraction(1),
    "density_g_l": Fraction(1),
    "mass_g": Fraction(1, 1000),
    "pulses_per_hl": Fraction(10),
    "pulses_per_km": Fraction(1, 1000),
    "duty_u16": Fraction(1, 65535),
    "time_ms": Fraction(1, 1000),
    "supply_mv": Fraction(1, 1000),
    "share_permille": Fraction(1, 1000),
    "share_ppm": Fraction(1, 10**6),
}


def system(us: bool) -> str:
    """The name of a system of units."""
    return US if us else METRIC


def parse(quantity: str, text: str, us: bool) -> float:
    """SI value of typed text; without a unit it is read in the system `us` selects.

    ValueError, with a reason to show, if the text is not a number with a fitting unit.
    """
    numerator, denominator = units_typed.exact(quantity, text, us)
    return float(Fraction(numerator, denominator) * SI_PER_INTERNAL[quantity])


def whole(quantity: str, text: str, us: bool, low: int, high: int, scale: int = 1) -> int:
    """The nearest whole number of `scale` internal units, from low to high, to what was typed.

    ValueError, in the unit that was typed, where it is none or one out of range.
    """
    numerator, denominator = units_typed.exact(quantity, text, us)
    value: int = divide_rounded(numerator, denominator * scale)
    if not low <= value <= high:
        span = typed_span(quantity, text, us, low * scale, high * scale)
        raise ValueError(f"must be {span}, is {text.strip()}")
    return value


def typed_span(quantity: str, text: str, us: bool, low: float, high: float) -> str:
    """From low to high, in internal units, as text in the unit that was typed."""
    label = text.strip().lstrip("+-.,0123456789").strip() or unit(quantity, us)
    one = Fraction(*units_typed.exact(quantity, f"1 {label}", us))
    least, most = (f"{float(end / one):.6g}" for end in (low, high))
    return f"{least} to {most} {label}"


def parse_with_unit(quantity: str, text: str) -> float:
    """As `parse`, of a text that has to name its unit."""
    if not text.strip().lstrip("+-.0123456789").strip():
        raise ValueError(f"'{text}' needs its unit, one of {labels(quantity)}")
    return parse(quantity, text, False)


def labels(quantity: str) -> str:
    """The units in which a quantity may be typed."""
    rows = units_text.UNITS[quantity] + units_typed.TYPED.get(quantity, ())
    return ", ".join(dict.fromkeys(row[0] for row in rows))


def number(quantity: str, value: float, us: bool) -> str:
    """An SI value as the device shows it, without the unit."""
    internal = round(Fraction(value) / SI_PER_INTERNAL[quantity])
    return str(units_text.to_text(quantity, internal, us))


def text(quantity: str, value: float, us: bool) -> str:
    """An SI value as the device shows it, with the unit."""
    return f"{number(quantity, value, us)} {unit(quantity, us)}"


def unit(quantity: str, us: bool) -> str:
    """Label of the shown unit."""
    return str(units_text.unit(quantity, us))


def shown(quantity: str, value: float, us: bool) -> float:
    """An SI value in the shown unit, unrounded."""
    _, _, numerator, denominator = units_text.UNITS[quantity][1 if us else 0]
    return value / float(SI_PER_INTERNAL[quantity] * Fraction(numerator, denominator))


def from_shown(quantity: str, value: float, us: bool) -> float:
    """The SI value of a number in the shown unit; the inverse of `shown`."""
    _, _, numerator, denominator = units_text.UNITS[quantity][1 if us else 0]
    return value * float(SI_PER_INTERNAL[quantity] * Fraction(numerator, denominator))
