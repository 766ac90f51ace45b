"""Where each setting of the controller stands in a machine file, and under which key.

Its row in the table of settings says so. A setting without a home there is in [settings], under its
name without the unit.
"""

from __future__ import annotations

from typing import Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app.quantity_text import in_words
from host_sim.common.reading import Where
from rate_control.settings_table import HOME, NAME, TABLE

ROWS: tuple[Any, ...] = TABLE

FITTED, SETTINGS, LEARNED, WANTED, TWIN = "fitted", "settings", "learned", "wanted", "twin"

# What a data sheet says of a part; what was learned of it goes before.
FROM_DATA_SHEET: dict[str, Where] = {
    "speed_pulses_km": (FITTED, "speed_sensor"),
    "meter_pulses_hl": (FITTED, "meter"),
}


def plain_name(name: str) -> str:
    """The name of a setting without its unit: `rate` for `rate_ml_ha`."""
    return str(in_words(name)).replace(" ", "_")


def place_of(entry: Any) -> Where:
    """Where the setting of a row of the table stands."""
    home = str(entry[HOME])
    return tuple(home.split(".")) if home else (SETTINGS, plain_name(entry[NAME]))


HOMES: dict[str, Where] = {
    entry[NAME]: place_of(entry) for entry in ROWS if len(place_of(entry)) > 1
}
# The units of the file are a key of its own, and the sections are counted from their widths.
NO_HOME: dict[str, str] = {
    entry[NAME]: str(entry[HOME]) for entry in ROWS if entry[NAME] not in HOMES
}
NAMES: dict[Where, str] = {place: name for name, place in HOMES.items()}
GROUPS: tuple[str, ...] = tuple(dict.fromkeys(
    str(place[1]) for place in HOMES.values() if place[0] == LEARNED))


def key_of(name: str) -> str:
    """The place of a setting as a person reads it: `settings.rate`."""
    return ".".join(map(str, HOMES.get(name, (NO_HOME.get(name, plain_name(name)),))))


def named(typed: str) -> str | None:
    """The setting that a typed name means: `settings.rate` or, where only one has it, `rate`.

    None where there is no such setting.
    """
    exact = [name for name, place in HOMES.items() if ".".join(map(str, place)) == typed]
    last = [name for name, place in HOMES.items() if typed in (place[-1], plain_name(name))]
    found = exact or last
    return found[0] if len(found) == 1 else None
