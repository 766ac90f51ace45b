"""Entries of an application record, and how they are written."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from host_sim.application_record.amounts import Amount, figure
from host_sim.common import units

# Where an entry comes from.
JOB, COUNTED, WORKED = "job file", "counted by the controller", "worked out"
SETTINGS = "settings of the controller"
COMPARED = {"volume": ("L", "gal"), "mass": ("kg", "lb")}  # units that totals compare easily in


@dataclass(frozen=True)
class Entry:
    """One line: a value, in a unit where it has one, and the same or more of it in brackets.

    `rules` are those that ask for it; an empty value is then missing.
    """

    group: str
    label: str
    value: str
    source: str
    unit: str = ""
    also: str = ""
    rules: tuple[str, ...] = ()

    @property
    def missing(self) -> bool:
        return bool(self.rules) and not self.value

    @property
    def text(self) -> str:
        """All of it, for a person."""
        text = f"{self.value} {self.unit}".strip()
        return f"{text} ({self.also})" if self.also else text


Written = tuple[str, str, str]  # value, unit, also


class Writer:
    """Writes quantities in the units that are asked for. `us` selects US customary units."""

    def __init__(self, us: bool) -> None:
        self.us = us

    def shown(self, quantity: str, si: float) -> str:
        """A quantity with its unit, to four digits."""
        return " ".join(self._in(quantity, si, self.us))

    def both(self, quantity: str, si: float) -> Written:
        """The same in both systems of units."""
        value, unit = self._in(quantity, si, self.us)
        return value, unit, " ".join(self._in(quantity, si, not self.us))

    def product(self, amount: Amount) -> Written:
        """An amount in the unit of the label, and in one that is easily compared."""
        others = (amount.to(label) for label in COMPARED[amount.unit.kind])
        also = ", ".join(str(other) for other in others if other.unit != amount.unit)
        return figure(amount.count), amount.unit.label, also

    def _in(self, quantity: str, si: float, us: bool) -> tuple[str, str]:
        return figure(Fraction(units.shown(quantity, si, us))), units.unit(quantity, us)
