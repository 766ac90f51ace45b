"""The small grammar of a sizing request: `"6 to 12 km/h"`, `"1.2 L/min at 3 bar"`.

Every reader takes the text and whether bare numbers are US customary, and gives SI.
ValueError says what is wrong, in words that fit behind the name of a field.
"""

from __future__ import annotations

import re

from host_sim.common import units
from host_sim.sizing import handbook
from host_sim.sizing.machine import PUMP_CLASSES, Outlet, Pump, Valve, iso_outlet

_AT = re.compile(r"\s*@\s*|\s+at\s+")
_TO = re.compile(r"\s+to\s+|(?<=[\d.])\s*-\s*(?=[\d.])|(?<=[a-z])\s+-\s+", re.IGNORECASE)
_UNIT = re.compile(r"[\d.\s]*(.*)")


def positive(quantity: str, text: str, us: bool) -> float:
    """A quantity above zero."""
    value = units.parse(quantity, text, us)
    if value <= 0:
        raise ValueError(f"'{text.strip()}' is not above zero")
    return value


def not_negative(quantity: str, text: str, us: bool) -> float:
    """A quantity that may be zero."""
    value = units.parse(quantity, text, us)
    if value < 0:
        raise ValueError(f"'{text.strip()}' is below zero")
    return value


def span(quantity: str, text: str, us: bool) -> tuple[float, float]:
    """`"6 to 12 km/h"`; a unit on the first number only or on the second only holds for both.

    A single quantity is a range of no width.
    """
    ends = _TO.split(text.strip())
    if len(ends) > 2:
        raise ValueError(f"'{text}' is not a range like '6 to 12'")
    labels = [_unit_of(end) for end in ends]
    low, high = (
        positive(quantity, end if label else f"{end} {labels[-1] or labels[0]}", us)
        for end, label in ((ends[0], labels[0]), (ends[-1], labels[-1]))
    )
    if low > high:
        raise ValueError(f"'{text}' runs backwards")
    return low, high


def _unit_of(text: str) -> str:
    match = _UNIT.fullmatch(text.strip())
    return match.group(1) if match else ""


def frequencies(text: str) -> tuple[float, float]:
    """`"2 to 10000 Hz"`."""
    match = re.fullmatch(r"\s*([\d.]+)\s*(?:Hz)?\s*to\s*([\d.]+)\s*(?:Hz)?\s*", text, re.IGNORECASE)
    if not match:
        raise ValueError(f"'{text}' is not like '2 to 10000 Hz'")
    low, high = (float(end) for end in match.groups())
    if not 0 < low < high:
        raise ValueError(f"'{text}' is not a range above zero")
    return low, high


def counts(text: str) -> tuple[int, ...]:
    """`"6, 8, 6"`: outlets or rows of each section."""
    words = text.replace(",", " ").split()
    if not words or not all(word.isdecimal() and int(word) > 0 for word in words):
        raise ValueError(f"'{text}' is not a list of whole numbers above zero like '6, 8, 6'")
    return tuple(int(word) for word in words)


def flow_at_pressure(quantity: str, text: str, us: bool) -> tuple[float, float]:
    """`"1.2 L/min at 3 bar"`."""
    parts = _AT.split(text.strip())
    if len(parts) != 2:
        raise ValueError(f"'{text}' is not a flow at a pressure like '1.2 L/min at 3 bar'")
    return positive(quantity, parts[0], us), positive("pressure_pa", parts[1], us)


def outlet(text: str, range_pa: tuple[float, float], us: bool) -> Outlet:
    """An ISO 10625 size, or any orifice by one measured point with water."""
    size = text.strip()
    if size in handbook.ISO_10625_COLOURS:
        return iso_outlet(size, range_pa)
    if not _AT.search(size):
        sizes = ", ".join(handbook.ISO_10625_COLOURS)
        raise ValueError(f"'{size}' is none of the sizes {sizes}, nor like '1.2 L/min at 3 bar'")
    flow, pressure = flow_at_pressure("outlet_flow_ul_s", size, us)
    return Outlet(f"of {size}", flow, pressure, range_pa)


def pump(text: str, us: bool) -> Pump:
    """A class, or the two points `"11.3 L/min open, 6.7 L/min at 2.8 bar"`."""
    name = text.strip()
    if name in PUMP_CLASSES:
        return PUMP_CLASSES[name]
    open_text, comma, loaded_text = name.partition(",")
    if not comma or not open_text.rstrip().endswith("open"):
        classes = ", ".join(PUMP_CLASSES)
        raise ValueError(
            f"'{name}' is none of the classes {classes}, "
            "nor like '11.3 L/min open, 6.7 L/min at 2.8 bar'"
        )
    open_flow = positive("flow_ul_s", open_text.rstrip().removesuffix("open"), us)
    flow, pressure = flow_at_pressure("flow_ul_s", loaded_text, us)
    if flow > open_flow:
        raise ValueError(f"'{name}' gives more under pressure than open")
    return Pump.from_points("as given", open_flow, flow, pressure)


def valve(text: str, us: bool) -> Valve:
    """`"20 L/min at 0.3 bar"`: the rated flow, and the pressure it costs (none if not given)."""
    if not _AT.search(text.strip()):
        return Valve(positive("flow_ul_s", text, us), 0.0)
    return Valve(*flow_at_pressure("flow_ul_s", text, us))
