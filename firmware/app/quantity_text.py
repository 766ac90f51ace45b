"""Settings, parameters and facts as a person reads and writes them.

They carry the name of a quantity of the table of units (units_text.py), "" for a plain number
or "words" for a fixed text; a setting carries the unit of its table, which names a quantity
here.
"""

from app import units_text
from rate_control.settings import UNIT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

QUANTITY_OF_UNIT = {
    "mL/ha": "rate_ml_ha",
    "mm": "width_mm",
    "m": "distance_m",
    "g/L": "density_g_l",
    "pulses/km": "pulses_per_km",
    "pulses/100 L": "pulses_per_hl",
    "mm/s": "speed_mm_s",
    "uL/s": "flow_ul_s",
    "ms": "time_ms",
    "mV": "supply_mv",
    "of 65535": "duty_u16",
    "per mille": "share_permille",
}


# what the parts of a name say about units, which the shown value says itself
_UNIT_PARTS = ("mm", "m", "ms", "ml", "ul", "g", "l", "s", "ha", "hl", "km", "mv", "u16",
               "permille", "ppm")


def of_setting(entry: tuple) -> str:
    """Return the quantity of a row of the table of settings, "" for a plain number."""
    return QUANTITY_OF_UNIT.get(entry[UNIT], "")


def choices(entry: tuple) -> list[str]:
    """Return the names of the values of a setting from its lowest on, a list; [] for a number."""
    return entry[UNIT].split("|") if "|" in entry[UNIT] else []


def show(quantity: str, value: "Any", us: int) -> str:
    """Return a value as text with its unit in the chosen system."""
    if quantity in ("", "words"):
        return str(value)
    return units_text.with_unit(quantity, value, us)


def read(quantity: str, text: str, us: int) -> int:
    """Return the value that a text means; ValueError, with a reason to show, if it is none."""
    if quantity:
        from app.units_typed import from_text
        return from_text(quantity, text, us)
    try:
        return int(text)
    except ValueError:
        raise ValueError("not a whole number") from None


def in_words(name: str) -> str:
    """Return the name of a setting, parameter or procedure in words, without its unit."""
    parts = name.split("_")
    while len(parts) > 1 and parts[-1] in _UNIT_PARTS:
        parts.pop()
    return " ".join(parts)
