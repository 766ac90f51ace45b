"""What can be said in a sizing request, in one list.

An option `--section-valve` and a line `section_valve = ...` of a machine file are the same
field.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.sizing import texts


@dataclass(frozen=True)
class Said:
    """The texts given for a field, the system of its bare numbers, and its place."""

    texts: tuple[str, ...]
    us: bool
    place: str


@dataclass(frozen=True)
class SizingField:
    """One thing that can be said: its text, or its default, goes through `read`."""

    name: str
    example: str
    help: str
    read: Callable[[str, bool], Any]
    default: str | None = None
    required: bool = False
    many: bool = False  # may be given several times; a list in the file
    table: str = "fitted"  # of the machine file
    as_setting: str = ""  # the key of the setting there that says it

    @property
    def key(self) -> str:
        """Its key in a machine file."""
        return self.as_setting or self.name

    def texts_of(self, value: Any) -> tuple[str, ...]:
        """A value of a file as the texts that options would have carried.

        ValueError where it is none.
        """
        items = value if isinstance(value, list) else [value]
        if not items or not all(type(item) in (str, int, float) for item in items):
            raise ValueError(f"must be a text or number, for example '{self.example}'")
        words = tuple(str(item) for item in items)
        return words if self.many else (", ".join(words),)


def _quantity(quantity: str, read: Callable[[str, str, bool], Any]) -> Callable[[str, bool], Any]:
    return lambda text, us: read(quantity, text, us)


_positive, _zero, _span = texts.positive, texts.not_negative, texts.span

FIELDS = (
    SizingField("rate", "100 L/ha", "target rate; give it again for each rate wanted",
                _quantity("rate_ml_ha", _positive), required=True, many=True, table="wanted"),
    SizingField("speed", "6 to 12 km/h", "ground speeds wanted",
                _quantity("speed_mm_s", _span), required=True, table="wanted"),
    SizingField("spacing", "0.5 m", "distance between outlets, or between rows with one outlet "
                "each",
                _quantity("width_mm", _positive)),
    SizingField("width", "3 m", "width of the whole bar, in place of the spacing",
                _quantity("width_mm", _positive)),
    SizingField("sections", "6, 8, 6", "outlets (or rows) of each section",
                lambda text, us: texts.counts(text), required=True),
    SizingField("density", "1.28 kg/L", "density of the liquid",
                _quantity("density_g_l", _positive), "1 kg/L", table="settings",
                as_setting="liquid_density"),
    SizingField("outlet", "03", "ISO 10625 size, or '1.2 L/min at 3 bar' measured with water; "
                "without it the size that does most is taken", lambda text, us: text),
    SizingField("outlet_pressure", "1 to 4 bar", "working range of the outlet, as its maker states",
                _quantity("pressure_pa", _span), "1 to 4 bar"),
    SizingField("check_valve", "0.5 bar", "pressure that opens the outlets' check valves",
                _quantity("pressure_pa", _zero), "0 bar"),
    SizingField("pump", "M", "class S, M or L, or 'OPEN open, FLOW at PRESSURE' as in "
                "'11.3 L/min open, 6.7 L/min at 2.8 bar'", texts.pump),
    SizingField("relief", "5 bar", "pressure at which the relief valve or pressure switch acts",
                _quantity("pressure_pa", _positive)),
    SizingField("regulating_valve", "60 L/min at 0.5 bar", "rated flow of an in-line valve, "
                "and what that flow costs, fully open", texts.valve),
    SizingField("section_valve", "20 L/min at 0.3 bar", "the same for one section's valve",
                texts.valve),
    SizingField("meter", "450 pulses/L", "K-factor of the flow meter",
                _quantity("pulses_per_hl", _positive)),
    SizingField("meter_range", "1.5 to 15 L/min", "flows that the meter reads well",
                _quantity("flow_ul_s", _span)),
    SizingField("speed_sensor", "130 pulses/m", "pulses of the speed sensor",
                _quantity("pulses_per_km", _positive), "130 pulses/m"),
    SizingField("pulse_range", "2 to 10000 Hz", "pulse frequencies that serve; below, a new "
                "reading takes too long, above, pulses are lost",
                lambda text, us: texts.frequencies(text), "2 to 10000 Hz"),
)  # fmt: skip

# Keys of the table [fitted] that nothing is worked out from: what a person wants to remember.
PART_KEYS = ("board",)
