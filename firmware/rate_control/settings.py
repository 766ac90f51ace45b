"""The settings of the controller, and the check that accepts or refuses them.

Which there are stands in settings_table.py, the only list of them.
"""

from rate_control.ranges import out_of_range
from rate_control.settings_table import COUNT, DEFAULT, HIGH, LOW, NAME, TABLE, UNIT
from rate_control.units import MAX_SECTIONS, WIDTH_MAX_MM

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any


def row(name: str) -> "tuple | Any":
    """Return the table row of a setting, or None where there is no such setting."""
    for entry in TABLE:
        if entry[NAME] == name:
            return entry
    return None


class Settings:
    """One consistent set of values, an attribute for each row of the table."""

    def __init__(self) -> None:
        for entry in TABLE:
            setattr(self, entry[NAME], default_value(entry))

    def widths_mm(self) -> list[int]:
        """Return the widths of the sections that are fitted, a list."""
        return self.section_width_mm[: self.section_count]

    def total_width_mm(self) -> int:
        """Return the width of all sections that are fitted."""
        return sum(self.widths_mm())

    def as_dict(self) -> dict[str, object]:
        """Return the values by name, lists copied."""
        values = {}
        for entry in TABLE:
            value = getattr(self, entry[NAME])
            values[entry[NAME]] = value if entry[COUNT] == 1 else list(value)
        return values


def default_value(entry: tuple) -> "Any":
    """Return the default of a table row: an int, or a list of count ints."""
    if entry[COUNT] == 1:
        return entry[DEFAULT]
    if isinstance(entry[DEFAULT], int):
        return [entry[DEFAULT]] * entry[COUNT]
    return list(entry[DEFAULT])


def build(values: dict, base: Settings | None = None) -> tuple[Settings | None, list[str]]:
    """Return (settings, problems) for a dict of changes to base (the defaults where None).

    Bad settings are refused as a whole: where problems, a list of lines, is not empty,
    settings is None and base is untouched.
    """
    problems = []
    settings = Settings()
    if base is not None:
        for name, value in base.as_dict().items():
            setattr(settings, name, value)
    for name in values:
        entry = row(name)
        if entry is None:
            problems.append("%s: no such setting" % name)
            continue
        fault = value_problem(entry, values[name])
        if fault:
            problems.append("%s: %s" % (name, fault))
        else:
            value = values[name]
            setattr(settings, name, value if entry[COUNT] == 1 else list(value))
    if not problems:
        problems = cross_problems(settings)
    return (None, problems) if problems else (settings, problems)


def value_problem(entry: tuple, value: object) -> str:
    """Return what is wrong with a value for a table row, or an empty text."""
    if entry[COUNT] == 1:
        return number_problem(entry, value)
    if not isinstance(value, (list, tuple)):
        return "must be a list of %d whole numbers" % entry[COUNT]
    if len(value) != entry[COUNT]:
        return "must have %d numbers, has %d" % (entry[COUNT], len(value))
    for index, number in enumerate(value):
        fault = number_problem(entry, number)
        if fault:
            return "number %d %s" % (index + 1, fault)
    return ""


def number_problem(entry: tuple, number: object) -> str:
    """Return what is wrong with one number for a table row, or an empty text."""
    return out_of_range(number, entry[LOW], entry[HIGH], entry[UNIT])


def cross_problems(settings: Settings) -> list[str]:
    """Return what is wrong between settings that are each in their own range."""
    problems = []
    total = settings.total_width_mm()
    if total > WIDTH_MAX_MM:
        problems.append("section_width_mm: all sections together must be at most %d mm, are %d"
                        % (WIDTH_MAX_MM, total))
    for name in ("curve_flow_ul_s", "curve_duty_u16"):
        points = getattr(settings, name)
        for index in range(1, len(points)):
            if points[index] <= points[index - 1]:
                problems.append("%s: number %d must be above number %d"
                                % (name, index + 1, index))
    if settings.rate_ml_ha > settings.highest_rate_ml_ha:
        problems.append("rate_ml_ha: must be at most highest_rate_ml_ha, %d mL/ha"
                        % settings.highest_rate_ml_ha)
    if settings.meter_floor_ul_s >= settings.curve_flow_ul_s[-1]:
        problems.append("meter_floor_ul_s: must be below the highest flow of curve_flow_ul_s")
    return problems


assert row("section_width_mm")[COUNT] == MAX_SECTIONS
